"""What goes into trends and feed in one go, against the triggers that did it row by row up to version 7: the second method."""

import re
import sqlite3
from contextlib import closing

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from edgemon.store import migrate
from edgemon.store.feeding import AT_ONCE, put
from edgemon.store.wire import Row

TABLES = [path.read_text() for path in list(migrate.scripts().values())[:7]]
ROW = st.tuples(st.integers(1, 3), st.integers(0, 20).map(float), st.floats(-1e9, 1e9), st.integers(0, 1))
COMMITS = st.lists(st.lists(ROW, max_size=3 * AT_ONCE), max_size=4)


def base(is_read: bool, triggers: bool) -> sqlite3.Connection:
    made = sqlite3.connect(":memory:", isolation_level=None)
    for script in TABLES:
        made.executescript(script)
    if not triggers:
        made.executescript(migrate.scripts()[8].read_text())
    if is_read:
        made.execute("INSERT INTO upstream_cursors VALUES ('plant', 'readings', 0)")
    return made


def by_trigger(made: sqlite3.Connection, rows: list[Row]) -> None:
    better = "WHERE excluded.fit > fit"
    update = f"ON CONFLICT DO UPDATE SET value = excluded.value, fit = excluded.fit {better}"
    made.executemany(f"INSERT INTO trend (series, t, value, fit) VALUES (?, ?, ?, ?) {update}", rows)


def held(made: sqlite3.Connection) -> tuple[list[Row], list[Row]]:
    trend = made.execute("SELECT * FROM trend ORDER BY series, t").fetchall()
    return trend, made.execute("SELECT * FROM feed ORDER BY number").fetchall()


@settings(max_examples=60, deadline=None)
@given(commits=COMMITS, is_read=st.booleans())
def test_the_same_is_stored_and_fed_as_by_triggers(commits: list[list[Row]], is_read: bool) -> None:
    with closing(base(is_read, False)) as ours, closing(base(is_read, True)) as theirs:
        for rows in commits:
            for made, work in ((ours, put), (theirs, by_trigger)):
                made.execute("BEGIN IMMEDIATE")
                work(made, rows)
                made.execute("COMMIT")
            assert held(ours) == held(theirs)
        assert is_read or held(ours)[1] == []


@pytest.mark.parametrize("count", [1, AT_ONCE - 1, AT_ONCE, AT_ONCE + 1, 5 * AT_ONCE])
def test_new_values_are_fed_in_order_whatever_their_number(count: int) -> None:
    rows = [(1, float(k), 0.5 * k, 1) for k in range(count)]
    with closing(base(True, False)) as ours:
        ours.execute("BEGIN")
        put(ours, [*rows])
        ours.execute("ROLLBACK")
        assert held(ours) == ([], [])
        ours.execute("BEGIN")
        put(ours, [*rows])
        ours.execute("COMMIT")
        assert held(ours)[1] == [(k + 1, *row) for k, row in enumerate(rows)]


def test_no_trigger_is_left_on_trends() -> None:
    """What is written into a trend by another way than `put` is not fed: nothing else may write there."""
    writers = [
        path.name
        for path in migrate.SCHEMA.parent.glob("*.py")
        if re.search(r"INSERT\s+(OR \w+\s+)?INTO trend\b|UPDATE trend\b", path.read_text())
    ]
    assert writers == ["feeding.py"]
    with closing(base(False, False)) as ours:
        assert ours.execute("SELECT count(*) FROM sqlite_schema WHERE type = 'trigger' AND tbl_name = 'trend'").fetchone() == (
            0,
        )
