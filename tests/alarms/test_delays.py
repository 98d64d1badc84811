"""Limits, deadband and delays against a second method: the definition applied to the whole series at once.

Definition (house rule; OPC 10000-9 B.1.5 describes both delays for a continuous signal only): a condition is there from the
first reading that ends an unbroken run of readings beyond the limit as long as the delay, and until the first that ends such a
run below limit minus deadband. A gap longer than the silence allowed breaks a run.
"""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from edgemon.alarms.limits import is_back, severity_by_value
from edgemon.model.limit import Delay, Severity, is_beyond
from edgemon.units import UNITS, to_si
from tests.alarms.making import Bench, limit, rules

STALE = 30.0
Series = list[tuple[float, float]]


def run_length(series: Series, end: int, start: int, far: float, low: bool) -> tuple[int, float]:
    """Count the unbroken readings up to `end` (not before `start`) on the side of `far`, and the seconds they span."""
    first = end + 1
    while first > start and (series[first - 1][1] < far if low else series[first - 1][1] >= far):
        if first <= end and series[first][0] - series[first - 1][0] > STALE:
            break
        first -= 1
    count = end - first + 1
    return count, series[end][0] - series[first][0] if count else 0.0


def by_definition(series: Series, bound: float, deadband: float, on: Delay, off: Delay) -> list[bool]:
    active, start, states = False, 0, []
    for end in range(len(series)):
        count, span = run_length(series, end, start, bound - deadband if active else bound, active)
        delay = off if active else on
        if count and (count >= delay.readings if delay.seconds is None else span >= delay.seconds):
            active, start = not active, end + 1
        states.append(active)
    return states


delays = st.one_of(st.integers(1, 4).map(Delay), st.integers(0, 40).map(lambda s: Delay(seconds=float(s))))
steps = st.lists(
    st.tuples(st.sampled_from([1.0, 5.0, 10.0, 30.0, 31.0]), st.sampled_from([3.0, 4.0, 4.25, 4.5, 5.0])), max_size=25
)


@given(steps=steps, on=delays, off=delays, deadband=st.sampled_from([0.0, 0.25, 0.5]))
def test_incremental_equals_definition(steps: Series, on: Delay, off: Delay, deadband: float) -> None:
    one = limit(alarm=None, deadband=deadband, on_delay_alert=on, off_delay=off)
    bench, t, series, seen = Bench(rules(one, stale_after_s=STALE)), 1.7e9, [], []
    for step, value in steps:
        t += step
        bench.measure(t, value)
        series.append((t, value))
        seen.append(bench.record().alert.active)
    assert seen == by_definition(series, 4.5, deadband, on, off)


@given(steps=steps, on=delays, off=delays)
def test_alert_and_alarm_do_not_meddle(steps: Series, on: Delay, off: Delay) -> None:
    """The alert condition of a level is the same whether or not the level has an alarm limit, and the other way round."""
    both = Bench(rules(limit(alert=4.0, alarm=4.5, on_delay_alert=on, on_delay_alarm=off, off_delay=off)))
    low = Bench(rules(limit(alert=4.0, alarm=None, on_delay_alert=on, off_delay=off)))
    high = Bench(rules(limit(alert=None, alarm=4.5, on_delay_alarm=off, off_delay=off)))
    t = 0.0
    for step, value in steps:
        t += step
        for bench in (both, low, high):
            bench.measure(t, value)
        assert both.record().alert == low.record().alert
        assert both.record().alarm == high.record().alarm


@pytest.mark.parametrize("value_unit", ["m/s", "mm/s", "in/s"])
@pytest.mark.parametrize("bound", [0.7, 1.1, 1.4, 1.8, 2.3, 2.8, 3.5, 4.5, 7.1, 9.3, 11.0])
def test_a_value_in_another_unit_meets_its_limit(bound: float, value_unit: str) -> None:
    """Zone boundaries of ISO 10816-1:1995 and -3:2009: equal is equal, whatever unit the sensor sends."""
    bound_si = to_si(bound, "mm/s")
    same = to_si(bound_si / UNITS[value_unit].factor, value_unit)
    assert is_beyond(same, bound_si)
    assert not is_beyond(same * (1 - 1e-6), bound_si)
    assert not is_back(same, bound_si, 0.0)
    assert is_back(same * (1 - 1e-6), bound_si, 0.0)


def test_severity_by_value() -> None:
    both = limit(alert=4.5, alarm=7.1)
    assert [severity_by_value(both, value) for value in (4.49, 4.5, 7.09, 7.1)] == [
        Severity.NORMAL, Severity.ALERT, Severity.ALERT, Severity.ALARM,
    ]  # fmt: skip
    assert severity_by_value(None, 1e9) is Severity.NORMAL


def test_unfit_breaks_a_pending_change() -> None:
    bench = Bench(rules(limit(on_delay_alert=Delay(2))))
    bench.measure(0.0, 3.0)
    bench.measure(5.0, 5.0)
    bench.measure(10.0, 5.0, fit=False)
    bench.measure(15.0, 5.0)
    assert bench.alarm == "NORM"
    bench.measure(20.0, 5.0)
    assert bench.alarm == "UNACK"


def test_a_level_on_its_own_does_not_break_anothers_chain() -> None:
    bench = Bench(rules(limit(on_delay_alert=Delay(2)), limit("temperature", 80.0, 95.0)))
    bench.measure(0.0, 5.0)
    bench.measure(2.0, temperature=40.0)
    bench.measure(3.0, temperature=40.0, fit=False)
    bench.measure(5.0, 5.0)
    assert bench.alarm == "UNACK"
