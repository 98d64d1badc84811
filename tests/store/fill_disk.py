"""Fill the disk under a store, make room again: run on a small file system of its own by `test_sqlite.py`."""

import asyncio
import sys
from pathlib import Path

import numpy as np

from edgemon.errors import StoreFull
from edgemon.store.port import Commit
from edgemon.store.reader import SqliteReader
from edgemon.store.sqlite import SqliteStore
from tests.store import builders as make

SAMPLES = 16384


def commit(number: int) -> Commit:
    return Commit(make.T0, captures=(make.capture(number, samples=SAMPLES),), events=(make.started(number),))


async def fill(folder: Path, ballast_bytes: int) -> None:
    ballast = folder / "ballast"
    ballast.write_bytes(b"\x00" * ballast_bytes)
    store = await SqliteStore.open(folder / "edgemon.sqlite")
    done = 0
    try:
        while True:
            await store.commit(commit(done + 1))
            done += 1
    except StoreFull as error:
        print(f"full after {done}: {error}")
    for _ in range(50):  # the caller tries again and again; that must not eat the space that returns
        try:
            await store.commit(commit(done + 1))
        except StoreFull:
            continue
        done += 1
    saved = await store.load()
    assert saved.next_seq == done + 1, (saved.next_seq, done)
    ballast.unlink()
    entries = await store.commit(commit(done + 1))
    assert [entry.seq for entry in entries] == [done + 1]
    await store.close()
    reader = await SqliteReader.open(folder / "edgemon.sqlite")
    for number in range(1, done + 2):
        found = await reader.capture(make.capture(number).key)
        assert found is not None, number
        assert np.array_equal(found.axes["x"], make.capture(number, samples=SAMPLES).axes["x"]), number
    assert [entry.seq for entry in await reader.journal(10_000, after=0)] == list(range(1, done + 2))
    await reader.close()
    print("usable again")


if __name__ == "__main__":
    asyncio.run(fill(Path(sys.argv[1]), ballast_bytes=1 << 20))
