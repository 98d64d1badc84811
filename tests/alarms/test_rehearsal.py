"""Limits over the past: counts worked out by hand on drawn courses, and the same code giving the same as itself."""

import random
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from edgemon.alarms.rehearsal import AGAIN_S, HORIZON_S, Known, Run, alone, changes, leads, load, run, weightiest
from edgemon.alarms.rules import Rules
from edgemon.model.ids import PointId
from edgemon.model.level import Measurement
from edgemon.model.limit import Delay, Limit, Severity
from edgemon.model.machine import Machine
from tests.alarms.making import KEY, limit, measured, rules

STEP = 600.0
DAY = 86_400.0


def past(*values: float, step: float = STEP) -> list[Measurement]:
    return [measured(step * number, rpm=2975.0, velocity_rms=value) for number, value in enumerate(values, 1)]


def quiet(*limits: Limit) -> Rules:
    return rules(*limits, stale_after_s=10 * DAY)


def machine_with(*limits: Limit) -> Machine:
    made = quiet(*limits)
    return replace(made.machine, points=(made.point,))


def test_counts_and_times_are_those_of_the_drawn_course() -> None:
    # alert 4.5, alarm 7.1: normal, alert, alarm, alarm, alert, normal, normal, alert, normal
    found = run(quiet(limit()), past(1, 5, 8, 8, 5, 1, 1, 5, 1))
    assert (found.alerts, found.alarms, found.losses) == (2, 1, 0)
    assert found.again == 1
    assert found.watched_s == 8 * STEP
    assert found.alert_s == 5 * STEP
    assert found.alarm_s == 2 * STEP
    assert found.raised == ((2 * STEP, Severity.ALERT), (3 * STEP, Severity.ALARM), (8 * STEP, Severity.ALERT))
    assert found.calls == (3 * STEP,)  # an alert calls the analyst, no operator


def test_a_delay_of_two_readings_keeps_a_single_one_from_counting() -> None:
    twice = limit(on_delay_alert=Delay(2), on_delay_alarm=Delay(2))
    assert (run(quiet(twice), past(1, 5, 1, 5, 5, 1)).alerts, run(quiet(limit()), past(1, 5, 1, 5, 5, 1)).alerts) == (1, 2)


def test_a_deadband_ends_the_coming_and_going() -> None:
    wavering = [5.0, 4.4] * 10
    assert run(quiet(limit()), past(1, *wavering)).again == 9
    assert run(quiet(limit(deadband=0.5)), past(1, *wavering)).alerts == 1


def test_what_goes_and_comes_a_day_later_does_not_come_and_go() -> None:
    late = [measured(t, velocity_rms=value) for t, value in ((0.0, 5.0), (60.0, 1.0), (60.0 + AGAIN_S + 1.0, 5.0))]
    assert (run(quiet(limit()), late).alerts, run(quiet(limit()), late).again) == (2, 0)


def test_silence_is_lost_monitoring_and_no_alert() -> None:
    gap = [measured(t, velocity_rms=1.0) for t in (0.0, 10.0, 1000.0, 1010.0)]
    found = run(rules(limit(), stale_after_s=30.0), gap)
    assert (found.losses, found.alerts, found.alarms, found.calls) == (1, 0, 0, ())


def test_a_machine_that_stands_still_raises_nothing() -> None:
    still = [measured(STEP * number, rpm=0.0, velocity_rms=9.0) for number in range(1, 9)]
    assert run(quiet(limit()), still).alarms == 0


def test_operator_load_is_counted_in_bins_aligned_to_the_clock() -> None:
    def called(*at: float) -> Run:
        return replace(run(quiet(limit()), past(1)), calls=at)

    found = load([called(*(599.0 + number / 100 for number in range(11))), called(600.5, 700.0)], 0.0, DAY)
    assert (found.calls, found.per_day) == (13, 13.0)
    assert found.most_in_ten_minutes == 11
    assert found.bins_above_ten == pytest.approx(1 / 144)
    assert load([], 0.0, DAY).per_day == 0.0


def test_how_early_an_event_was_foretold() -> None:
    found = run(quiet(limit()), past(1, 1, 5, 5, 8, 8))
    after = Known(10 * STEP, KEY.machine, "bearing changed")
    elsewhere = replace(after, point=PointId("motor-de-h"))
    before_all = replace(after, at=2 * STEP)
    long_after = replace(after, at=5 * STEP + HORIZON_S + 1.0)
    told = leads([found], [after, elsewhere, before_all, long_after])
    assert [(one.alert_s, one.alarm_s) for one in told] == [(7 * STEP, 5 * STEP), (None, None), (None, None), (None, None)]


def test_only_limits_that_do_something_else_are_changes() -> None:
    before, wider = machine_with(limit(origin="a")), machine_with(limit(origin="b"))
    assert changes(before, wider) == ()
    (change,) = changes(before, machine_with(limit(alert=6.0)))
    assert (change.point, change.level, change.after and change.after.alert) == (KEY, "velocity_rms", 6.0)
    (gone, come) = changes(before, machine_with(limit("temperature", 80.0, 95.0)))
    assert {(gone.level, gone.after), (come.level, come.before)} == {("velocity_rms", None), ("temperature", None)}


def test_what_a_change_does_alone_and_which_weighs_most() -> None:
    two = [limit(), limit("acceleration_rms", 10.0, 20.0)]
    course = [
        measured(STEP * number, rpm=2975.0, velocity_rms=value, acceleration_rms=2.0 * value)
        for number, value in enumerate((1.0, 5.0, 1.0, 5.5, 1.0, 8.0, 1.0), 1)
    ]
    current = run(quiet(*two), course)
    candidate = machine_with(limit(alert=6.0), limit("acceleration_rms", 10.0, 15.0))
    found = [alone(quiet(*two), one, course, current) for one in changes(machine_with(*two), candidate)]
    assert {one.level: (one.alerts, one.alarms) for one in found} == {"velocity_rms": (-2, 0), "acceleration_rms": (-1, 1)}
    assert [one.level for one in weightiest(found)] == ["acceleration_rms", "velocity_rms"]


@given(st.integers(0, 10_000))
def test_a_higher_limit_never_raises_more_time_in_alert(seed: int) -> None:
    course = past(*(random.Random(seed).uniform(0.0, 10.0) for _ in range(40)))
    low, high = run(quiet(limit()), course), run(quiet(limit(alert=5.5, alarm=8.0)), course)
    assert high.alert_s <= low.alert_s
    assert high.alarm_s <= low.alarm_s
    assert high.alarm_s <= high.alert_s <= high.watched_s
