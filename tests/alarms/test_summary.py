"""What is shown: units of the limits, worst level, worst point, real before simulated."""

from dataclasses import replace

import pytest

from edgemon.alarms.judge import Rules, judge
from edgemon.alarms.summary import WORDS, calls, machine_view, point_view
from edgemon.model.alarm import PointState
from edgemon.model.command import Acknowledge, RemoveFromService, Shelve
from edgemon.model.ids import PointId, PointKey
from edgemon.model.instant import Instant
from edgemon.model.snapshot import HidingView, MachineView
from tests.alarms.making import ENGINEER, KEY, OPERATOR, Bench, key, limit, measured, rules

VELOCITY = limit(alert=2.8e-3, alarm=4.5e-3, unit="mm/s", origin="ISO 10816-3:2009 Table A.1")


def test_values_and_limits_are_in_the_unit_of_the_limit() -> None:
    bench = Bench(rules(VELOCITY, limit("temperature", 80.0, 95.0, unit="degF")))
    bench.measure(0.0, 3.0e-3, temperature=60.0, acceleration_rms=5.0)
    view = point_view(bench.rules, bench.state, 1.0)
    velocity, temperature, acceleration = view.levels
    assert velocity.value == pytest.approx(3.0)
    assert velocity.unit == "mm/s"
    assert (velocity.alert, velocity.alarm, velocity.state, velocity.origin) == (
        2.8,
        4.5,
        "alert",
        "ISO 10816-3:2009 Table A.1",
    )
    assert temperature.value == pytest.approx(140.0)
    assert (temperature.alert, temperature.alarm) == (176.0, 203.0)
    assert (acceleration.unit, acceleration.alert, acceleration.alarm, acceleration.origin) == ("m/s2", None, None, "")
    assert (view.state, view.quality, view.reasons, view.t, view.sim) == ("alert", "good", (), 0.0, False)
    (alarm,) = view.alarms
    assert (alarm.id, alarm.severity, alarm.alarm_state) == ("hp-pump-1/pump-de-h/velocity_rms", "alert", "UNACK")
    assert alarm.value == pytest.approx(3.0)
    assert (alarm.limit, alarm.unit, alarm.title) == (2.8, "mm/s", "velocity r.m.s.")


def test_never_heard() -> None:
    for states in ((), PointState(KEY)):
        view = point_view(rules(), states, 5.0)
        assert (view.state, view.quality, view.reasons, view.t) == ("unknown", "stale", ("waiting-for-first-data",), None)
        assert (view.levels, view.alarms, view.trend) == ((), (), ())


def test_loss_is_an_alarm_of_its_own_and_no_state_of_the_point() -> None:
    bench = Bench(rules())
    bench.measure(0.0, 3.0)
    bench.tick(30.0)
    view = point_view(bench.rules, bench.state, 30.0)
    assert (view.state, view.quality, view.reasons) == ("unknown", "stale", ("no-data",))
    assert [(alarm.title, alarm.severity, alarm.alarm_state) for alarm in view.alarms] == [
        ("loss of monitoring", "alarm", "UNACK")
    ]


def test_gone_alarms_show_the_highest_they_had() -> None:
    bench = Bench(rules(limit(latch_alarm=True)))
    bench.measure(0.0, 8.0)
    bench.measure(1.0, 3.0)
    view = point_view(bench.rules, bench.state, 1.0)
    assert (view.alarms[0].alarm_state, view.alarms[0].severity, view.state) == ("LATUN", "alarm", "alarm")
    assert view.levels[0].state == "normal"
    assert view.alarms[0].limit == 7.1


def test_shelving_ends_the_call_not_the_fact() -> None:
    bench = Bench(rules())
    bench.measure(0.0, 8.0)
    bench.command(Shelve(key(), 60.0, "bracket"), 1.0)
    view = point_view(bench.rules, bench.state, 1.0)
    assert (view.state, view.alarms[0].alarm_state, calls(view.alarms[0])) == ("alarm", "SHLVD", False)


def test_what_hides_an_alarm_is_shown_with_who_why_and_until_when() -> None:
    bench = Bench(rules(limit()))
    bench.measure(0.0, 5.0)
    bench.command(Shelve(key(), 600.0, "bracket"), 1.0, OPERATOR)
    (alarm,) = point_view(bench.rules, bench.state, 2.0).alarms
    assert alarm.hidden == HidingView("shelved", OPERATOR.name, "bracket", 1.0, 601.0)
    bench.command(RemoveFromService(key(), "swap"), 3.0)
    (alarm,) = point_view(bench.rules, bench.state, 4.0).alarms
    assert alarm.hidden == HidingView("out-of-service", ENGINEER.name, "swap", 3.0, None)


def simulated(value: float, t: Instant = 0.0) -> PointState:
    bench = Bench(rules(), PointState(KEY, sim=True))
    bench.measure(t, value)
    return bench.state


def real(value: float, t: Instant = 0.0) -> PointState:
    bench = Bench(rules())
    bench.measure(t, value)
    return bench.state


@pytest.mark.parametrize(
    ("states", "state", "sim"),
    [
        ((real(3.0), simulated(8.0)), "alarm", True),
        ((real(8.0), simulated(5.0)), "alarm", False),
        ((real(3.0), simulated(3.0)), "normal", False),
        ((PointState(KEY), simulated(3.0)), "normal", True),
        ((simulated(3.0),), "normal", True),
        ((real(3.0), PointState(KEY, sim=True)), "normal", False),
    ],
)
def test_real_before_simulated(states: tuple[PointState, ...], state: str, sim: bool) -> None:
    view = point_view(rules(), states, 1.0)
    assert (view.state, view.sim) == (state, sim)


def test_a_simulation_that_is_over_gives_way_to_the_real_state_but_its_alarm_stays_listed() -> None:
    bench = Bench(rules(), simulated(8.0))
    bench.tick(30.0)
    view = point_view(rules(), (real(3.0, 29.0), bench.state), 30.0)
    assert (view.state, view.sim) == ("normal", False)
    assert [(alarm.id, alarm.sim) for alarm in view.alarms] == [
        ("hp-pump-1/pump-de-h/velocity_rms/sim", True),
        ("hp-pump-1/pump-de-h/monitoring/sim", True),
    ]


def train(*values: float | None) -> MachineView:
    """A machine of as many points as values: None is never heard, zero stands still."""
    made = rules(limit(alert=4.0, alarm=8.0))
    keys = [PointKey(KEY.machine, PointId(f"p{number}")) for number in range(len(values))]
    points = tuple(replace(made.point, key=point) for point in keys)
    machine = replace(made.machine, points=points)
    rules_by_point = {point.key: Rules(point, machine) for point in points}
    states = []
    for number, (point, value) in enumerate(zip(keys, values, strict=True)):
        bench = Bench(rules_by_point[point], PointState(point))
        if value is not None:
            taken = replace(measured(float(number), rpm=2975.0 if value else 0.0, velocity_rms=value), point=point)
            bench.state, _ = judge(bench.rules, bench.state, taken, float(number))
        states.append(bench.state)
    return machine_view(machine, rules_by_point, states, 5.0)


@pytest.mark.parametrize(
    ("values", "state"),
    [
        ((3.0, 2.0), "normal"),
        ((3.0, 0.0), "normal"),
        ((0.0, 0.0), "not-running"),
        ((3.0, None), "unknown"),
        ((0.0, None), "unknown"),
        ((5.0, None), "alert"),
        ((9.0, 5.0, 3.0, None), "alarm"),
    ],
)
def test_a_machine_is_as_bad_as_its_worst_point(values: tuple[float | None, ...], state: str) -> None:
    view = train(*values)
    assert view.state == state
    assert WORDS.index(state) == max(WORDS.index(point.state) for point in view.points)
    assert view.quality == ("stale" if None in values else "good")


def test_worst_level_time_and_trend_of_a_machine() -> None:
    view = train(3.0, 6.0, 5.0)
    assert view.worst is not None
    assert (view.worst.point, view.worst.level) == ("p1", "velocity_rms")
    assert view.worst.ratio == pytest.approx(0.75)
    assert (view.worst.alert, view.worst.alarm, view.worst.value) == (4.0, 8.0, 6.0)
    assert view.trend == pytest.approx((0.75,))
    assert (view.t, view.rpm, view.sim) == (2.0, 2975.0, False)


def test_a_machine_never_heard_has_no_worst() -> None:
    view = train(None, None)
    assert (view.state, view.quality, view.worst, view.t, view.trend) == ("unknown", "stale", None, None, ())
    assert view.reasons == ("waiting-for-first-data",)


def test_unacknowledged_is_what_calls_the_operator() -> None:
    def unacknowledged(bench: Bench, now: Instant) -> bool:
        machine = bench.rules.machine
        return machine_view(machine, {KEY: bench.rules}, [bench.state], now).unacknowledged

    bench = Bench(rules())
    bench.measure(0.0, 5.0)
    assert not unacknowledged(bench, 0.0), "an alert is for the analyst"
    bench.measure(1.0, 8.0)
    assert unacknowledged(bench, 1.0)
    bench.command(Acknowledge(key(), 1), 2.0, ENGINEER)
    assert unacknowledged(bench, 2.0), "that was the alert"
    bench.command(Acknowledge(key(), 2), 2.0, ENGINEER)
    assert not unacknowledged(bench, 2.0)


def test_a_level_with_a_limit_of_which_nothing_comes_is_left_out_and_never_reads_as_normal() -> None:
    bench = Bench(
        rules(limit(), limit("temperature", 80.0, 95.0), limit("kurtosis", 5.0, 8.0), limit("crest_factor", 5.0, 6.0))
    )
    bench.measure(0.0, 3.0, temperature=79.0, crest_factor=4.0)
    for t in (10.0, 20.0, 29.0):
        bench.measure(t, 3.0, crest_factor=4.0)
    view = point_view(bench.rules, bench.state, 29.0)
    assert [level.name for level in view.levels] == ["velocity_rms", "temperature", "crest_factor"]
    assert view.left_out == {"kurtosis": "never heard"}
    bench.measure(30.0, 3.0)
    view = point_view(bench.rules, bench.state, 30.0)
    since = "nothing heard since 1970-01-01T00:00:00.000Z"
    assert view.left_out == {"kurtosis": "never heard", "temperature": since}
    assert [level.name for level in view.levels] == ["velocity_rms", "crest_factor"]
    machine = machine_view(bench.rules.machine, {KEY: bench.rules}, [bench.state], 30.0)
    assert machine.worst is not None
    assert machine.worst.level == "crest_factor", "what came half a minute ago is not the worst of now"
    bench.measure(31.0, 3.0, temperature=85.0)
    assert bench.record("temperature").severity.word == "alert"
    bench.measure(50.0, 3.0, crest_factor=1.5)
    bench.measure(61.0, 3.0, crest_factor=1.5)
    view = point_view(bench.rules, bench.state, 61.0)
    assert {level.name: level.state for level in view.levels}["temperature"] == "alert", "an alarm stays in sight"
    assert "temperature" in view.left_out


def test_a_level_that_is_computed_no_more_leaves_the_screen() -> None:
    bench = Bench(rules(limit()))
    bench.measure(0.0, 3.0, kurtosis=3.0, crest_factor=4.0)
    bench.rules = replace(bench.rules, point=replace(bench.rules.point, computes=frozenset({"velocity_rms", "crest_factor"})))
    for t in (10.0, 20.0, 30.0):
        bench.measure(t, 3.0, crest_factor=4.0)
    view = point_view(bench.rules, bench.state, 30.0)
    assert [level.name for level in view.levels] == ["velocity_rms", "crest_factor"]
    assert view.left_out == {}


def test_where_nothing_at_all_comes_the_point_says_so_and_no_level_by_itself() -> None:
    bench = Bench(rules(limit(), limit("temperature", 80.0, 95.0)))
    bench.measure(0.0, 3.0, temperature=40.0)
    view = point_view(bench.rules, bench.state, 100.0)
    assert (view.quality, view.left_out, len(view.levels)) == ("stale", {}, 2)


def test_a_point_whose_only_limit_is_of_a_level_that_never_comes_is_not_normal() -> None:
    """Silence never reads as normal: vibration that nobody limits does not speak for a temperature that is watched."""
    bench = Bench(rules(limit("temperature", 80.0, 95.0)))
    bench.measure(0.0, 3.0)
    assert point_view(bench.rules, bench.state, 1.0).state == "unknown"
    bench.measure(10.0, 3.0, temperature=40.0)
    assert point_view(bench.rules, bench.state, 11.0).state == "normal"
