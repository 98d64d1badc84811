"""Records of alarms that an older program stored without their side: it is the one the journal told last.

Such a file is made of the rows of a new one, with the steps of its time: without what the older program did not write.
Version 11 of the file added the side of a record, and the journal tells the side since there are low limits.
"""

import sqlite3
from contextlib import closing
from dataclasses import replace
from pathlib import Path

from edgemon.model.alarm import AlarmRecord, AlarmState, PointState
from edgemon.model.event import AlarmChanged
from edgemon.model.ids import AlarmKey
from edgemon.model.limit import Severity, Side
from edgemon.store import migrate
from edgemon.store.mend import mend
from edgemon.store.port import Commit
from edgemon.store.sqlite import SqliteStore
from tests.store import builders as make

OLD = 10
"""The last version of the file whose records do not tell their side."""


def key(level: str, sim: bool) -> AlarmKey:
    return AlarmKey(*make.POINT, level, sim)


def state(*levels: str, sim: bool = False) -> PointState:
    records = {level: AlarmRecord(key(level, sim), AlarmState.OOSRV, Severity.ALARM, value=1.0 / 3.0) for level in levels}
    return replace(make.point_state(sim=sim), alarms=records)


def told(level: str, side: Side, sim: bool = False) -> AlarmChanged:
    event = make.raised()
    assert isinstance(event, AlarmChanged)
    return replace(event, alarm=key(level, sim), side=side)


def made_old(path: Path) -> None:
    """Put states and journal of a new file into one that only the steps of its time have made."""
    new = path.rename(path.with_name("new.sqlite"))
    with closing(sqlite3.connect(path, isolation_level=None)) as plain:
        for number, script in migrate.scripts().items():
            if number <= OLD:
                plain.executescript(script.read_text())
        plain.execute("ATTACH ? AS new", (str(new),))
        for table in ("point_states", "journal"):
            plain.execute(f"INSERT INTO {table} SELECT * FROM new.{table}")
        plain.execute(f"PRAGMA user_version = {OLD}")


async def brought_up(path: Path, commit: Commit, *damage: str, is_mended: bool = False) -> tuple[PointState, ...]:
    """Store, make the file an old one, open (or mend) it with today's program, and give the states of points."""
    store = await SqliteStore.open(path)
    await store.commit(commit)
    await store.close()
    made_old(path)
    with closing(sqlite3.connect(path, isolation_level=None)) as plain:
        for point in commit.points:
            for level in point.alarms:
                sql = "UPDATE point_states SET body = json_remove(body, ?) WHERE sim = ?"
                plain.execute(sql, (f'$.alarms."{level}".side', point.sim))
        assert '"side"' not in plain.execute("SELECT group_concat(body) FROM point_states").fetchone()[0]
        for statement in damage:
            plain.execute(statement)
    if is_mended:
        mend(path, make.T0)
    store = await SqliteStore.open(path)
    points = (await store.load()).points
    await store.close()
    with closing(sqlite3.connect(path)) as plain:
        assert plain.execute("PRAGMA user_version").fetchone()[0] == migrate.newest()
    return points


def sides(point: PointState) -> dict[str, Side]:
    return {level: record.side for level, record in point.alarms.items()}


async def test_the_side_is_the_one_the_journal_told_last_and_nothing_else_changes(tmp_path: Path) -> None:
    real, simulated = state("velocity_rms", "temperature", "kurtosis", "monitoring"), state("velocity_rms", sim=True)
    events = (
        told("velocity_rms", Side.ABOVE),
        told("velocity_rms", Side.BELOW),
        told("temperature", Side.BELOW),
        told("temperature", Side.ABOVE),
        told("velocity_rms", Side.ABOVE, sim=True),
        told("acceleration_peak", Side.BELOW),  # no record of it any more
        make.started(),
    )
    found = await brought_up(tmp_path / "edgemon.sqlite", Commit(make.T0, events=events, points=(real, simulated)))
    low = replace(real.alarms["velocity_rms"], side=Side.BELOW)
    assert found == (replace(real, alarms={**real.alarms, "velocity_rms": low}), simulated)


async def test_several_low_limits_of_one_point_are_all_found(tmp_path: Path) -> None:
    events = tuple(told(level, Side.BELOW) for level in ("velocity_rms", "temperature"))
    commit = Commit(make.T0, events=events, points=(state("velocity_rms", "temperature", "kurtosis"),))
    (point,) = await brought_up(tmp_path / "edgemon.sqlite", commit)
    assert sides(point) == {"velocity_rms": Side.BELOW, "temperature": Side.BELOW, "kurtosis": Side.ABOVE}


async def test_an_entry_of_before_low_limits_tells_of_an_upper_one_and_a_damaged_one_tells_nothing(tmp_path: Path) -> None:
    events = tuple(told(level, Side.BELOW) for level in ("velocity_rms", "temperature", "kurtosis"))
    commit = Commit(make.T0, events=events, points=(state("velocity_rms", "temperature", "kurtosis"),))
    (point,) = await brought_up(
        tmp_path / "edgemon.sqlite",
        commit,
        "DROP TRIGGER journal_stands",
        "UPDATE journal SET body = json_remove(body, '$.side') WHERE json_extract(body, '$.alarm[2]') = 'velocity_rms'",
        "UPDATE journal SET body = substr(body, 1, 40) WHERE seq = 2",
    )
    assert sides(point) == {"velocity_rms": Side.ABOVE, "temperature": Side.ABOVE, "kurtosis": Side.BELOW}


async def test_what_is_saved_of_a_damaged_old_file_tells_its_sides_too(tmp_path: Path) -> None:
    commit = Commit(make.T0, events=(told("temperature", Side.BELOW),), points=(state("velocity_rms", "temperature"),))
    (point,) = await brought_up(tmp_path / "edgemon.sqlite", commit, is_mended=True)
    assert sides(point) == {"velocity_rms": Side.ABOVE, "temperature": Side.BELOW}
