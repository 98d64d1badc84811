"""A machine that does not run: hides what nobody must look at, never what is there and not noticed."""

import pytest

from edgemon.alarms.judge import point_word
from edgemon.model.command import Acknowledge
from edgemon.model.event import AlarmChanged, RunningChanged
from edgemon.model.limit import Delay
from edgemon.model.machine import StandstillRule
from tests.alarms.making import Bench, changes, key, limit, rules

BY_LEVEL = StandstillRule("velocity_rms", 0.3)


def word(bench: Bench) -> str:
    return point_word(bench.rules, bench.state, bench.state.taken_at or 0.0)


@pytest.mark.parametrize(("rpm", "running"), [(0.0, False), (50.0, False), (50.1, True), (2975.0, True), (None, None)])
def test_speed_tells(rpm: float | None, running: bool | None) -> None:
    bench = Bench(rules())
    bench.measure(0.0, 3.0, rpm=rpm)
    assert bench.state.running is running
    assert word(bench) == ("not-running" if running is False else "normal")


def test_new_alarms_do_not_form_at_standstill() -> None:
    bench = Bench(rules())
    bench.measure(0.0, 9.0, rpm=0.0)
    assert (bench.alarm, word(bench)) == ("DSUPR", "not-running")
    bench.measure(5.0, 9.0, rpm=0.0)
    assert (bench.alarm, word(bench)) == ("DSUPR", "not-running")
    bench.measure(10.0, 9.0, rpm=2975.0)
    assert (bench.alarm, word(bench)) == ("UNACK", "alarm")


def test_an_active_alarm_is_not_held_back_until_noticed() -> None:
    bench = Bench(rules())
    bench.measure(0.0, 9.0, rpm=2975.0)
    events = bench.measure(5.0, 0.1, rpm=0.0)
    assert (bench.alarm, word(bench)) == ("UNACK", "alarm")
    assert [event.running for event in events if isinstance(event, RunningChanged)] == [False]
    bench.command(Acknowledge(key(), 1), 6.0)
    assert (bench.alarm, word(bench)) == ("DSUPR", "not-running")


def test_standstill_by_level_never_hides_what_is_there() -> None:
    bench = Bench(rules(limit(), limit("acceleration_rms", 20.0, 40.0), standstill_rpm=None, standstill=BY_LEVEL))
    bench.measure(0.0, 3.0, acceleration_rms=50.0)
    bench.command(Acknowledge(key("acceleration_rms"), 1), 1.0)
    bench.measure(5.0, 0.1, acceleration_rms=50.0)
    assert bench.state.running is False
    assert bench.record("acceleration_rms").state == "ACKED"
    assert bench.alarm == "DSUPR"
    assert word(bench) == "alarm"
    events = bench.measure(10.0, 0.1, acceleration_rms=0.2)
    assert changes(events, "acceleration_rms") == [("CLEARED", "ACKED", "NORM"), ("SUPPRESSED", "NORM", "DSUPR")]
    assert word(bench) == "not-running"


def test_speed_goes_before_level() -> None:
    bench = Bench(rules(standstill=BY_LEVEL))
    bench.measure(0.0, 0.1, rpm=2975.0)
    assert bench.state.running is True


def test_unknown_counts_as_running() -> None:
    bench = Bench(rules(standstill_rpm=None))
    bench.measure(0.0, 9.0, rpm=0.0)
    assert (bench.state.running, bench.alarm) == (None, "UNACK")


def test_what_was_told_holds_only_as_long_as_the_point_may_be_silent() -> None:
    bench = Bench(rules())
    bench.measure(0.0, 0.1, rpm=0.0)
    bench.measure(20.0, 9.0)
    assert bench.alarm == "DSUPR"
    events = bench.measure(31.0, 9.0)
    assert bench.state.running is None
    assert changes(events) == [("UNSUPPRESSED", "DSUPR", "NORM"), ("RAISED", "NORM", "UNACK")]
    assert next(event.reason for event in events if isinstance(event, AlarmChanged)) == "not known whether the machine runs"


def test_where_nothing_is_to_tell_standstill_any_more_nothing_stays_hidden_by_it() -> None:
    before = Bench(rules(stale_after_s=1e6))
    before.measure(0.0, 0.1, rpm=0.0)
    after = Bench(rules(standstill_rpm=None, stale_after_s=1e6), before.state)
    assert changes(after.restart(1.0)) == [("UNSUPPRESSED", "DSUPR", "NORM")]
    after.measure(2.0, 9.0)
    assert (after.state.running, after.alarm) == (None, "UNACK")


def test_an_older_measurement_does_not_tell() -> None:
    bench = Bench(rules(limit(), limit("temperature", 80.0, 95.0)))
    bench.measure(10.0, rpm=0.0, temperature=40.0)
    bench.measure(8.0, 9.0, now=11.0, rpm=2975.0)
    assert bench.state.running is False
    assert bench.alarm == "DSUPR"


def test_temperature_is_judged_at_standstill() -> None:
    bench = Bench(rules(limit(), limit("temperature", 80.0, 95.0)))
    bench.measure(0.0, 0.1, rpm=0.0, temperature=96.0)
    assert bench.record("temperature").state == "UNACK"
    assert word(bench) == "alarm"


def test_a_stop_breaks_a_pending_change() -> None:
    bench = Bench(rules(limit(on_delay_alert=Delay(2))))
    bench.measure(0.0, 5.0, rpm=2975.0)
    bench.measure(5.0, 5.0, rpm=0.0)
    bench.measure(10.0, 5.0, rpm=2975.0)
    assert bench.alarm == "NORM"
    bench.measure(15.0, 5.0, rpm=2975.0)
    assert bench.alarm == "UNACK"


def test_limits_are_raised_for_a_while_after_a_start_only() -> None:
    bench = Bench(rules(limit(), limit("temperature", 80.0, 95.0), runup_factor=2.0, runup_s=60.0))
    bench.measure(0.0, 5.0, rpm=2975.0)
    assert bench.alarm == "UNACK", "no start was seen"
    bench = Bench(rules(limit(), limit("temperature", 80.0, 95.0), runup_factor=2.0, runup_s=60.0))
    bench.measure(0.0, 0.1, rpm=0.0)
    bench.measure(10.0, 6.0, rpm=2975.0, temperature=85.0)
    assert bench.record("temperature").state == "UNACK", "only vibration rises on the way up"
    bench.measure(20.0, 9.1, rpm=2975.0)
    assert (bench.alarm, bench.record().severity.word) == ("UNACK", "alert")
    bench.measure(69.9, 4.0, rpm=2975.0)
    bench.measure(70.0, 8.0, rpm=2975.0)
    assert bench.record().severity.word == "alarm"


def test_start_and_stop_are_journalled_once_and_unknown_is_neither() -> None:
    bench = Bench(rules())
    for t, rpm in ((0.0, 2975.0), (1.0, 2980.0), (2.0, 0.0), (3.0, 10.0), (4.0, 2900.0), (5.0, None)):
        bench.measure(t, 3.0, rpm=rpm)
    assert [(event.at, event.running) for event in bench.events if isinstance(event, RunningChanged)] == [
        (2.0, False), (4.0, True),
    ]  # fmt: skip
