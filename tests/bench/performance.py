"""Figures of a long journal, and its verification: `python -m tests.bench.performance [ENTRIES]`, by default a million.

Half of the entries are changes of alarms of 400 points, the others changes of quality; spread over a year.
"""

import asyncio
import random
import resource
import sys
import time
from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory

from edgemon.daemon.performing import performance_of
from edgemon.model.alarm import AlarmState
from edgemon.model.event import AlarmChanged, Event, QualityChanged
from edgemon.model.ids import AlarmKey, MachineId, PointId, PointKey
from edgemon.store.port import Commit
from edgemon.store.reader import SqliteReader
from edgemon.store.sqlite import SqliteStore
from edgemon.store.stream import Stream
from tests.store import builders as make

YEAR_S = 365 * 86_400.0
_AT_ONCE = 5000


async def _write(path: Path, entries: int) -> float:
    draw = random.Random(3)
    alarms = [AlarmKey(MachineId(f"m-{k // 4}"), PointId(f"p-{k % 4}"), "velocity_rms") for k in range(400)]
    stands = dict.fromkeys(alarms, False)
    store = await SqliteStore.open(path)
    begun = time.perf_counter()
    for first in range(0, entries, _AT_ONCE):
        events: list[Event] = []
        for k in range(first, min(first + _AT_ONCE, entries)):
            at, key = make.T0 + YEAR_S * k / entries, draw.choice(alarms)
            events.append(_changed(at, key, stands) if k % 2 else QualityChanged(at, PointKey(*key[:2]), "stale", ("late",)))
        await store.commit(Commit(events[-1].at, events=tuple(events)))
    await store.close()
    return time.perf_counter() - begun


def _changed(at: float, key: AlarmKey, stands: dict[AlarmKey, bool]) -> AlarmChanged:
    stands[key] = not stands[key]
    if stands[key]:
        return replace(make.raised(at), alarm=key)
    return replace(make.raised(at), alarm=key, change="CLEARED", from_state=AlarmState.UNACK, to_state=AlarmState.RTNUN)


async def _judge(path: Path, since: float) -> tuple[int, float]:
    reader = await SqliteReader.open(path)
    begun = time.perf_counter()
    found = await performance_of(reader, since, make.T0 + YEAR_S + 1.0, sim=False)
    lasted = time.perf_counter() - begun
    await reader.close()
    return found.annunciations, lasted


def main() -> None:
    entries = int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000
    with TemporaryDirectory() as folder:
        path = Path(folder) / "edgemon.sqlite"
        lasted = asyncio.run(_write(path, entries))
        print(f"{entries} entries written in {lasted:.1f} s, {path.stat().st_size / 1e6:.0f} MB")
        for name, since in (("a year", make.T0 - 1.0), ("30 days", make.T0 + YEAR_S - 30 * 86_400.0)):
            count, lasted = asyncio.run(_judge(path, since))
            print(f"figures of {name}: {count} annunciations in {lasted:.2f} s")
        with Stream(path) as stream:
            begun = time.perf_counter()
            verdict = stream.verify({}, lambda _: None)
            print(f"verified, whole {verdict.is_whole}: {time.perf_counter() - begun:.2f} s")
        print(f"peak memory {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MiB")


if __name__ == "__main__":
    main()
