"""The short way of a value within its limits against the long way, which goes through conditions and delays every time.

Second method: the long way itself, made to be taken always by saying that no value lies within its limits.
"""

import math

from hypothesis import example, given
from hypothesis import strategies as st

from edgemon.alarms.judge import Rules
from edgemon.model.limit import Delay, Limit, Side
from tests.alarms.making import Bench, limit, measured, rules

BOUNDS = st.sampled_from([None, -1.0, 0.0, 4.5, 7.1])
VALUES = st.sampled_from([-2.0, -1.0, 0.0, 4.0, 4.5 * (1.0 - 1e-9), 4.5, 4.6, 7.1, 9.0, 12.0, math.inf, -math.inf, math.nan])
DELAYS = st.sampled_from([Delay(1), Delay(2), Delay(seconds=10.0)])
SPEEDS = st.sampled_from([None, 0.0, 1000.0, 2975.0])
STEPS = st.lists(st.tuples(st.integers(-20, 60), VALUES, VALUES, st.booleans(), SPEEDS, st.booleans()), max_size=30)


@st.composite
def limits(draw: st.DrawFn, level: str) -> Limit:
    return limit(
        level,
        draw(BOUNDS),
        draw(BOUNDS),
        deadband=draw(st.sampled_from([0.0, 0.3])),
        on_delay_alert=draw(DELAYS),
        on_delay_alarm=draw(DELAYS),
        off_delay=draw(DELAYS),
        latch_alarm=draw(st.booleans()),
        side=draw(st.sampled_from(Side)),
        low_rpm=draw(st.sampled_from([0.0, 2000.0])),
    )


def played(which: Rules, steps: list[tuple[int, float, float, bool, float | None, bool]]) -> Bench:
    bench = Bench(which)
    newest = 1000.0
    for seconds, value, other, is_fit, rpm, alone in steps:
        at = newest + seconds
        newest = max(newest, at)
        if alone:
            bench.measure(at, value, now=newest, fit=is_fit, rpm=rpm)
        else:
            bench.measure(at, value, now=newest, fit=is_fit, rpm=rpm, temperature=other, kurtosis=3.0)
    return bench


@given(one=limits("velocity_rms"), other=limits("temperature"), steps=STEPS)
@example(one=limit(), other=limit("temperature"), steps=[(1, 4.0, 0.0, True, 0.0, False), (1, 8.0, 0.0, True, 2975.0, False)])
def test_it_gives_what_the_long_way_gives(
    one: Limit, other: Limit, steps: list[tuple[int, float, float, bool, float | None, bool]]
) -> None:
    short = rules(one, other, runup_factor=1.5, runup_s=30.0)
    long = rules(one, other, runup_factor=1.5, runup_s=30.0)
    object.__setattr__(long, "within", dict.fromkeys(long.limits, (math.inf, -math.inf)))
    ways = [played(each, steps) for each in (short, long)]
    assert repr(ways[0].state) == repr(ways[1].state)  # as text: a value that is no number differs from itself
    assert repr(ways[0].events) == repr(ways[1].events)


def test_a_value_within_leaves_the_very_records() -> None:
    bench = Bench(rules(limit()))
    bench.measure(0.0, 1.0)
    before = bench.state.alarms
    bench.measure(1.0, 2.0)
    assert bench.state.alarms is before


@given(one=limits("velocity_rms"), other=limits("temperature"), value=VALUES, degrees=VALUES)
@example(one=limit(alert=None, alarm=4.5, side=Side.BELOW), other=limit("temperature"), value=math.nan, degrees=4.0)
def test_nearest_is_the_largest_ratio(one: Limit, other: Limit, value: float, degrees: float) -> None:
    which, levels = rules(one, other), measured(0.0, velocity_rms=value, temperature=degrees, kurtosis=3.0).levels
    ratios = [ratio for level in levels if (ratio := which.ratio(level.name, level.value)) is not None]
    if not any(math.isnan(ratio) for ratio in ratios):
        assert which.nearest(levels) == max(ratios, default=None)
