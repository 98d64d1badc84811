"""Trend, change and forecast on demand, from what the store holds: figures where they can be given, else the reason."""

import numpy as np
import pytest
from scipy import stats

from edgemon.errors import ParameterError, StoreError
from edgemon.model.machine import point_key
from edgemon.model.outlook import CrossingView, OutlookView
from tests.path.test_baselines import ENGINEER, LEVEL, WHY, approve
from tests.support.learning import CAPTURES, SCATTER, class_plant, learning, levels, send_steady, settled
from tests.support.plants import DRIVE_END
from tests.support.rig import READING, START, Rig

EVERY_S = 20.0
DAY_S = 86_400.0


async def ramp(rig: Rig, count: int, begin: float, per_value: float, start: float = 1.0) -> float:
    t = begin
    for number in range(count):
        await rig.send(levels(t, start + per_value * number + SCATTER[number % len(SCATTER)]), READING)
        await rig.clock.advance(EVERY_S)
        t += EVERY_S
    return t


async def asked(rig: Rig) -> OutlookView:
    return await rig.hub.outlook(DRIVE_END, LEVEL)


def crossing(found: OutlookView, severity: str) -> CrossingView:
    return next(one for one in found.forecasts if one.severity == severity)


async def test_a_steady_rise_is_told_with_slope_and_time_to_the_limit() -> None:
    rig = Rig(class_plant())
    async with learning(rig):
        count, per_value = 80, 0.02
        end = await ramp(rig, count, START, per_value)
        found = await asked(rig)
    assert (found.count, found.unit) == (count, "mm/s")
    assert found.rpm == pytest.approx(2975.0)
    assert found.slope is not None
    # a second method: Theil and Sen's slope by SciPy of the same values
    values = [1.0 + per_value * k + SCATTER[k % len(SCATTER)] for k in range(count)]
    second = stats.theilslopes(values, np.arange(count) * EVERY_S)
    assert found.slope.per_day == pytest.approx(second.slope * DAY_S, rel=1e-3)
    assert found.slope.is_significant
    alert = crossing(found, "alert")
    # closed form: 1.0 + 0.02 k = 2.8 at k = 90
    crosses_at = START + 90 * EVERY_S
    assert alert.reason == ""
    assert alert.earliest is not None
    assert alert.latest is not None
    assert alert.earliest <= crosses_at <= alert.latest
    assert alert.likely == pytest.approx(crosses_at, abs=0.3 * (crosses_at - START))
    assert found.made_at == end


@pytest.mark.parametrize(
    ("case", "says"),
    [
        ("none", "too few values"),
        ("few", "too few values"),
        ("steady", "no trend that is sure enough"),
        ("falling", "moves away"),
        ("beyond", "already beyond"),
        ("stopped", "other conditions"),
        ("silent", "too old"),
    ],
)
async def test_where_there_is_no_forecast_the_reason_is_given(case: str, says: str) -> None:
    rig = Rig(class_plant())
    async with learning(rig):
        t = START
        if case != "none":
            count = 5 if case == "few" else 40
            rise = {"falling": -0.02, "beyond": 0.06, "stopped": 0.02, "silent": 0.02}.get(case, 0.0)
            t = await ramp(rig, count, t, rise, start=1.9)
        if case == "stopped":
            await rig.send(levels(t, 0.05, rpm=0.0), READING)
        if case == "silent":
            await rig.clock.advance(3600.0)
        alert = crossing(await asked(rig), "alert")
    assert says in alert.reason
    if case == "beyond":  # 1.9 + 0.06 k at k = 37, the middle of the five newest, in the unit of the limit
        assert float(alert.text.split()[0]) == pytest.approx(4.12, abs=0.05)
        assert alert.text.endswith("of 2.8")
    assert (alert.earliest, alert.likely, alert.latest, alert.model) == (None, None, None, "")


async def test_a_step_is_found_where_it_is() -> None:
    rig = Rig(class_plant())
    async with learning(rig):
        t = await ramp(rig, 30, START, 0.0, start=1.0)
        await ramp(rig, 30, t, 0.0, start=1.6)
        found = await asked(rig)
    assert found.change is not None
    assert found.change.at == START + 30 * EVERY_S
    assert found.change.before == pytest.approx(1.0, abs=0.03)
    assert found.change.after == pytest.approx(1.6, abs=0.03)


async def test_a_lasting_shift_is_told_since_when_and_by_how_much() -> None:
    rig = Rig(class_plant())
    async with learning(rig):
        t = await ramp(rig, 30, START, 0.0, start=1.0)
        t = await ramp(rig, 30, t, 0.0, start=2.2)
        shift = (await asked(rig)).shift
        await ramp(rig, 30, t, 0.0, start=1.0)
        gone = (await asked(rig)).shift
    assert shift is not None
    assert shift.at == START + 30 * EVERY_S
    assert shift.before == pytest.approx(1.0, abs=0.03)
    assert shift.after == pytest.approx(2.2, abs=0.03)
    # Montgomery's table of two-sided CUSUM run lengths, k = 1/2, h = 5: 465; a quarter of B/C, 2.8 mm/s, is what matters
    assert shift.run_length == pytest.approx(465.0, rel=0.02)
    assert shift.sigma == pytest.approx(0.7, abs=0.001)
    assert gone is None  # it went back: the sum still signals, the average does not


@pytest.mark.parametrize(("steps", "told"), [((30, 0.3), False), ((12, 1.6), True), ((2, 1.6), False)])
async def test_a_shift_that_does_not_matter_or_hardly_began_is_not_told(steps: tuple[int, float], told: bool) -> None:
    # 0.3 mm/s lies below k sigma = 0.35; 1.6 adds 1.25 a value: beyond h sigma = 3.5 at the third, not at the second
    rig = Rig(class_plant())
    async with learning(rig):
        t = await ramp(rig, 30, START, 0.0, start=1.0)
        await ramp(rig, steps[0], t, 0.0, start=1.0 + steps[1])
        assert ((await asked(rig)).shift is not None) is told


async def test_it_reckons_with_the_limit_in_force_and_begins_anew_after_a_repair() -> None:
    rig = Rig(class_plant())
    async with learning(rig) as one:
        await send_steady(rig, 30, START)
        assert crossing(await asked(rig), "alert").limit == 2.8
        assert (await approve(one))[0]
        assert crossing(await asked(rig), "alert").limit == pytest.approx(1.9, rel=0.02)
        assert (await asked(rig)).since is None
        await rig.clock.advance(1.0)
        await one.retire(DRIVE_END, LEVEL, ENGINEER, "bearing replaced")
        await settled(rig)
        after = await asked(rig)
        assert (after.count, after.since, after.value) == (0, rig.clock.now(), None)


async def test_a_proposal_turned_down_is_no_repair() -> None:
    rig = Rig(class_plant())
    async with learning(rig) as one:
        await send_steady(rig, CAPTURES, START)
        await one.retire(DRIVE_END, LEVEL, ENGINEER, WHY)
        await settled(rig)
        found = await asked(rig)
    assert (found.count, found.since) == (CAPTURES, None)


async def test_all_levels_with_a_limit_of_a_machine_are_told_at_once_and_strangers_are_refused() -> None:
    rig = Rig(class_plant())
    async with learning(rig) as one:
        found = await rig.hub.outlooks("hp-pump-1")
        assert [(view.point, view.level) for view in found] == [("pump-de-h", LEVEL), ("pump-de-a", LEVEL)]
        assert all(view.forecasts for view in found)
        with pytest.raises(ParameterError, match="no such machine"):
            await rig.hub.outlooks("none")
        with pytest.raises(ParameterError, match="no such point"):
            await rig.hub.outlook(point_key("none", "such"), LEVEL)
        with pytest.raises(ParameterError, match="no such level"):
            await rig.hub.outlook(DRIVE_END, "loudness")
        unlimited = await one.outlook(DRIVE_END, "kurtosis", sim=False)
        assert (unlimited.forecasts, unlimited.slope) == ((), None)
        rig.hub.learning = None
        with pytest.raises(StoreError, match="still starting"):
            await asked(rig)


async def test_simulated_values_are_looked_at_where_the_point_shows_them() -> None:
    rig = Rig(class_plant())
    async with learning(rig):
        t = START
        for _ in range(25):
            await rig.send(levels(t, 1.0, sim=True), READING)
            await rig.clock.advance(EVERY_S)
            t += EVERY_S
        found = await asked(rig)
    assert (found.sim, found.count) == (True, 25)
