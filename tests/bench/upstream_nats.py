"""Items a second into a stream, against the least that can be done in the same run: `python -m tests.bench.upstream_nats`.

Two floors: plain publishing of the same bodies in the same batches and a flush, where the server throws them away, for nobody
listens; and bodies that a stream of the same kind keeps and confirms, with neither ids nor checks, so that a repeat is kept
twice. Every server syncs each write to the disk. Rounds are interleaved and medians given, for the machine is not ours alone.
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
from tests.support.streams import STREAM, transport

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


async def bench(words: str, urls: Sequence[str], batch: int, made: Callable[[int], list[Item]], atomic: bool = True) -> None:
    """Print a line."""
    bare = await nats.connect(urls[0])
    js = bare.jetstream()
    async with transport(*urls) as one:
        await one.connect()
    config = (await js.stream_info(STREAM)).config
    await js.update_stream(config, allow_atomic=atomic)
    await js.add_stream(name="BARE", subjects=["bare.>"], num_replicas=config.num_replicas)

    async def publish(items: Sequence[Item]) -> None:
        for item in items:
            await bare.publish("bench.nobody", item.body)
        await bare.flush()

    async def keep(items: Sequence[Item]) -> None:
        await asyncio.gather(*[await js.publish_async("bare.bench", item.body) for item in items])

    took: list[list[tuple[float, float]]] = []
    async with transport(*urls) as one:
        for round_ in range(ROUNDS):
            items = made(round_)
            took.append([await timed(send, items, batch) for send in (one.send, keep, publish)])
    for stream in (STREAM, "BARE"):
        assert (await js.stream_info(stream)).state.messages == len(items) * ROUNDS
        await js.delete_stream(stream)
    await bare.close()
    tell(f"{words}, {batch} a batch", len(items), took)


def tell(words: str, count: int, took: Sequence[Sequence[tuple[float, float]]]) -> None:
    """Print medians: items a second, how many times as long it took as the floors, microseconds of this process."""
    (wall, cpu), (kept, kept_cpu), (least, least_cpu) = (
        [statistics.median(figure) for figure in zip(*one, strict=True)] for one in zip(*took, strict=True)
    )
    floors = f"kept only {count / kept:7,.0f}, x{wall / kept:.2f}; published only {count / least:7,.0f}, x{wall / least:.1f}"
    here = " / ".join(f"{one / count * 1e6:.0f}" for one in (cpu, kept_cpu, least_cpu))
    print(f"{words}: {count / wall:7,.0f} items/s; {floors}; CPU here {here} us an item")


async def main() -> None:
    """Run all."""
    with tempfile.TemporaryDirectory() as folder, ExitStack() as stack:
        one = stack.enter_context(NatsServer(Path(folder) / "one"))
        three = stack.enter_context(NatsCluster(Path(folder) / "three"))
        for words, urls in (("one server", (one.url,)), ("three servers", three.urls)):
            for batch in (200, 1000):
                await bench(f"{words}, readings", urls, batch, readings)
            await bench(f"{words}, readings subject by subject", urls, 200, readings, atomic=False)
            await bench(f"{words}, captures", urls, 8, captures)


if __name__ == "__main__":
    asyncio.run(main())
