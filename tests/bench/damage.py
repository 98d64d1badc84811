"""How much of a store is saved when one page of it, or its end, is gone: shares of the rows written, counted, no times.

Run with `python -m tests.bench.damage`; `--trials` and `--rows` for more.
"""

import argparse
import asyncio
import random
import shutil
import tempfile
from pathlib import Path

from edgemon.store.mend import mend
from tests.store.test_mend import NOW, damage, look, opens, pages, write

KINDS = ("zeros", "noise", "head", "cut")


async def trial(whole: Path, folder: Path, kind: str, chance: random.Random) -> tuple[bool, tuple[int, int, int]]:
    """Damage one page of a copy, open or mend it, and count; says whether it had to be mended."""
    shutil.copytree(whole.parent, folder)
    path = folder / whole.name
    first = pages(path) // 2 if kind == "cut" else 0
    damage(path, chance.randrange(first, pages(path)), kind, chance)
    is_whole = await opens(path)
    if not is_whole:
        mend(path, NOW)
    found = await look(path)
    return not is_whole, (found.captures, len(found.journal), len(found.trend))


async def run(trials: int, rows: int) -> None:
    """Print a line a kind of damage."""
    chance = random.Random(5)
    with tempfile.TemporaryDirectory() as name:
        whole = Path(name) / "whole" / "edgemon.sqlite"
        whole.parent.mkdir()
        await write(whole, rows)
        print(f"{rows} rows each of captures, journal and trend; {pages(whole)} pages; {trials} trials of each kind")
        for kind in KINDS:
            mended, sums, least = 0, [0, 0, 0], [rows, rows, rows]
            for number in range(trials):
                folder = Path(name) / f"{kind}-{number}"
                was_mended, counts = await trial(whole, folder, kind, chance)
                mended += was_mended
                sums = [one + count for one, count in zip(sums, counts, strict=True)]
                least = [min(one, count) for one, count in zip(least, counts, strict=True)]
                shutil.rmtree(folder)
            shares = " / ".join(f"{100 * one / (trials * rows):.1f}" for one in sums)
            worst = " / ".join(f"{100 * one / rows:.0f}" for one in least)
            print(f"{kind:6}: mended {mended} of {trials}, none failed to open; saved {shares} %, at the least {worst} %")


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--trials", type=int, default=20)
    parser.add_argument("--rows", type=int, default=400)
    options = parser.parse_args()
    asyncio.run(run(options.trials, options.rows))
