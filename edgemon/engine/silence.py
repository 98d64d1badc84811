"""Silencing: every point whose alarms call, in one commit."""

from dataclasses import replace

from edgemon.alarms.annunciate import silence as quieten
from edgemon.engine.draft import Judgement
from edgemon.engine.memory import Memory, Setting, Track
from edgemon.model.alarm import AlarmRecord, PointState
from edgemon.model.command import Person
from edgemon.model.event import AlarmsSilenced
from edgemon.model.instant import Instant
from edgemon.store.port import Commit


def silence(setting: Setting, memory: Memory, person: Person, now: Instant) -> Judgement:
    """Silence whatever calls now, real and simulated; nothing happens where nothing sounds."""
    points: dict[Track, PointState] = {}
    quiet: list[AlarmRecord] = []
    for track, state in memory.points.items():
        after, silenced = quieten(state, setting.plant.alarms, now)
        if silenced:
            points[track] = after
            quiet.extend(silenced)
    if not quiet:
        return Judgement(memory, Commit(now), frozenset())
    event = AlarmsSilenced(now, tuple(record.key for record in quiet), person.name, person.station)
    counted = {"events": memory.counters.get("events", 0) + 1}
    commit = Commit(now, events=(event,), points=tuple(points.values()), counters=counted)
    after_it = replace(memory, points={**memory.points, **points}, counters={**memory.counters, **counted})
    return Judgement(after_it, commit, frozenset(points))
