"""Trends in stretches and as rows are one trend: against the store in memory, whatever was folded or thinned, in any order."""

import sqlite3
from collections.abc import AsyncIterator
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from edgemon.model.ids import ReadingKey
from edgemon.model.snapshot import TrendPoint
from edgemon.store import folding
from edgemon.store.chunk import THIN_S, decoded, thinned
from edgemon.store.folding import fold_series, thin
from edgemon.store.memory import MemoryStore
from edgemon.store.migrate import connect
from edgemon.store.plan import Old
from edgemon.store.port import Commit
from edgemon.store.reader import SqliteReader
from edgemon.store.sqlite import SqliteStore
from edgemon.store.stream import Stream
from edgemon.store.trends import bins, following, unfolded, values
from tests.store import builders as make

DAY = 86_400.0
ROW = st.tuples(st.floats(0.0, 3.0 * DAY).map(lambda t: round(t, 1)), st.floats(-100.0, 100.0), st.booleans())
BATCHES = st.lists(st.tuples(st.lists(ROW, max_size=12), st.booleans()), min_size=1, max_size=6)


def empty() -> sqlite3.Connection:
    """A trend table alone, as the schema makes it."""
    base = sqlite3.connect(":memory:", isolation_level=None)
    base.executescript("""CREATE TABLE meta (key TEXT PRIMARY KEY, value INTEGER NOT NULL) STRICT;
        CREATE TABLE trend (series INTEGER NOT NULL, t REAL NOT NULL, value REAL NOT NULL, fit INTEGER NOT NULL,
        PRIMARY KEY (series, t)) WITHOUT ROWID, STRICT;
        CREATE TABLE stretches (id INTEGER PRIMARY KEY, first REAL NOT NULL, last REAL NOT NULL, count INTEGER NOT NULL,
        aged INTEGER NOT NULL, body BLOB NOT NULL) STRICT;""")
    return base


def put(base: sqlite3.Connection, rows: list[tuple[float, float, bool]], truth: dict[float, tuple[float, bool]]) -> None:
    """Insert as the writer does, and note in a dict what must be there."""
    sql = """INSERT INTO trend (series, t, value, fit) VALUES (?, ?, ?, ?)
        ON CONFLICT DO UPDATE SET value = excluded.value, fit = excluded.fit WHERE excluded.fit > fit"""
    base.executemany(sql, unfolded(base, [(7, *row) for row in rows]))
    for t, value, fit in rows:
        if t not in truth or (fit and not truth[t][1]):
            truth[t] = value, fit


def fold(base: sqlite3.Connection) -> None:
    while fold_series(base, 7, 9e9):
        pass


def wanted_bins(truth: dict[float, tuple[float, bool]], begin: float, until: float, columns: int) -> dict[int, list[float]]:
    found: dict[int, list[float]] = {}
    for t, (value, fit) in truth.items():
        if fit and begin <= t <= until:
            found.setdefault(min(int((t - begin) / ((until - begin) / columns)), columns - 1), []).append(value)
    return found


@pytest.fixture(autouse=True)
def _short_stretches(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(folding, "MOST", 5)
    monkeypatch.setattr(folding, "ROWS", 7)


@settings(deadline=None)
@given(BATCHES, st.integers(1, 9), st.booleans())
def test_rows_and_stretches_are_one_trend(
    batches: list[tuple[list[tuple[float, float, bool]], bool]], most: int, earliest: bool
) -> None:
    truth: dict[float, tuple[float, bool]] = {}
    with closing(empty()) as base:
        for rows, is_folded in batches:
            put(base, rows, truth)
            if is_folded:
                fold(base)
        every = [(t, *truth[t]) for t in sorted(truth)]
        found = values(base, 7, 0.0, 9e9, most, earliest)
        got = list(zip(found.t.tolist(), found.value.tolist(), found.fit.tolist(), strict=True))
        assert got == (every[:most] if earliest else every[-most:])
        pieces, after = [], -1.0
        while len(piece := following(base, 7, after, 9e9, most)):
            pieces += list(zip(piece.t.tolist(), piece.value.tolist(), piece.fit.tolist(), strict=True))
            after = float(piece.t[-1])
        assert pieces == every
        wanted = wanted_bins(truth, 1000.0, 2.5 * DAY, most)
        found_bins = bins(base, 7, 1000.0, 2.5 * DAY, most)
        shown = [(one.number, one.low, one.high, one.count) for one in found_bins]
        assert shown == [(number, min(of), max(of), len(of)) for number, of in sorted(wanted.items())]
        assert [one.mean for one in found_bins] == pytest.approx(
            [sum(of) / len(of) for _, of in sorted(wanted.items())], abs=1e-9
        )


@settings(deadline=None)
@given(BATCHES, st.integers(1, 40))
def test_thinning_loses_no_extreme_no_count_and_no_mean(
    batches: list[tuple[list[tuple[float, float, bool]], bool]], columns: int
) -> None:
    """Columns of whole hours: then nothing of an hour may lie in the next column, and all figures are exact."""
    truth: dict[float, tuple[float, bool]] = {}
    with closing(empty()) as base:
        for rows, is_thinned in batches:
            put(base, [row for row in rows if row[0] not in truth], truth)  # a repeat of a thinned reading cannot be told
            if is_thinned:
                fold(base)
                thin_all(base)
        until = columns * THIN_S
        wanted = wanted_bins({t: of for t, of in truth.items() if t < until}, 0.0, until, columns)
        found = {one.number: one for one in bins(base, 7, 0.0, until - 1e-3, columns)}
        assert found.keys() == wanted.keys()
        for number, of in wanted.items():
            one = found[number]
            assert (one.low, one.high, one.count) == (min(of), max(of), len(of))
            assert one.mean == pytest.approx(sum(of) / len(of), abs=1e-6)
        known = values(base, 7, 0.0, 9e9, 1000)
        assert {(t, v) for t, v in zip(known.t.tolist(), known.value.tolist(), strict=True)} <= {
            (t, of[0]) for t, of in truth.items()
        }


def thin_all(base: sqlite3.Connection) -> None:
    """Thin whether that is smaller or not."""
    for number, body in base.execute("SELECT id, body FROM stretches").fetchall():
        row = folding._row(number, thinned(decoded(body, "here")), True)
        base.execute(folding._STORE, row)


def test_thinning_is_done_only_where_it_saves_space() -> None:
    with closing(empty()) as base:
        put(base, [(3600.0 * k, 0.1 * k, True) for k in range(5)], {})
        fold(base)
        (number,) = base.execute("SELECT id FROM stretches").fetchone()
        before = values(base, 7, 0.0, 9e9, 100)
        assert thin(base, [Old(number, 14400.0)]) == 0
        assert base.execute("SELECT aged FROM stretches").fetchone() == (1,)
        assert values(base, 7, 0.0, 9e9, 100).t.tolist() == before.t.tolist()


@pytest.fixture
async def old(tmp_path: Path) -> AsyncIterator[tuple[Path, SqliteStore, MemoryStore]]:
    """A store and its twin in memory, with ten days of readings; those of the store are folded."""
    path = tmp_path / "store"
    store, twin = await SqliteStore.open(path), MemoryStore()
    for k in range(200):
        t = make.T0 + 4320.0 * k
        commit = Commit(
            t,
            measurements=(make.measurement(0.001 * (k % 17), taken_at=t, fit=k % 5 > 0),),
            readings=(make.reading(90.0 - 0.1 * k, taken_at=t),),
        )
        await store.commit(commit)
        await twin.commit(commit)
    before = make.T0 + 5 * DAY

    def work(connection: sqlite3.Connection) -> None:
        for (series,) in connection.execute("SELECT id FROM series").fetchall():
            while fold_series(connection, series, before):
                pass

    await store.run(work)
    yield path, store, twin
    await store.close()


async def test_a_folded_store_answers_as_one_in_memory(old: tuple[Path, SqliteStore, MemoryStore]) -> None:
    path, _, twin = old
    reader = await SqliteReader.open(path)
    spans = [(0.0, 9e9), (make.T0 + 3 * DAY, make.T0 + 6 * DAY), (make.T0 + 6 * DAY, 9e9), (0.0, make.T0 - 1.0)]
    for since, until in spans:
        ways: list[dict[str, Any]] = [{}, {"most": 7}, {"most": 7, "earliest": True}]
        for asked in ways:
            ours = await reader.trend(make.POINT, "velocity_rms", since, until, **asked)
            assert ours == await twin.trend(make.POINT, "velocity_rms", since, until, **asked)
        ours = await reader.readings(make.SENSOR, "battery", since, until)
        assert ours == await twin.readings(make.SENSOR, "battery", since, until)
        ours_cut = await reader.trend_bins(make.POINT, "velocity_rms", None, until, 37)
        theirs = await twin.trend_bins(make.POINT, "velocity_rms", None, until, 37)
        assert (ours_cut.since, ours_cut.until) == (theirs.since, theirs.until)
        for one, other in zip(ours_cut.bins, theirs.bins, strict=True):
            assert (one.number, one.low, one.high, one.count) == (other.number, other.low, other.high, other.count)
            assert one.mean == pytest.approx(other.mean)
    await reader.close()
    with Stream(path) as stream:
        (series,) = (one for one in stream.series(False) if one.name == "battery")
        assert tuple(stream.values(series, 0.0, 9e9)) == await twin.readings(make.SENSOR, "battery", 0.0, 9e9)


async def test_a_folded_reading_is_known_and_changes_nothing_when_it_comes_again(
    old: tuple[Path, SqliteStore, MemoryStore],
) -> None:
    path, store, _ = old
    key = ReadingKey(make.SENSOR, "battery", make.T0)
    assert (await store.known((), [key, key._replace(taken_at=make.T0 + 1.0)])).readings == {key}
    again = Commit(make.T0, measurements=(make.measurement(9.0),), readings=(make.reading(9.0),))
    await store.commit(again)
    with closing(sqlite3.connect(path)) as base:
        rows = base.execute("SELECT name, value FROM trend JOIN series ON id = series WHERE t = ?", (make.T0,)).fetchall()
    assert rows == [("velocity_rms", 9.0), ("temperature", 41.5)]  # the first one had flaws, this one has none
    reader = await SqliteReader.open(path)
    assert (await reader.trend(make.POINT, "velocity_rms", 0.0, make.T0))[0] == TrendPoint(make.T0, 9.0, True)
    assert (await reader.readings(make.SENSOR, "battery", 0.0, make.T0))[0].value == 90.0
    await reader.close()


@pytest.mark.parametrize("version", ["version-1", "version-1-parts"])
def test_a_trend_of_an_old_file_is_folded_value_for_value(tmp_path: Path, version: str) -> None:
    source = Path(__file__).parents[1] / "data" / "databases" / version / "edgemon.sqlite"
    path = tmp_path / "edgemon.sqlite"
    path.write_bytes(source.read_bytes())
    with closing(sqlite3.connect(source)) as plain:
        before = plain.execute("SELECT series, t, value, fit FROM trend ORDER BY series, t").fetchall()
    with closing(connect(path)) as base:
        for (series,) in base.execute("SELECT id FROM series").fetchall():
            while fold_series(base, series, 9e9):
                pass
        assert base.execute("SELECT count(*) FROM trend").fetchone() == (0,)
        after = []
        for (series,) in base.execute("SELECT id FROM series ORDER BY id").fetchall():
            found = values(base, series, 0.0, 9e9, 10**6)
            after += [
                (series, t, value, int(fit))
                for t, value, fit in zip(found.t.tolist(), found.value.tolist(), found.fit.tolist(), strict=True)
            ]
    assert before
    assert after == before
