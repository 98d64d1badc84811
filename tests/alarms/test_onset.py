"""When an alarm began, corrected by late values; against a second method: the run that the whole series, in order, would show.

Definition: the onset is the first value of the unbroken run beyond the limit that ends in the alarm, among all values known,
those judged and those that came late alike.
"""

from dataclasses import replace
from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st

from edgemon.model.alarm import AlarmState
from edgemon.model.event import MeasurementLate, OnsetMoved
from edgemon.model.limit import Delay, Side
from tests.alarms.making import Bench, key, limit, rules


def bench(on: int = 1, stale_after_s: float = 1e6) -> Bench:
    return Bench(rules(limit(on_delay_alert=Delay(on), on_delay_alarm=Delay(on), alarm=None), stale_after_s=stale_after_s))


def moves(one: Bench) -> list[tuple[float, float]]:
    return [(event.told_at, event.at) for event in one.events if isinstance(event, OnsetMoved)]


def test_late_values_beyond_the_limit_move_the_onset_back_and_nothing_else() -> None:
    one = bench()
    one.measure(10.0, 3.9)
    one.measure(40.0, 5.0)
    before = one.record()
    one.measure(20.0, 4.8, now=50.0)
    assert replace(one.record(), onset_at=40.0) == before
    one.measure(30.0, 4.9, now=51.0)
    assert one.record().onset_at == 20.0
    assert moves(one) == [(40.0, 20.0)]
    (moved,) = [event for event in one.events if isinstance(event, OnsetMoved)]
    assert (moved.alarm, moved.value, moved.limit) == (key(), 4.8, 4.5)
    assert sum(isinstance(event, MeasurementLate) for event in one.events) == 2


def test_a_late_value_within_the_limit_parts_what_is_before_it() -> None:
    one = bench()
    one.measure(10.0, 3.9)
    one.measure(40.0, 5.0)
    one.measure(20.0, 4.8, now=50.0)
    one.measure(30.0, 4.0, now=51.0)
    assert one.record().onset_at == 40.0
    one.measure(25.0, 4.8, now=52.0)
    assert one.record().onset_at == 40.0
    one.measure(35.0, 4.8, now=53.0)
    assert moves(one) == [(40.0, 20.0), (20.0, 40.0), (40.0, 35.0)]


def test_a_value_that_comes_while_the_delay_runs_counts_once_it_is_raised() -> None:
    one = bench(on=2)
    one.measure(10.0, 3.9)
    one.measure(40.0, 5.0)
    one.measure(20.0, 4.8, now=50.0)
    assert one.alarm is AlarmState.NORM, "a late value is not judged"
    one.measure(60.0, 5.0)
    assert (one.alarm, one.record().onset_at, one.record().judged_onset_at) == (AlarmState.UNACK, 20.0, 40.0)
    assert moves(one) == []


def test_what_a_broken_delay_was_told_is_forgotten() -> None:
    one = bench(on=2)
    for t, value in ((10.0, 3.9), (40.0, 5.0)):
        one.measure(t, value)
    one.measure(20.0, 4.8, now=50.0)
    for t, value in ((60.0, 3.9), (70.0, 5.0), (80.0, 5.0)):
        one.measure(t, value)
    assert one.record().onset_at == 70.0


def test_unfit_and_out_of_range_and_earlier_than_anything_known_tell_nothing() -> None:
    one = Bench(rules(limit(alarm=None, low_rpm=1000.0), stale_after_s=1e6))
    one.measure(40.0, 5.0, rpm=1500.0)
    one.measure(20.0, 4.8, now=50.0, rpm=1500.0)
    assert one.record().onset_at == 40.0, "nothing is known of before the first value"
    two = Bench(rules(limit(alarm=None, low_rpm=1000.0), stale_after_s=1e6))
    two.measure(10.0, 3.9, rpm=1500.0)
    two.measure(40.0, 5.0, rpm=1500.0)
    two.measure(20.0, 4.8, now=50.0, rpm=1500.0, fit=False)
    two.measure(25.0, 4.8, now=50.0, rpm=500.0)
    assert two.record().onset_at == 40.0


def test_an_escalation_has_the_onset_of_the_alarm_limit() -> None:
    one = Bench(rules(limit(), stale_after_s=1e6))
    for t, value in ((10.0, 3.9), (20.0, 5.0), (50.0, 8.0)):
        one.measure(t, value)
    one.measure(30.0, 5.0, now=60.0)
    assert one.record().onset_at == 50.0, "beyond the alert only"
    one.measure(40.0, 7.5, now=61.0)
    assert one.record().onset_at == 40.0


SERIES = st.lists(st.tuples(st.booleans(), st.booleans()), min_size=3, max_size=12)


@given(series=SERIES, low=st.booleans(), newest_first=st.booleans())
def test_the_onset_is_that_of_the_whole_series(series: list[tuple[bool, bool]], low: bool, newest_first: bool) -> None:
    """(beyond, late) of each value; late ones come after all others, the oldest or the newest first."""
    series = [(False, False), *series, (True, False)]
    sign = -1.0 if low else 1.0
    one = Bench(rules(limit(alert=sign * 4.5, alarm=None, side=Side.BELOW if low else Side.ABOVE), stale_after_s=1e6))
    values = [(10.0 * number, sign * (5.0 if beyond else 4.0), late) for number, (beyond, late) in enumerate(series)]
    for t, value, late in values:
        if not late:
            one.measure(t, value)
    for t, value, late in sorted(values, reverse=newest_first):
        if late:
            one.measure(t, value, now=1000.0)
    record = one.record()
    raised = [t for (t, value, late), (_, before, _) in _judged(values) if sign * value > 4.5 and sign * before < 4.5]
    since = max(t for t, value, _ in values if t < raised[-1] and sign * value < 4.5)
    assert record.judged_onset_at == raised[-1]
    assert record.onset_at == min(t for t, value, _ in values if t > since and sign * value > 4.5)


def _judged(values: list[tuple[float, float, bool]]) -> list[tuple[tuple[float, float, bool], tuple[float, float, bool]]]:
    return [(after, before) for before, after in pairwise([one for one in values if not one[2]])]
