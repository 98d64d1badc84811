"""First-out: by onset at the source, uncertain within the errors of the clocks, kept until nothing of the group waits.

The three alarms are a worked case: onsets 10.4, 10.2 and 11.9 s, clock errors 0.5, 0.5 and 0.1 s, so that the first two cannot
be told apart (0.2 s < 1.0 s) and the third is later for certain (1.7 s > 0.6 s).
"""

from dataclasses import replace

from edgemon.alarms.firstout import mark
from edgemon.model.alarm import AlarmRecord, AlarmState
from edgemon.model.ids import AlarmKey
from edgemon.model.limit import Delay
from edgemon.model.machine import point_key
from tests.alarms.making import Bench, limit, rules

ERRORS = {"p1": 0.5, "p2": 0.5, "p3": 0.1, "p4": 0.1}
Group = dict[str, AlarmRecord]


def record(point: str, onset: float, state: AlarmState = AlarmState.UNACK) -> AlarmRecord:
    key = AlarmKey(*point_key("hp-pump-1", point), "velocity_rms")
    return AlarmRecord(key, state, annunciates=True, onset_at=onset, raised_at=onset + 5.0)


def look(group: Group, *more: AlarmRecord) -> Group:
    group = group | {one.key.point: one for one in more}
    return group | {one.key.point: one for one in mark(group.values(), lambda key: ERRORS[key.point])}


def marks(group: Group) -> dict[str, bool]:
    return {name: one.first_out.sure for name, one in group.items() if one.first_out is not None}


def test_the_worked_case() -> None:
    group = look({}, record("p1", 10.4))
    assert marks(group) == {"p1": True}
    group = look(group, record("p2", 10.2))
    assert marks(group) == {"p1": False, "p2": False}
    group = look(group, record("p3", 11.9))
    assert marks(group) == {"p1": False, "p2": False}
    group = look(group, replace(group["p2"], state=AlarmState.NORM, annunciates=False))
    assert marks(group) == {"p1": False, "p2": False}, "the mark outlives its alarm while others wait"
    group = look(group, record("p4", 9.0))
    assert marks(group) == {"p4": True}, "one that comes later and began earlier takes the mark over"
    for name in ("p1", "p3", "p4"):
        group = look(group, replace(group[name], state=AlarmState.ACKED))
    assert marks(group) == {}, "nothing of the group waits"
    assert mark(group.values(), lambda key: 0.1) == ()


def test_an_alarm_that_comes_again_keeps_the_onset_that_made_it_first() -> None:
    group = look({}, record("p3", 10.0), record("p4", 12.0))
    group = look(group, replace(group["p3"], onset_at=20.0))
    assert marks(group) == {"p3": True}


def test_what_does_not_call_is_no_member() -> None:
    assert marks(look({}, replace(record("p3", 1.0), annunciates=False), record("p4", 2.0))) == {"p4": True}


def test_the_onset_is_the_first_measurement_beyond_the_limit() -> None:
    one = Bench(rules(limit(on_delay_alert=Delay(3), on_delay_alarm=Delay(2)), stale_after_s=1e6))
    one.measure(10.0, 5.0)
    one.measure(20.0, 5.0)
    one.measure(30.0, 5.0)
    assert (one.record().raised_at, one.record().onset_at) == (30.0, 10.0)
    one.measure(40.0, 8.0)
    one.measure(50.0, 8.0)
    assert (one.record().raised_at, one.record().onset_at) == (50.0, 40.0), "the alarm began later than the alert"
