"""Files that older programs wrote, opened by today's: all that went in is there, also after a kill on the way.

Each `tests/data/databases/version-N.tar.xz` was made on 2026-11-26 by `old_traffic.py` with the code of a commit of its time:
version 2 by d8f23a6, 3 by 2651a29, 4 by 4bf846d, 5 by be4062a, 7 by f25c8c7, 9 by d0b3ca8. Each holds a store of two runs as
a kill left it, with its newest commits still in the log, and `went-in.json`, what the path handed to the store.
"""

import hashlib
import json
import os
import resource
import shutil
import signal
import sqlite3
import tarfile
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

from edgemon.errors import StoreTooNew
from edgemon.model.event import kind_of
from edgemon.model.ids import CaptureId, CaptureKey, SensorId
from edgemon.model.machine import point_key
from edgemon.model.upstream import Source
from edgemon.store import migrate
from edgemon.store.folding import fold_series
from edgemon.store.outbox import Outbox, parked_in
from edgemon.store.port import Commit, Saved
from edgemon.store.reader import SqliteReader
from edgemon.store.sqlite import SqliteStore
from edgemon.store.stream import Stream
from tests.store import builders as make
from tests.store.old_traffic import ORIGIN, sums

DATA = Path(__file__).parents[1] / "data" / "databases"
VERSIONS = (2, 3, 4, 5, 7, 9)
EVER = (0.0, 4e9)


def unpacked(version: int, folder: Path) -> tuple[Path, Any]:
    with tarfile.open(DATA / f"version-{version}.tar.xz") as archive:
        archive.extractall(folder, filter="data")
    return folder / "edgemon.sqlite", json.loads((folder / "went-in.json").read_text())


def version_of(path: Path) -> int:
    with closing(sqlite3.connect(path)) as plain:
        return int(plain.execute("PRAGMA user_version").fetchone()[0])


@pytest.fixture(params=VERSIONS)
def old(request: pytest.FixtureRequest, tmp_path: Path) -> tuple[Path, Any]:
    return unpacked(request.param, tmp_path)


async def test_captures_and_parts_are_those_that_went_in(old: tuple[Path, Any]) -> None:
    path, said = old
    store = await SqliteStore.open(path)
    reader = await SqliteReader.open(path)
    wanted = {json.dumps(one["key"]): one for one in said["captures"]}
    assert len(wanted) >= 7
    keys = await reader.captures(None, *EVER, spectra=None)
    assert {json.dumps(list(key)) for key in keys} == set(wanted)
    for key in keys:
        capture = await reader.capture(key)
        assert capture is not None
        name = json.dumps(list(key))
        assert json.loads(json.dumps(sums(capture))) == wanted[name]
        assert list(capture.missing_parts) == said["missing"][name]
    assert sorted(filter(None, said["missing"].values())) == [[1, 3, 4]]  # one was closed: three of its parts never came
    saved = await store.load()
    waiting = [{**sums(part), "part": [part.number, part.count]} for part in saved.parts]
    assert json.loads(json.dumps(waiting)) == said["parts"]
    assert [one["part"] for one in said["parts"]] == [[1, 3], [3, 3]]
    assert (await store.known(keys, ())).captures == set(keys)
    again = [await reader.capture(key) for key in keys]
    await store.commit(Commit(make.T0, captures=tuple(one for one in again if one is not None)))
    assert len(await reader.captures(None, *EVER, spectra=None)) == len(wanted)
    await reader.close()
    await store.close()


@pytest.mark.parametrize("folded", [False, True])
async def test_every_value_of_every_trend_is_the_one_that_went_in(old: tuple[Path, Any], folded: bool) -> None:
    path, said = old
    if folded:
        with closing(migrate.connect(path)) as base:
            for (series,) in base.execute("SELECT id FROM series").fetchall():
                while fold_series(base, series, 9e9):
                    pass
    store = await SqliteStore.open(path)
    reader = await SqliteReader.open(path)
    with closing(sqlite3.connect(path)) as plain:
        series_of = plain.execute("SELECT kind, owner, place, name, sim FROM series").fetchall()
        assert (plain.execute("SELECT count(*) FROM trend").fetchone()[0] == 0) is folded
    names = set()
    for kind, owner, place, name, sim in series_of:
        if kind == "point":
            names.add(series := f"{owner}/{place}/{name}{'/sim' if sim else ''}")
            found = await reader.trend(point_key(owner, place), name, *EVER, sim=bool(sim))
        else:
            names.add(series := f"{owner}:{name}{'/sim' if sim else ''}")
            found = await reader.readings(SensorId(owner), name, *EVER, sim=bool(sim))
        assert {repr(one.t): [pytest.approx(one.value, rel=1e-15), one.fit] for one in found} == said["trends"][series]
    assert names == set(said["trends"])
    assert sum(map(len, said["trends"].values())) > 100
    await reader.close()
    await store.close()


async def test_the_journal_is_whole_and_says_what_was_said(old: tuple[Path, Any]) -> None:
    path, said = old
    store = await SqliteStore.open(path)
    reader = await SqliteReader.open(path)
    entries = await reader.journal(10**6, after=0)
    assert [entry.seq for entry in entries] == list(range(1, len(said["journal"]) + 1))
    events = [entry.event for entry in entries]
    told = [[one.recorded_at, one.event.at, kind_of(one.event), getattr(one.event, "by", "")] for one in entries]
    assert told == said["journal"]
    changes = [[str(e.alarm), e.change, e.to_state.name] for e in events if kind_of(e) == "alarm-changed"]  # type: ignore[union-attr]
    assert changes == said["changes"]
    assert {"RAISED", "ACK", "SHELVED"} <= {change for _, change, _ in changes}
    assert [event.text for event in events if kind_of(event) == "log-written"] == said["texts"] != []  # type: ignore[union-attr]
    assert {
        "shift-taken",
        "baseline-proposed",
        "baseline-approved",
        "diagnosis-made",
        "message-rejected",
        "command-refused",
    } <= {kind_of(event) for event in events}
    rejected = await reader.quarantined(100)
    assert [[one.topic, one.head.hex(), one.size, one.cause] for one in reversed(rejected)] == said["quarantine"] != []
    await store.commit(Commit(make.T0, events=(make.started(7),)))
    with Stream(path) as stream:
        verdict = stream.verify({}, lambda _: None)
    assert verdict.is_whole
    assert (verdict.entries, verdict.unchained) == (len(entries) + 1, 0)
    await reader.close()
    await store.close()


async def test_states_sensors_counters_baselines_and_diagnoses_are_remembered(old: tuple[Path, Any]) -> None:
    path, said = old
    store = await SqliteStore.open(path)
    saved: Saved = await store.load()
    states: dict[str, list[Any]] = {
        f"{state.point}{'/sim' if state.sim else ''}": [
            state.taken_at,
            state.quality.value,
            state.running,
            {name: [one.state.name, one.occurrence] for name, one in sorted(state.alarms.items())},
        ]
        for state in saved.points
    }
    assert states == said["states"]
    assert states["hp-pump-1/pump-de-h"][3]["velocity_rms"][0] == "SHLVD"
    assert states["hp-pump-1/pump-de-a"][3]["velocity_rms"][0] == "OOSRV"
    assert {str(one.sensor): [one.battery_pct, one.captures] for one in saved.sensors if not one.sim} == said["sensors"]
    assert dict(saved.counters) == said["counters"] != {}
    assert [[one.level, one.median] for one in saved.baselines if one.approved_by] == said["baselines"] != []
    assert saved.diagnoses[-1].diagnosis.verdict in said["verdicts"]
    assert saved.next_seq == len(said["journal"]) + 1
    await store.close()


async def test_an_upstream_goes_on_where_it_stood(tmp_path: Path) -> None:
    path, said = unpacked(4, tmp_path)
    store = await SqliteStore.open(path)
    outbox = await Outbox.open(path, store, ORIGIN)
    pairs = [("plant", source) for source in Source] + [("company", Source.JOURNAL)]
    assert await outbox.begin(pairs) == ()
    for name, source in pairs:
        wanted = said["upstream"][f"{name} {source}"]
        keys: list[str] = []
        while items := await outbox.ahead(name, source, 1000):  # captures come a few at a time
            keys += [item.key for item in items]
            await outbox.done(name, source, items[-1].position, (), make.T0)
        assert keys[: len(wanted)] == wanted
        assert len(keys) == len(wanted) or (source is Source.CAPTURES and len(keys) == len(said["captures"]))
    assert [item.key for item in await outbox.behind("company", Source.JOURNAL, 10**6)] == said["upstream"]["behind"] != []
    parked = parked_in(path)
    assert [(one.why, one.item.source) for one in parked] == [("too large", Source.READINGS), ("too large", Source.JOURNAL)]
    await outbox.close()
    await store.close()


def digests(folder: Path) -> dict[str, str]:
    files = [file for file in folder.rglob("*") if file.is_file() and not file.name.endswith("-shm")]
    return {str(file): hashlib.sha256(file.read_bytes()).hexdigest() for file in files}


@pytest.mark.parametrize("in_log", [True, False], ids=["in the log", "in the file"])
async def test_an_old_file_that_a_newer_program_took_over_is_refused_and_left_alone(
    old: tuple[Path, Any], tmp_path: Path, in_log: bool
) -> None:
    path, _ = old
    plain = sqlite3.connect(path, isolation_level=None)
    plain.execute(f"PRAGMA user_version = {migrate.newest() + 1}")
    if not in_log:
        plain.close()
    before = digests(tmp_path)
    with pytest.raises(StoreTooNew, match=str(path)):
        await SqliteStore.open(path)
    assert digests(tmp_path) == before
    plain.close()


def rows(path: Path, columns: dict[str, str]) -> dict[str, list[Any]]:
    """What stands in the columns of each table that an old file had."""
    with closing(sqlite3.connect(path)) as plain:
        return {
            table: plain.execute(f"SELECT {names} FROM {table} ORDER BY {names}").fetchall() for table, names in columns.items()
        }


def columns_of(path: Path) -> dict[str, str]:
    sql = "SELECT m.name, group_concat(c.name) FROM pragma_table_list m, pragma_table_info(m.name) c"
    with closing(sqlite3.connect(path)) as plain:
        found = plain.execute(f"{sql} WHERE m.type = 'table' AND m.name NOT LIKE 'sqlite_%' GROUP BY m.name").fetchall()
    return {table: ", ".join(f'"{name}"' for name in names.split(",")) for table, names in found}


def killed(path: Path, doom: Callable[[sqlite3.Connection], None]) -> bool:
    """Bring a file up to date in a process of its own, which dies by what `doom` arranges; gives whether it did."""
    child = os.fork()
    if child == 0:
        try:
            steps = migrate._migrate

            def doomed(connection: sqlite3.Connection) -> None:
                doom(connection)
                steps(connection)

            migrate._migrate = doomed
            migrate.connect(path)  # left open: what is not in the file stays in the log
        finally:
            os._exit(0)
    return os.WIFSIGNALED(os.waitpid(child, 0)[1])


def at_statement(number: int) -> Callable[[sqlite3.Connection], None]:
    """SIGKILL where this statement begins."""

    def doom(connection: sqlite3.Connection) -> None:
        left = iter(range(number))

        def begins(_: str) -> None:
            if next(left, None) is None:
                os.kill(os.getpid(), signal.SIGKILL)

        connection.set_trace_callback(begins)

    return doom


def at_size(size: int) -> Callable[[sqlite3.Connection], None]:
    """Death in the write that takes a file beyond a size, the part before it being written (setrlimit(2), RLIMIT_FSIZE)."""

    def doom(_: sqlite3.Connection) -> None:
        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
        signal.signal(signal.SIGXFSZ, signal.SIG_DFL)
        resource.setrlimit(resource.RLIMIT_FSIZE, (size, size))

    return doom


class Killed:
    """An old file brought up to date by processes that die on the way, each time from the beginning."""

    def __init__(self, version: int, folder: Path) -> None:
        self.version = version
        self.fresh, _ = unpacked(version, folder / "fresh")
        self.path = folder / "killed" / self.fresh.name
        seen, _ = unpacked(version, folder / "seen")  # whoever reads a log and closes moves it into the file
        self.columns = columns_of(seen)
        self.before = rows(seen, self.columns)

    def survives(self, doom: Callable[[sqlite3.Connection], None]) -> bool:
        """Kill on the way, look, go on, look again; gives whether there was anything to kill."""
        shutil.rmtree(self.path.parent, ignore_errors=True)
        shutil.copytree(self.fresh.parent, self.path.parent)
        died = killed(self.path, doom)
        assert version_of(self.path) == (self.version if died else migrate.newest())
        migrate.connect(self.path).close()
        assert version_of(self.path) == migrate.newest()
        after = rows(self.path, self.columns)
        after["meta"] = [row for row in after["meta"] if row in self.before["meta"]]  # more may be noted there
        assert after == self.before
        with closing(sqlite3.connect(self.path)) as plain:
            assert plain.execute("PRAGMA integrity_check").fetchone()[0] == "ok"
        return died


@pytest.mark.slow
@pytest.mark.parametrize("version", VERSIONS)
def test_a_kill_at_any_statement_of_the_steps_leaves_a_usable_file(version: int, tmp_path: Path) -> None:
    one, count = Killed(version, tmp_path), 0
    while one.survives(at_statement(count)):
        count += 1
    assert count > 2 + migrate.newest() - version  # BEGIN, one or more of each step, version, COMMIT


@pytest.mark.slow
@pytest.mark.parametrize("version", VERSIONS)
def test_a_kill_within_the_commit_of_the_steps_leaves_a_usable_file(version: int, tmp_path: Path) -> None:
    one, count = Killed(version, tmp_path), 0
    log_bytes = (one.fresh.parent / "edgemon.sqlite-wal").stat().st_size
    while one.survives(at_size(log_bytes + 1000 + 9000 * count)):  # in heads and in bodies of pages
        count += 1
    assert count > 0


async def test_a_capture_key_of_an_old_file_is_no_key_of_a_spectrum(tmp_path: Path) -> None:
    path, said = unpacked(2, tmp_path)
    store = await SqliteStore.open(path)
    sensor, name, t, sim, _ = said["captures"][0]["key"]
    key = CaptureKey(SensorId(sensor), CaptureId(name), t, sim)
    assert (await store.known([key, key._replace(spectrum=True)], ())).captures == {key}
    await store.close()
