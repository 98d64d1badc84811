"""The entrance: what it refuses, late data, levels that come alone, what is remembered."""

from dataclasses import replace

import pytest

from edgemon.alarms.judge import judge, next_due, tick
from edgemon.alarms.priority import annunciates, priority
from edgemon.errors import ParameterError
from edgemon.model.alarm import MONITORING, PointState, Priority
from edgemon.model.command import Acknowledge, Reset
from edgemon.model.event import AlarmChanged, MeasurementLate
from edgemon.model.limit import Severity
from edgemon.model.machine import Criticality, point_key
from tests.alarms.making import KEY, Bench, key, limit, measured, rules


def test_real_and_simulated_data_never_mix() -> None:
    for sim in (False, True):
        with pytest.raises(ParameterError, match="simulated"):
            judge(rules(), PointState(KEY, sim=sim), measured(0.0, sim=not sim, velocity_rms=3.0), 0.0)


def test_a_simulated_alarm_says_so() -> None:
    bench = Bench(rules(), PointState(KEY, sim=True))
    bench.measure(0.0, 8.0)
    assert bench.record().key.sim
    assert str(bench.record().key) == "hp-pump-1/pump-de-h/velocity_rms/sim"


def test_another_point_is_a_bug() -> None:
    other = point_key("hp-pump-1", "motor-de-h")
    with pytest.raises(ParameterError, match="different points"):
        judge(rules(), PointState(other), measured(0.0, velocity_rms=3.0), 0.0)
    with pytest.raises(ParameterError, match="different points"):
        judge(rules(), PointState(KEY), replace(measured(0.0, velocity_rms=3.0), point=other), 0.0)


def test_late_is_told_with_what_it_would_have_been() -> None:
    bench = Bench(rules())
    bench.measure(10.0, 3.0)
    before = bench.state
    for t in (10.0, 4.0):
        (event,) = bench.measure(t, 8.0, now=11.0)
        assert isinstance(event, MeasurementLate)
        assert (event.at, event.newest_at, event.beyond) == (t, 10.0, Severity.ALARM)
    assert bench.state is before


def test_levels_come_alone_in_any_order() -> None:
    bench = Bench(rules(limit(), limit("temperature", 80.0, 95.0)))
    bench.measure(10.0, temperature=40.0)
    bench.measure(8.0, 5.0, now=11.0)
    assert bench.alarm == "UNACK", "velocity was never heard before, so nothing is late"
    assert (bench.state.taken_at, bench.state.fit_at) == (10.0, 10.0)
    assert bench.state.level_at == {"temperature": 10.0, "velocity_rms": 8.0}
    bench.measure(9.0, 8.0, now=12.0, temperature=99.0)
    assert bench.record().severity is Severity.ALARM
    assert bench.record("temperature").state == "NORM", "the late half is not judged"
    assert {level.name: level.value for level in bench.state.levels} == {"temperature": 40.0, "velocity_rms": 8.0}


def test_a_level_without_limit_is_remembered_and_never_judged() -> None:
    bench = Bench(rules())
    bench.measure(0.0, 3.0, kurtosis=99.0)
    assert [level.name for level in bench.state.levels] == ["velocity_rms", "kurtosis"]
    assert set(bench.state.alarms) == {"velocity_rms", MONITORING}


def test_trend_is_the_worst_ratio_and_bounded() -> None:
    bench = Bench(rules(limit(alert=4.0, alarm=8.0), limit("kurtosis", 5.0, None)))
    bench.measure(0.0, 2.0, kurtosis=6.0)
    assert bench.state.trend == pytest.approx((6.0 / (1.6 * 5.0),))
    bench.measure(1.0, 7.0, kurtosis=6.0)
    assert bench.state.trend[-1] == pytest.approx(7.0 / 8.0)
    for t in range(2, 100):
        bench.measure(float(t), 8.0 * t / 100.0, kurtosis=0.0)
    assert len(bench.state.trend) == 32
    assert bench.state.trend == pytest.approx([t / 100.0 for t in range(68, 100)])
    bench.measure(200.0, 1.0, fit=False)
    assert len(bench.state.trend) == 32
    assert bench.state.trend[-1] == pytest.approx(0.99)


def test_ratio_of_a_temperature_is_in_the_unit_people_wrote() -> None:
    """80 degC of 100 degC is 0.8; 176 degF of 212 degF is 176/212, although it is the same temperature."""
    celsius = rules(limit("temperature", 80.0, 100.0))
    fahrenheit = rules(limit("temperature", 80.0, 100.0, unit="degF"))
    assert celsius.ratio("temperature", 80.0) == pytest.approx(0.8)
    assert fahrenheit.ratio("temperature", 80.0) == pytest.approx(176.0 / 212.0)
    assert rules(limit("temperature", -20.0, 0.0)).ratio("temperature", -10.0) is None


def test_nothing_due_gives_the_very_same_state() -> None:
    bench = Bench(rules())
    bench.measure(0.0, 3.0)
    state, events = tick(bench.rules, bench.state, 29.9)
    assert state is bench.state
    assert events == ()
    assert next_due(bench.rules, bench.state) == 30.0


CRITICAL, ESSENTIAL, GENERAL = Criticality.CRITICAL, Criticality.ESSENTIAL, Criticality.GENERAL


@pytest.mark.parametrize(
    ("criticality", "level", "severity", "expected", "calls"),
    [
        (CRITICAL, "velocity_rms", Severity.ALARM, Priority.HIGH, True),
        (CRITICAL, "velocity_rms", Severity.ALERT, Priority.MEDIUM, False),
        (CRITICAL, MONITORING, Severity.ALARM, Priority.MEDIUM, True),
        (ESSENTIAL, "velocity_rms", Severity.ALARM, Priority.HIGH, True),
        (ESSENTIAL, "velocity_rms", Severity.ALERT, Priority.LOW, False),
        (ESSENTIAL, MONITORING, Severity.ALERT, Priority.LOW, False),
        (GENERAL, "velocity_rms", Severity.ALARM, Priority.MEDIUM, True),
        (GENERAL, "velocity_rms", Severity.ALERT, Priority.LOW, False),
        (GENERAL, MONITORING, Severity.ALERT, Priority.LOW, False),
    ],
)
def test_who_is_told(criticality: Criticality, level: str, severity: Severity, expected: Priority, calls: bool) -> None:
    """One matrix for all alarms (ANSI/ISA-18.2); an alarm, and lost monitoring of a critical machine, call the operator."""
    made = rules(criticality=criticality)
    assert priority(made, level, severity) is expected
    assert annunciates(made, level, severity) is calls


def test_a_promoted_alert_calls() -> None:
    made = rules(limit(promote_alert=True), criticality=GENERAL)
    assert annunciates(made, "velocity_rms", Severity.ALERT)
    bench = Bench(made)
    bench.measure(0.0, 5.0)
    assert bench.record().annunciates


def test_a_rise_calls_where_the_alert_did_not() -> None:
    bench = Bench(rules())
    bench.measure(0.0, 5.0)
    assert (bench.alarm, bench.record().annunciates, bench.record().priority) == ("UNACK", False, Priority.MEDIUM)
    bench.measure(5.0, 8.0)
    assert (bench.alarm, bench.record().annunciates, bench.record().priority) == ("UNACK", True, Priority.HIGH)
    assert bench.record().occurrence == 2
    bench.measure(10.0, 5.0)
    record = bench.record()
    assert (record.severity, record.peak_severity, record.annunciates) == (Severity.ALERT, Severity.ALARM, True)
    assert (record.since, record.raised_at) == (5.0, 5.0), "the state is the same one"


@pytest.mark.parametrize("latches", [False, True])
def test_an_alarm_that_nobody_acknowledged_calls_on_where_it_comes_again_as_an_alert(latches: bool) -> None:
    """One that reappears unacknowledged is announced anew (NUREG-0700 Rev. 2, 4.2.3-6), and not as less than it was."""
    bench = Bench(rules(limit(latch_alarm=latches)))
    for t, value in ((0.0, 8.0), (5.0, 3.0), (10.0, 5.0)):
        events = bench.measure(t, value)
    record = bench.record()
    assert (bench.alarm, record.severity, record.peak_severity, record.occurrence) == (
        "UNACK",
        Severity.ALERT,
        Severity.ALARM,
        2,
    )
    assert (record.annunciates, record.priority) == (True, Priority.HIGH)
    (raised,) = [event for event in events if isinstance(event, AlarmChanged)]
    assert (raised.change, raised.severity, raised.value, raised.limit) == ("RAISED", Severity.ALERT, 5.0, 4.5)
    bench.command(Acknowledge(key(), 2), 11.0)
    bench.measure(15.0, 3.0)
    assert bench.alarm == ("LATAK" if latches else "NORM")
    bench.command(Reset(key()), 16.0)
    bench.measure(20.0, 5.0)
    record = bench.record()
    assert (bench.alarm, record.peak_severity, record.annunciates) == ("UNACK", Severity.ALERT, False), "that was another one"


def test_a_latched_alarm_that_comes_again_as_an_alert_still_waits_for_its_reset() -> None:
    """It does not end with its cause: it must be reset as well (OPC 10000-9, 3.1.13)."""
    bench = Bench(rules(limit(latch_alarm=True)))
    bench.measure(0.0, 8.0)
    bench.command(Acknowledge(key(), 1), 1.0)
    bench.measure(5.0, 3.0)
    assert bench.alarm == "LATAK"
    bench.measure(10.0, 5.0)
    assert (bench.alarm, bench.record().annunciates) == ("UNACK", False), "the alarm was acknowledged; this is an alert"
    bench.command(Acknowledge(key(), 2), 11.0)
    bench.measure(15.0, 3.0)
    assert bench.alarm == "LATAK"
