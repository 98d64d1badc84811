"""Traffic that an older program put into a store, and what it was: run by the code of its time, read by `test_old_files.py`.

    git worktree add --detach /tmp/old COMMIT
    PYTHONPATH=/tmp/old python tests/store/old_traffic.py tests/data/databases/version-N.tar.xz

`edgemon` and `tests.support` are then those of the commit: its data path between a broker in memory and its own `SqliteStore`.
Beside the store the archive holds `went-in.json`: what the store was handed, written down by this file and not read back.
"""

import asyncio
import hashlib
import json
import shutil
import sys
import tarfile
from collections.abc import AsyncIterator, Iterable
from contextlib import asynccontextmanager, suppress
from dataclasses import replace
from importlib.util import find_spec
from pathlib import Path
from sqlite3 import Connection
from tempfile import TemporaryDirectory
from typing import Any

from edgemon.daemon.diagnostics import Diagnostics
from edgemon.daemon.shift import Shift
from edgemon.model.command import Acknowledge, Person, RemoveFromService, Role, Shelve
from edgemon.model.event import Event, JournalEntry, kind_of
from edgemon.model.gateway import InputBorders
from edgemon.model.ids import AlarmKey
from edgemon.model.reading import Capture, CapturePart
from edgemon.model.shift import LogKind
from edgemon.store.memory import MemoryStore
from edgemon.store.port import Commit, Saved
from edgemon.store.sqlite import SqliteStore
from tests.support.captures import capture, parts, tone_counts
from tests.support.learning import class_plant, learning, send_steady, settled
from tests.support.plants import AXIAL, DRIVE_END, PUMP, gateway
from tests.support.rig import OPERATOR, READING, START, Inline, Rig, running

ENGINEER = Person("engineer on duty", Role.ENGINEER, "office")
VELOCITY, TURNED_OFF = (AlarmKey(key.machine, key.point, "velocity_rms") for key in (DRIVE_END, AXIAL))
ORIGIN = "saltmarsh/gw-1"


class Twofold(MemoryStore):
    """What the path is given: each commit goes to the file, and is written down."""

    def __init__(self, file: SqliteStore, before: "Twofold | None" = None) -> None:
        super().__init__(before=before)
        self.file = file

    async def load(self) -> Saved:
        """From the file: a start is real."""
        return await self.file.load()

    async def commit(self, commit: Commit) -> tuple[JournalEntry, ...]:
        """Store in the file; what it says counts."""
        entries = await self.file.commit(commit)
        await super().commit(commit)
        return entries

    async def mark_published(self, seq: int) -> None:
        """In the file."""
        await super().mark_published(seq)
        await self.file.mark_published(seq)


def sums(one: Capture | CapturePart) -> dict[str, Any]:
    """Key, facts and samples, the last as SHA-256 of their little-endian bytes."""
    axes = {name: hashlib.sha256(counts.astype("<i2").tobytes()).hexdigest() for name, counts in one.axes.items()}
    facts = ("received_at", "fs_hz", "unit", "scale", "si_per_count", "rpm", "temperature_c", "battery_pct", "rssi_dbm")
    is_spectrum = getattr(one, "form", None) is not None
    key = [one.sensor, one.id, one.taken_at, one.sim, is_spectrum]
    return {"key": key, "facts": [getattr(one, name) for name in facts], "axes": axes}


def trends(commits: Iterable[Commit]) -> dict[str, dict[str, list[Any]]]:
    """Values by series and time: of two of one time the fit one counts, or else the first."""
    found: dict[str, dict[str, list[Any]]] = {}

    def put(series: str, t: float, value: float, fit: bool) -> None:
        known = found.setdefault(series, {})
        if repr(t) not in known or (fit and not known[repr(t)][1]):
            known[repr(t)] = [value, fit]

    for commit in commits:
        for one in commit.measurements:
            sim = "/sim" if one.sim else ""
            for level in one.levels:
                put(f"{one.point}/{level.name}{sim}", one.taken_at, level.value, one.verdict.is_fit)
            if one.rpm is not None:
                put(f"{one.point}/rpm{sim}", one.taken_at, one.rpm / 60.0, True)
        for reading in commit.readings:
            sim = "/sim" if reading.sim else ""
            put(f"{reading.sensor}:{reading.key.name}{sim}", reading.taken_at, reading.value, True)
    return found


def went_in(commits: list[Commit]) -> dict[str, Any]:
    """What the commits held, in plain words."""
    captures = {json.dumps(sums(one)["key"]): sums(one) for commit in commits for one in commit.captures}
    waiting: dict[str, dict[str, Any]] = {}
    states: dict[str, Any] = {}
    counters: dict[str, int] = {}
    for commit in commits:
        for part in commit.parts:
            waiting.setdefault(json.dumps([sums(part)["key"], part.number]), {**sums(part), "part": [part.number, part.count]})
        gone = {json.dumps(sums(one)["key"]) for one in commit.captures}
        waiting = {key: part for key, part in waiting.items() if json.dumps(part["key"]) not in gone}
        for state in commit.points:
            alarms = {name: [one.state.name, one.occurrence] for name, one in sorted(state.alarms.items())}
            states[f"{state.point}{'/sim' if state.sim else ''}"] = [state.taken_at, state.quality.value, state.running, alarms]
        counters |= commit.counters
    events: list[tuple[float, Event]] = [(commit.recorded_at, event) for commit in commits for event in commit.events]
    return {
        "captures": list(captures.values()),
        "missing": {json.dumps(sums(one)["key"]): list(one.missing_parts) for commit in commits for one in commit.captures},
        "parts": list(waiting.values()),
        "trends": trends(commits),
        "journal": [[at, event.at, kind_of(event), getattr(event, "by", "")] for at, event in events],
        "changes": [[str(e.alarm), e.change, e.to_state.name] for _, e in events if kind_of(e) == "alarm-changed"],  # type: ignore[union-attr]
        "texts": [event.text for _, event in events if kind_of(event) == "log-written"],  # type: ignore[union-attr]
        "verdicts": [str(e.diagnosis.verdict) for _, e in events if kind_of(e) == "diagnosis-made"],  # type: ignore[union-attr]
        "baselines": [[e.baseline.level, e.baseline.median] for _, e in events if kind_of(e) == "baseline-approved"],  # type: ignore[union-attr]
        "quarantine": [[one.topic, one.head.hex(), one.size, one.cause] for commit in commits for one in commit.quarantined],
        "states": states,
        "sensors": {str(one.sensor): [one.battery_pct, one.captures] for commit in commits for one in commit.sensors},
        "counters": counters,
    }


@asynccontextmanager
async def everything(rig: Rig) -> AsyncIterator[tuple[Any, Shift]]:
    """The path with its learning, its diagnostics, and its shift log."""
    async with learning(rig) as lessons:
        diagnostics = Diagnostics(rig.setting, rig.store, rig.clock, Inline(), rig.path.put)
        told = rig.path.listener

        def listen(events: Any) -> None:
            told(events)
            diagnostics.notice(events)

        rig.path.listener = listen
        task = asyncio.create_task(diagnostics.run())
        yield lessons, Shift(rig.store, rig.clock, rig.path.tell, rig.hub.snapshot)
        await settled(rig)
        task.cancel()
        with suppress(asyncio.CancelledError):
            await task


async def first_run(rig: Rig) -> float:
    """Learn, approve, raise, shelve, acknowledge, write down; parts that come, that wait and that never come; rubbish."""
    async with everything(rig) as (lessons, shift):
        t = await send_steady(rig, 12, START)
        await lessons.approve(DRIVE_END, "velocity_rms", ENGINEER, "quiet week after commissioning")
        scalars = [("battery", "%EL", 88.0), ("rssi", "dBm", -71.0), ("temperature", "Cel", 41.5)]
        await rig.send(json.dumps([{"n": n, "u": u, "v": v, "t": t} for n, u, v in scalars]).encode(), READING)
        await rig.send(capture(t + 1, 1.0, rpm=2975.0, temp=41.5))
        for one in reversed(parts(t + 2, 1.5, 3)):
            await rig.send(one)
        await rig.send(parts(t + 3, 1.5, 4, "never-whole")[1])
        await rig.send(capture(t + 4, 6.0, axial_mm_s=5.0, rpm=3000.0))
        await settled(rig)
        await rig.path.command(Acknowledge(VELOCITY, rig.point().alarms[0].occurrence), OPERATOR)
        await rig.path.command(Acknowledge(VELOCITY, 99), OPERATOR)
        await rig.path.command(RemoveFromService(TURNED_OFF, "sensor is exchanged"), ENGINEER)
        await rig.send(b"\xff not decodable")
        await rig.send(b"[]", READING.replace("s-0001", "s-9999"))
        await rig.send(capture(t + 5, 2.0, sim=True))
        await shift.write(OPERATOR, "seal of the pump drips, fitter is told", LogKind.OBSERVATION, PUMP, None)
        await shift.take(Person("night shift", Role.OPERATOR, "control room"), (await shift.page()).digest, "read")
        await rig.clock.advance(5.0)
        await rig.pass_time(60.0, every=10.0)
        return t + 80.0


async def second_run(rig: Rig, t: float) -> None:
    """Go on after a start: a repeat, an unfit capture, an alarm shelved, parts that still wait at the end."""
    async with running(rig):
        await rig.send(capture(t, 5.5, axial_mm_s=1.0, rpm=2975.0))
        await rig.send(capture(t, 5.5, axial_mm_s=1.0, rpm=2975.0))
        await rig.path.command(Shelve(VELOCITY, 3600.0, "waiting for the spare seal"), OPERATOR)
        await rig.send(capture(t + 1, counts=tone_counts(1.0).clip(-40, 40), capture_id="flat"))
        await rig.send(capture(t + 2, 3.0, sim=True))
        if find_spec("tests.support.spectra") is not None:  # from version 3 on
            from tests.support import spectra

            await rig.send(spectra.spectrum(t + 3, 1.0), READING.replace("reading", "spectrum"))
        for one in parts(t + 4, 1.5, 3, "waiting")[::2]:
            await rig.send(one)


async def upstream(path: Path, file: SqliteStore, turn: int) -> dict[str, Any]:
    """Set two upstreams up; then have one of them send, park, and overtake."""
    from edgemon.model.upstream import Source
    from edgemon.store.outbox import Outbox

    outbox = await Outbox.open(path, file, ORIGIN)
    ahead: dict[str, Any] = {}
    if turn == 0:
        await outbox.begin([("plant", source) for source in Source] + [("company", Source.JOURNAL)])
    else:
        for source in (Source.READINGS, Source.JOURNAL):
            sent = await outbox.ahead("plant", source, 5)
            await outbox.done("plant", source, sent[-1].position, [(sent[2], "too large")], START)
        await outbox.overtake("company", Source.JOURNAL, 3)
        pairs = [("plant", source) for source in Source] + [("company", Source.JOURNAL)]
        ahead = {f"{name} {source}": [i.key for i in await outbox.ahead(name, source, 10**6)] for name, source in pairs}
        ahead["behind"] = [item.key for item in await outbox.behind("company", Source.JOURNAL, 10**6)]
        ahead["again"] = [item.key for item in await outbox.again("plant", 10)]
    await outbox.close()
    return ahead


def half_folded(connection: Connection) -> None:
    """Fold some trends, as a gateway does a day later."""
    from edgemon.store.folding import Folder

    folder = Folder()
    for _ in range(4):
        folder.fold(connection, START + 3 * 86400.0)


async def write(folder: Path) -> None:
    """Fill a store over two runs, as a kill leaves it: the newest commits still in the log."""
    path = folder / "at-work" / "edgemon.sqlite"
    setup = replace(gateway(), borders=InputBorders(part_wait_s=30.0))
    has_upstreams = find_spec("edgemon.store.outbox") is not None  # from version 4 on
    file = await SqliteStore.open(path)
    if has_upstreams:
        await upstream(path, file, 0)
    first = Rig(class_plant(), setup, Twofold(file))
    t = await first_run(first)
    await file.close()
    file = await SqliteStore.open(path)
    second = Rig(class_plant(), setup, Twofold(file, first.store), now=t)  # type: ignore[arg-type]
    await second_run(second, t)
    if find_spec("edgemon.store.folding") is not None:  # from version 5 on
        await file.run(half_folded)
    found = went_in(second.store.commits)
    if has_upstreams:
        found["upstream"] = await upstream(path, file, 1)
    for name in ("edgemon.sqlite", "edgemon.sqlite-wal"):
        shutil.copy(path.with_name(name), folder / name)
    shutil.copytree(path.with_name("edgemon.sqlite.segments"), folder / "edgemon.sqlite.segments")
    await file.close()
    shutil.rmtree(folder / "at-work")
    (folder / "went-in.json").write_text(json.dumps(found))


def anonymous(info: tarfile.TarInfo) -> tarfile.TarInfo:
    """Without who made it."""
    info.uid = info.gid = 0
    info.uname = info.gname = ""
    return info


def main() -> None:
    """Make one archive."""
    with TemporaryDirectory() as name, tarfile.open(sys.argv[1], "w:xz") as archive:
        asyncio.run(write(Path(name)))
        for file in sorted(Path(name).rglob("*")):
            archive.add(file, file.relative_to(name), recursive=False, filter=anonymous)


if __name__ == "__main__":
    main()
