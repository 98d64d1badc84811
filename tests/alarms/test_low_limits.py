"""Low limits by a metamorphic relation: a low limit on x must behave as the high limit on -x, whatever else happens.

Second method: no figure of the low side is written down here; the upper side is held by its own tables and timelines, and
mirroring is mathematics (-x >= -limit is x <= limit). What is not mirrored by design, the factor after a start and the scale of
nearness, is checked by hand below.
"""

from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from edgemon.board.view import figures
from edgemon.engine.scenario import play
from edgemon.model.alarm import AlarmRecord, PointState
from edgemon.model.command import Acknowledge, RemoveFromService, Reset, ReturnToService, Shelve, Unshelve
from edgemon.model.event import AlarmChanged, Event
from edgemon.model.limit import Delay, Limit, Severity, Side, good_end, is_beyond, ratio
from edgemon.units import to_si
from tests.alarms.making import Bench, key, limit, rules
from tests.alarms.test_scenarios import SCENARIOS

ORDERS: dict[str, Any] = {
    "ack": Acknowledge(key(), 1),
    "ack 2": Acknowledge(key(), 2),
    "reset": Reset(key()),
    "shelve": Shelve(key(), 40.0, "loose bracket"),
    "one shot": Shelve(key(), 40.0, "boundary hover", True),
    "unshelve": Unshelve(key()),
    "oos": RemoveFromService(key(), "sensor swap"),
    "rts": ReturnToService(key()),
}
STEPS = st.lists(
    st.one_of(
        st.tuples(st.just("measure"), st.sampled_from([0.0, 3.9, 4.2, 4.3, 4.5, 4.8, 6.8, 7.1, 7.5]), st.integers(1, 40)),
        st.tuples(st.just("unfit"), st.sampled_from([0.0, 9.0]), st.integers(1, 10)),
        st.tuples(st.sampled_from(sorted(ORDERS)), st.just(0.0), st.integers(1, 10)),
        st.tuples(st.sampled_from(["tick", "restart"]), st.just(0.0), st.integers(1, 60)),
    ),
    max_size=40,
)
DELAYS = st.sampled_from([Delay(1), Delay(2), Delay(3), Delay(seconds=10.0), Delay(seconds=0.0)])


def mirrored(one: Limit) -> Limit:
    alert, alarm = (None if bound is None else -bound for bound in (one.alert, one.alarm))
    return replace(one, alert=alert, alarm=alarm, side=Side.BELOW)


def played(one: Limit, sign: float, steps: list[tuple[str, float, int]], speeds: list[float | None]) -> Bench:
    bench = Bench(rules(one, max_shelve_s=600.0, realarm_s=100.0))
    now = 1000.0
    for number, (what, value, seconds) in enumerate(steps):
        now += seconds
        if what in ("measure", "unfit"):
            bench.measure(now, sign * value, fit=what == "measure", rpm=speeds[number % len(speeds)])
        elif what == "restart":
            bench.restart(now)
        elif what == "tick":
            bench.tick(now)
        else:
            bench.command(ORDERS[what], now)
    return bench


def turned(event: Event) -> Event:
    if not isinstance(event, AlarmChanged):
        return event
    value, bound = (None if one is None else -one for one in (event.value, event.limit))
    return replace(event, value=value, limit=bound, side=Side.ABOVE if event.alarm.level == "monitoring" else Side.BELOW)


def stripped(state: PointState) -> tuple[Any, ...]:
    def bare(record: AlarmRecord) -> AlarmRecord:
        return replace(record, value=None, side=Side.ABOVE)

    return state.quality, state.running, {name: bare(record) for name, record in state.alarms.items()}


@settings(max_examples=400)
@given(
    steps=STEPS,
    speeds=st.lists(st.sampled_from([None, 0.0, 900.0, 1500.0]), min_size=1, max_size=7),
    on=st.tuples(DELAYS, DELAYS),
    off=DELAYS,
    deadband=st.sampled_from([0.0, 0.3]),
    bounds=st.sampled_from([(4.5, 7.1), (4.5, None), (None, 7.1)]),
    latch=st.tuples(st.booleans(), st.booleans()),
    low_rpm=st.sampled_from([0.0, 1000.0]),
)
def test_a_low_limit_on_x_behaves_as_the_high_limit_on_minus_x(
    steps: list[tuple[str, float, int]],
    speeds: list[float | None],
    on: tuple[Delay, Delay],
    off: Delay,
    deadband: float,
    bounds: tuple[float | None, float | None],
    latch: tuple[bool, bool],
    low_rpm: float,
) -> None:
    high = limit(
        "velocity_rms", *bounds, deadband=deadband, on_delay_alert=on[0], on_delay_alarm=on[1], off_delay=off,
        latch_alert=latch[0], latch_alarm=latch[1], low_rpm=low_rpm, promote_alert=True,
    )  # fmt: skip
    one, other = played(high, 1.0, steps, speeds), played(mirrored(high), -1.0, steps, speeds)
    assert [turned(event) for event in one.events] == other.events
    assert stripped(one.state) == stripped(other.state)


@pytest.mark.parametrize(
    "scenario",
    [
        one
        for one in SCENARIOS
        if one.runup_s == 0.0
        and one.side is Side.ABOVE
        and one.low is None
        and one.subject.derived is None
        and one.subject.mask is None
    ],
    ids=lambda s: s.id,
)
def test_every_timeline_comes_true_turned_over(scenario: Any) -> None:
    turned_over = replace(
        scenario,
        side=Side.BELOW,
        alert=None if scenario.alert is None else -scenario.alert,
        alarm=None if scenario.alarm is None else -scenario.alarm,
        samples=tuple(replace(sample, value=-sample.value) for sample in scenario.samples),
    )
    outcome = play(turned_over)
    assert outcome.passed, outcome.differences


def test_the_factor_after_a_start_raises_upper_limits_and_leaves_low_ones() -> None:
    high, low = limit("velocity_rms", 4.5, 7.1), limit("acceleration_rms", 6.0, 4.0, side=Side.BELOW)
    bench = Bench(rules(high, low, runup_factor=2.0, runup_s=60.0))
    bench.measure(0.0, 1.0, acceleration_rms=9.0, rpm=0.0)
    bench.measure(10.0, 5.0, acceleration_rms=7.0, rpm=1500.0)  # 5.0 of doubled 9.0; 7.0 would be under doubled 8.0
    assert bench.record().severity is Severity.NORMAL
    assert bench.record("acceleration_rms").severity is Severity.NORMAL
    bench.measure(20.0, 5.0, acceleration_rms=3.9, rpm=1500.0)
    assert bench.record("acceleration_rms").severity is Severity.ALARM
    bench.measure(75.0, 5.0, acceleration_rms=9.0, rpm=1500.0)
    assert bench.record().severity is Severity.ALERT


def test_a_value_in_another_unit_than_its_low_limit_still_meets_it() -> None:
    for bound, unit, same in ((2.54, "mm/s", 0.1), (0.3, "mm/s", 0.3 / 25.4), (25.4, "mm/s", 1.0)):
        assert is_beyond(to_si(same, "in/s"), to_si(bound, unit), Side.BELOW)
        assert not is_beyond(to_si(same * (1.0 + 1e-6), "in/s"), to_si(bound, unit), Side.BELOW)


@pytest.mark.parametrize(
    ("value", "alert", "alarm", "expected"),
    [
        # by hand: the good end is alarm + (alert - alarm) / 0.375; the ratio is the way down from it over that to the alarm
        (4.0, 7.0, 4.0, 1.0),
        (7.0, 7.0, 4.0, 0.625),  # where 2.8 of 4.48 mm/s stands, too: one step of 1.6
        (12.0, 7.0, 4.0, 0.0),  # 4 + 3 / 0.375
        (20.0, 7.0, 4.0, 0.0),
        (0.0, 7.0, 4.0, 1.5),
        (-10.0, 5.0, -10.0, 1.0),  # degrees below zero
        (5.0, 5.0, -10.0, 0.625),
        (0.0, 3.0, 0.0, 1.0),  # an alarm limit of nothing
        (5.0, None, 5.0, 1.0),
        (8.0, None, 5.0, 0.625),  # alert stands in at 1.6 x alarm
        (8.0, 8.0, None, 0.625),
        (5.0, 8.0, None, 1.0),  # alarm stands in at alert / 1.6
        (-5.0, None, -5.0, 1.0),
    ],
)  # fmt: skip
def test_nearness_by_hand(value: float, alert: float | None, alarm: float | None, expected: float) -> None:
    assert ratio(value, alert, alarm, Side.BELOW) == pytest.approx(expected)


def test_limits_without_a_scale_have_no_nearness() -> None:
    assert ratio(1.0, None, None, Side.BELOW) is None
    assert ratio(1.0, None, 0.0, Side.BELOW) is None
    assert ratio(1.0, 0.0, None, Side.BELOW) is None
    assert figures.place(1.0, None, 0.0, Side.BELOW) is None


@given(
    alarm=st.floats(-50.0, 50.0), gap=st.floats(0.1, 50.0), value=st.floats(-200.0, 200.0),
)  # fmt: skip
def test_the_bar_of_a_low_limit_is_that_of_the_upper_one_seen_from_its_good_end(alarm: float, gap: float, value: float) -> None:
    alert = alarm + gap
    top = good_end(alert, alarm)
    assert top is not None
    low = figures.place(value, alert, alarm, Side.BELOW)
    assert low == pytest.approx(figures.place(top - value, top - alert, top - alarm), abs=1e-9)
    assert figures.place(alert, alert, alarm, Side.BELOW) == pytest.approx(figures.ALERT_AT)
    assert figures.place(alarm, alert, alarm, Side.BELOW) == pytest.approx(figures.ALARM_AT)
    assert figures.place(top, alert, alarm, Side.BELOW) == 0.0


def test_rules_and_views_say_the_same_nearness() -> None:
    cold = limit("temperature", 15.0, 5.0, side=Side.BELOW)
    one = rules(cold)
    assert one.ratio("temperature", 15.0) == pytest.approx(0.625)
    assert one.ratio("temperature", 5.0) == pytest.approx(1.0)
    assert one.ratio("temperature", 60.0) == 0.0
    assert one.ratio("temperature", -5.0) == pytest.approx(ratio(-5.0, 15.0, 5.0, Side.BELOW))
