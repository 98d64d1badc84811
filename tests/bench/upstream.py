"""Rows a second into a real PostgreSQL, against the least that can be done in the same run: `python -m tests.bench.upstream`.

The least is COPY of rows that are made already, in the same batches, into an unlogged table with no index: nothing of it is
durable, and what comes twice is there twice. Rounds of both are interleaved and the median is given, for the machine is not
ours alone.
"""

import asyncio
import statistics
import time
from collections.abc import Awaitable, Callable, Sequence
from typing import TypeAlias

import asyncpg

from edgemon.model.secret import Secret
from edgemon.model.upstream import Item, Server, Source, Upstream, UpstreamKind
from edgemon.upstream import sql
from edgemon.upstream.postgres import PostgresTransport
from edgemon.upstream.rows import Row, row_of
from tests.support import items as make
from tests.support.postgres import PASSWORD, USER, Postgres

ROUNDS = 7
ROWS = 6000
CAPTURES = 48
SAMPLES = 4096
POINTS = 200


Send: TypeAlias = Callable[[Sequence[object]], Awaitable[object]]


def readings(round_: int) -> list[Item]:
    """Levels of many points, a tenth of a second apart."""
    first = round_ * ROWS
    numbers = range(first, first + ROWS)
    return [make.reading(number, t=make.NOW - 36_000.0 + number / 10.0, point=f"p-{number % POINTS}") for number in numbers]


def captures(round_: int) -> list[Item]:
    """Waveforms of three axes."""
    return [make.capture(number, SAMPLES) for number in range(round_ * CAPTURES, (round_ + 1) * CAPTURES)]


def floor_rows(items: Sequence[Item]) -> list[Row]:
    """Make rows that COPY takes as they are."""
    return [row_of(item) for item in items]


async def timed(send: Send, things: Sequence[object], batch: int) -> tuple[float, float]:
    """Give seconds by the wall and of this process."""
    wall, cpu = time.perf_counter(), time.process_time()
    for start in range(0, len(things), batch):
        await send(things[start : start + batch])
    return time.perf_counter() - wall, time.process_time() - cpu


async def bench(server: Postgres, source: Source, batch: int, made: Callable[[int], list[Item]]) -> None:
    """Print a line."""
    into = f"b{source}{batch}"
    place = Server((server.url,), USER, Secret(PASSWORD))
    transport = PostgresTransport(Upstream("bench", UpstreamKind.POSTGRESQL, (source,), place, into))
    bare = await asyncpg.connect(server.url, user=USER, password=PASSWORD)
    columns = ", ".join(f"{column.name} {column.type}" for column in sql.COLUMNS[source])
    await bare.execute(f"CREATE SCHEMA {into}_bare; CREATE UNLOGGED TABLE {into}_bare.rows ({columns})")
    names, count, ours, floor = [column.name for column in sql.COLUMNS[source]], 0, [], []

    async def copy(rows: Sequence[object]) -> None:
        await bare.copy_records_to_table("rows", schema_name=f"{into}_bare", columns=names, records=rows)

    for round_ in range(ROUNDS):
        items = made(round_)
        rows = floor_rows(items)
        count = len(items)
        ours.append(await timed(transport.send, items, batch))  # type: ignore[arg-type]
        floor.append(await timed(copy, rows, batch))
    for table in (f"{into}.{source}", f"{into}_bare.rows"):
        assert server.sql(f"SELECT count(*) FROM {table}") == [[str(count * ROUNDS)]]
    (wall, cpu), (least, least_cpu) = ([statistics.median(one) for one in zip(*some, strict=True)] for some in (ours, floor))
    print(
        f"{source}, {batch:>4} a batch: {count / wall:8,.0f} rows/s, COPY {count / least:9,.0f} rows/s, x{wall / least:.2f};"
        f"   CPU here {cpu / count * 1e6:7.1f} us a row, COPY {least_cpu / count * 1e6:6.1f} us"
    )
    await transport.close()
    await bare.close()


async def main() -> None:
    """Run all."""
    with Postgres(fsync=True) as server:
        for batch in (50, 200, 1000):
            await bench(server, Source.READINGS, batch, readings)
        await bench(server, Source.CAPTURES, 8, captures)


if __name__ == "__main__":
    asyncio.run(main())
