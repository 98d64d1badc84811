"""Items a second into a stream, against the least that can be done in the same run: `python -m tests.bench.upstream_nats`.

The least is plain publishing of the same bodies in the same batches, and a flush: the server throws them away, for nobody
listens. Rounds of both are interleaved and the median is given, for the machine is not ours alone.
"""

import asyncio
import statistics
import tempfile
import time
from collections.abc import Awaitable, Callable, Sequence
from contextlib import ExitStack
from pathlib import Path

import nats

from edgemon.model.upstream import Item
from tests.support import items as make
from tests.support.nats_server import NatsCluster, NatsServer
from tests.support.streams import STREAM, library, transport

ROUNDS = 7
READINGS = 4000
CAPTURES = 48
SAMPLES = 4096
POINTS = 200


def readings(round_: int) -> list[Item]:
    """Levels of many points, a tenth of a second apart."""
    numbers = range(round_ * READINGS, (round_ + 1) * READINGS)
    return [make.reading(number, t=make.NOW - 36_000.0 + number / 10.0, point=f"p-{number % POINTS}") for number in numbers]


def captures(round_: int) -> list[Item]:
    """Waveforms of three axes."""
    return [make.capture(number, SAMPLES) for number in range(round_ * CAPTURES, (round_ + 1) * CAPTURES)]


async def timed(send: Callable[[Sequence[Item]], Awaitable[object]], items: Sequence[Item], batch: int) -> tuple[float, float]:
    """Give seconds by the wall and of this process."""
    wall, cpu = time.perf_counter(), time.process_time()
    for start in range(0, len(items), batch):
        await send(items[start : start + batch])
    return time.perf_counter() - wall, time.process_time() - cpu


async def bench(words: str, urls: Sequence[str], batch: int, made: Callable[[int], list[Item]]) -> None:
    """Print a line."""
    bare = await nats.connect(urls[0])

    async def publish(items: Sequence[Item]) -> None:
        for item in items:
            await bare.publish("bench.nobody", item.body)
        await bare.flush()

    ours, floor, count = [], [], 0
    async with transport(*urls) as one:
        for round_ in range(ROUNDS):
            items = made(round_)
            count = len(items)
            ours.append(await timed(one.send, items, batch))
            floor.append(await timed(publish, items, batch))
    await bare.close()
    async with library(urls[0]) as js:
        assert (await js.stream_info(STREAM)).state.messages == count * ROUNDS
        await js.purge_stream(STREAM)
    (wall, cpu), (least, least_cpu) = ([statistics.median(one) for one in zip(*some, strict=True)] for some in (ours, floor))
    print(
        f"{words}, {batch:>4} a batch: {count / wall:7,.0f} items/s, published only {count / least:8,.0f}, x{wall / least:.1f};"
        f"   CPU here {cpu / count * 1e6:6.1f} us an item, published only {least_cpu / count * 1e6:5.1f} us"
    )


async def allow_batches(url: str, atomic: bool) -> None:
    """Make the stream take batches as a whole, or not, as older servers do."""
    async with transport(url) as one:
        await one.connect()
    async with library(url) as js:
        await js.update_stream((await js.stream_info(STREAM)).config, allow_atomic=atomic)


async def main() -> None:
    """Run all."""
    with tempfile.TemporaryDirectory() as folder, ExitStack() as stack:
        one = stack.enter_context(NatsServer(Path(folder) / "one"))
        three = stack.enter_context(NatsCluster(Path(folder) / "three"))
        for words, urls in (("one server", (one.url,)), ("three servers", three.urls)):
            for atomic in (True, False):
                await allow_batches(urls[0], atomic)
                for batch in (200, 1000) if atomic else (200,):
                    kind = "readings" if atomic else "readings, subject by subject"
                    await bench(f"{words}, {kind}", urls, batch, readings)
            await allow_batches(urls[0], True)
            await bench(f"{words}, captures", urls, 8, captures)


if __name__ == "__main__":
    asyncio.run(main())
