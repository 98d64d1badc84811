"""What each capture is worth: the journal read once more, in small steps, behind the path.

Spells of active alarms are made from the journal in the order in which it was written; then captures that nobody looked at
yet are weighed. What happens later (an onset, a baseline) has the captures it bears on weighed again.
"""

import math
import sqlite3
from collections import defaultdict

from edgemon.model.baseline import Baseline, BaselineApproved, BaselineProposed, BaselineRetired, BaselineState
from edgemon.model.event import AlarmChanged, Event
from edgemon.model.ids import MachineId, PointId, PointKey, SensorId
from edgemon.model.retention import Retention, SensorsOf
from edgemon.store.connection import transaction
from edgemon.store.plan import Spell, Window, is_active, worth_of
from edgemon.store.wire import Row, entry_from_row, event_from_json

ENTRIES = 500
"""Journal entries read in one step."""
CAPTURES = 100
"""Captures weighed in one step."""
BASELINES = 200
"""Entries of baselines read in one step at the start."""

_SEQ = "SELECT coalesce((SELECT value FROM meta WHERE key = 'spells_seq'), 0)"
_KINDS = ("alarm-changed", "baseline-proposed", "baseline-approved", "baseline-retired")
_ENTRIES = f"SELECT seq, body FROM journal WHERE seq > ? AND seq <= ? AND kind IN {_KINDS} ORDER BY seq"
_BASELINES = f"""SELECT seq, recorded_at, body FROM journal
    WHERE kind IN {_KINDS[1:]} AND seq > ? AND seq <= ? ORDER BY seq LIMIT ?"""
_OPEN = "SELECT number FROM spells WHERE machine = ? AND point = ? AND level = ? AND sim = ? AND until IS NULL"
_BEGIN = "INSERT INTO spells (machine, point, level, sim, since) VALUES (?, ?, ?, ?, ?)"
_SPELLS = "SELECT point, sim, since, until FROM spells WHERE machine = ? AND since <= ? AND (until IS NULL OR until >= ?)"
_ANEW = """UPDATE captures SET worth = NULL WHERE sensor = ? AND taken_at BETWEEN ? AND ? AND sim = ? AND worth IS NOT NULL"""
_ANEW_BASELINES = "UPDATE captures SET worth = NULL WHERE worth = 3 AND +sensor = ? AND sim = ?"
_TO_WEIGH = "SELECT number, sensor, taken_at, sim FROM captures WHERE worth IS NULL ORDER BY number LIMIT ?"


class Scales:
    """Weighs the captures of one store; lives on the writer's thread.

    Parameters
    ----------
    sensors : mapping of PointKey to SensorId
        The sensor of each point.
    """

    def __init__(self, retention: Retention, sensors: SensorsOf) -> None:
        self._around_s = retention.around_s
        self._sensor_of = dict(sensors)
        self._points_of: dict[SensorId, list[PointKey]] = defaultdict(list)
        for point, sensor in sensors.items():
            self._points_of[sensor].append(point)
        self._sensors_of: dict[MachineId, set[SensorId]] = defaultdict(set)
        for point, sensor in sensors.items():
            self._sensors_of[point.machine].add(sensor)
        self._windows: dict[SensorId, dict[tuple[PointKey, str, bool], Window]] = defaultdict(dict)
        self.is_learned = False
        """The journal is read to its end: what is weighed is weighed rightly."""
        self._read_up_to = 0
        """Entries of baselines that an earlier run heard of are read up to this one."""

    def weigh(self, connection: sqlite3.Connection) -> bool:
        """Take one step; gives whether everything is weighed."""
        with transaction(connection):
            self.is_learned = self._remember(connection) and self._learn(connection)
            return self.is_learned and self._weigh(connection)

    def _remember(self, connection: sqlite3.Connection) -> bool:
        """Read some of the baselines of earlier runs; gives whether all are known."""
        (done,) = connection.execute(_SEQ).fetchone()
        if self._read_up_to >= done:
            return True
        rows = connection.execute(_BASELINES, (self._read_up_to, done, BASELINES)).fetchall()
        for row in rows:
            event = entry_from_row(row).event
            if isinstance(event, BaselineProposed | BaselineApproved | BaselineRetired):
                self._window(event.baseline)
        self._read_up_to = rows[-1][0] if len(rows) == BASELINES else done
        return bool(self._read_up_to >= done)

    def _learn(self, connection: sqlite3.Connection) -> bool:
        (done,) = connection.execute(_SEQ).fetchone()
        (last,) = connection.execute("SELECT coalesce(max(seq), 0) FROM journal").fetchone()
        if done >= last:
            return True
        (first,) = connection.execute("SELECT min(seq) FROM journal WHERE seq > ?", (done,)).fetchone()
        begin, done = first - 1, min(last, first - 1 + ENTRIES)
        for seq, body in connection.execute(_ENTRIES, (begin, done)).fetchall():
            self._heard(connection, event_from_json(body, f"journal, seq {seq}"))
        sql = "INSERT INTO meta (key, value) VALUES ('spells_seq', ?) ON CONFLICT DO UPDATE SET value = excluded.value"
        connection.execute(sql, (done,))
        self._read_up_to = done
        return bool(done >= last)

    def _heard(self, connection: sqlite3.Connection, event: Event) -> None:
        if isinstance(event, AlarmChanged):
            self._alarm(connection, event)
        elif isinstance(event, BaselineProposed | BaselineApproved | BaselineRetired):
            self._window(event.baseline)
            self._anew(connection, event.baseline)

    def _alarm(self, connection: sqlite3.Connection, event: AlarmChanged) -> None:
        active, key = is_active(event), event.alarm
        if active is None:
            return
        found = connection.execute(_OPEN, (key.machine, key.point, key.level, key.sim)).fetchone()
        if active and found is None:
            connection.execute(_BEGIN, (key.machine, key.point, key.level, key.sim, event.at))
            sensor = self._sensor_of.get(PointKey(key.machine, key.point))
            connection.execute(_ANEW, (sensor, event.at - self._around_s, event.at + self._around_s, key.sim))
            also = [(one, event.at, math.inf, key.sim) for one in self._sensors_of.get(key.machine, ())]
            connection.executemany(_ANEW, also)
        elif not active and found is not None:
            connection.execute("UPDATE spells SET until = ? WHERE number = ?", (event.at, found[0]))

    def _window(self, one: Baseline) -> None:
        sensor, key = self._sensor_of.get(one.point), (one.point, one.level, one.sim)
        if sensor is not None:
            self._windows[sensor].pop(key, None)
            if one.state is not BaselineState.RETIRED:
                self._windows[sensor][key] = Window(one.first_at, one.last_at, one.sim)

    def _anew(self, connection: sqlite3.Connection, one: Baseline) -> None:
        sensor = self._sensor_of.get(one.point)
        connection.execute(_ANEW, (sensor, one.first_at, one.last_at, one.sim))
        connection.execute(_ANEW_BASELINES, (sensor, one.sim))

    def _weigh(self, connection: sqlite3.Connection) -> bool:
        rows = connection.execute(_TO_WEIGH, (CAPTURES,)).fetchall()
        if not rows:
            return True
        spells = self._spells(connection, rows)
        weighed = []
        for number, sensor, taken_at, sim in rows:
            points = self._points_of.get(sensor, [])
            of_machines = [spell for machine in {point.machine for point in points} for spell in spells[machine]]
            windows = set(self._windows[sensor].values()) if sensor in self._windows else ()
            worth = worth_of(taken_at, bool(sim), points, of_machines, windows, self._around_s)
            weighed.append((int(worth), number))
        connection.executemany("UPDATE captures SET worth = ? WHERE number = ?", weighed)
        return len(rows) < CAPTURES

    def _spells(self, connection: sqlite3.Connection, rows: list[Row]) -> dict[MachineId, list[Spell]]:
        machines = {point.machine for row in rows for point in self._points_of.get(row[1], ())}
        begin = min(row[2] for row in rows) - self._around_s
        end = max(row[2] for row in rows) + self._around_s
        found: dict[MachineId, list[Spell]] = {}
        for machine in machines:
            of_machine = connection.execute(_SPELLS, (machine, end, begin)).fetchall()
            found[machine] = [
                Spell(PointKey(machine, PointId(point)), bool(sim), since, until) for point, sim, since, until in of_machine
            ]
        return found
