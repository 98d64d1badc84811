"""Fill a small file system, make room again, count: run on a file system of its own by `test_storing.py`."""

import asyncio
import sys
from pathlib import Path

from edgemon.daemon.storing import Keeps
from edgemon.store.ballast import Ballast
from edgemon.store.sqlite import SqliteStore
from tests.daemon.bench import Bench

SAMPLES = 16_384
BALLAST_BYTES = 1 << 20


async def fill(folder: Path) -> None:
    filler = folder / "filler"
    filler.write_bytes(b"\x00" * (1 << 20))
    path = folder / "edgemon.sqlite"
    store = await SqliteStore.open(path)
    bench = Bench(path, store, Ballast(path, BALLAST_BYTES))
    await bench.storing.begin({})
    held = path.with_name(path.name + ".ballast")
    assert held.stat().st_size == BALLAST_BYTES
    while await bench.give(SAMPLES):
        pass
    assert not held.exists(), "given up"
    full_at = bench.given
    for _ in range(60):
        await bench.give(SAMPLES)
        assert bench.storing.keeps is Keeps.STATES, (bench.given, bench.storing.error)
    await bench.attempt()
    assert not bench.is_well(), "the ballast finds no room"
    saved = await store.load()
    assert saved.next_seq == bench.given + 1, "the journal is written on"
    assert saved.points[0].levels[0].value == 0.001 * bench.given, "and so are alarm states"
    filler.unlink()
    (folder / "more").unlink()
    await bench.attempt()
    assert bench.is_well(), bench.storing.error
    assert held.exists(), "made anew"
    print(f"stored {full_at - 1} of {bench.given} before it was full; journal and states of the rest in the ballast")
    await store.close()


if __name__ == "__main__":
    here = Path(sys.argv[1])
    (here / "more").write_bytes(b"\x00" * (2 << 20))
    asyncio.run(fill(here))
