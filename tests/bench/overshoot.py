"""How far a store goes beyond its budget while captures come as fast as they can be taken.

`python -m tests.bench.overshoot`; the bench `retention` ends with it. The store is real and tended by what the daemon tends it
with, beside a path that is never idle. Captures come at the rate that the path reached (bench `path`), and then as fast as the
store takes them, without any analysis: faster than any path. What counts is what the files take on disk at each moment,
with the log and what is not given back yet.
"""

import asyncio
import itertools
import os
import time
from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory

from edgemon.clock import SystemClock
from edgemon.daemon.path import BATCH
from edgemon.daemon.tending import Tending
from edgemon.model.ids import CaptureId
from edgemon.model.reading import Capture
from edgemon.model.retention import Retention
from edgemon.store.disk import taken
from edgemon.store.port import Commit
from edgemon.store.segments import files_of
from edgemon.store.sqlite import SqliteStore
from edgemon.store.tending import Tender
from tests.store import builders as make

BUDGET_BYTES = 64 << 20
"""The least that settings allow: the same excess is the largest part of it."""
BUDGETS = 6
"""So many budgets are written."""
PATH_RATES = {4096: 300.0, 16_384: 230.0}
"""Captures a second that the path reached, by samples of each of three axes; see the bench `path`."""
LOOK_S = 0.02


async def worst(folder: Path, samples: int, per_second: float | None) -> tuple[float, float, float]:
    """Give the most that the files took over the budget, what they took in the end, and how many captures came in a second."""
    path = folder / f"store-{samples}-{per_second}"
    store = await SqliteStore.open(path)
    tender = Tender(path, store, Retention(BUDGET_BYTES), {make.POINT: make.SENSOR})
    tending = asyncio.create_task(Tending(tender, SystemClock(), lambda: False).run())
    most = [0]
    looking = asyncio.create_task(_look(path, most))
    one = make.capture(1, samples=samples)
    count = BUDGETS * BUDGET_BYTES // sum(axis.nbytes for axis in one.axes.values())
    began = time.perf_counter()
    for first in range(0, count, BATCH):
        now = time.time()
        await store.commit(Commit(now, captures=tuple(_capture(one, number, now) for number in range(first, first + BATCH))))
        if per_second is not None:
            await asyncio.sleep(max(0.0, began + first / per_second - time.perf_counter()))
    rate = count / (time.perf_counter() - began)
    for task in (tending, looking):
        task.cancel()
    for ended in await asyncio.gather(tending, looking, return_exceptions=True):
        if ended is not None and not isinstance(ended, asyncio.CancelledError):
            raise ended
    end = taken(files_of(path))
    await store.close()
    return most[0] / BUDGET_BYTES, end / BUDGET_BYTES, rate


def _capture(one: Capture, number: int, now: float) -> Capture:
    return replace(one, id=CaptureId(f"c-{number}"), taken_at=now + number * 1e-5, received_at=now)


async def _look(path: Path, most: list[int]) -> None:
    """Note the most that the files take; the samples of a look that finds a file gone count with the next one."""
    while True:
        await asyncio.sleep(LOOK_S)
        most[0] = max(most[0], taken(files_of(path)))


def report(folder: Path) -> None:
    """Print all."""
    print(f"budget {BUDGET_BYTES / 1e6:.0f} MB, {BUDGETS} times that written; load {os.getloadavg()[0]:.1f}")
    for samples, rate in itertools.chain(PATH_RATES.items(), ((size, None) for size in PATH_RATES)):
        peak, end, came = asyncio.run(worst(folder, samples, rate))
        asked = "as fast as the store takes them" if rate is None else f"at {rate:.0f} a second"
        print(
            f"captures of 3 x {samples} {asked}: {came:.0f} came a second; "
            f"worst {100 * peak:.0f} % of the budget, at the end {100 * end:.0f} %"
        )


if __name__ == "__main__":
    with TemporaryDirectory(dir=os.environ.get("EDGEMON_BENCH")) as name:
        report(Path(name))
