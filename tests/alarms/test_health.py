"""Sensor health: categories and their order are NAMUR NE 107's; the sums are worked out by hand."""

from dataclasses import replace
from math import exp

import pytest

from edgemon.alarms.health import WEIGHT, battery_days, came, charged, completeness_at, health
from edgemon.model.alarm import PointState, SensorState
from edgemon.model.health import SensorStatus
from edgemon.model.ids import SensorId
from edgemon.model.machine import Sensor
from edgemon.model.quality import Quality
from tests.alarms.making import KEY, rules

SENSOR = Sensor(SensorId("s-0009"), interval_s=60.0)
DAY = 86_400.0
HEARD = SensorState("s-0009", heard_at=1000.0, counted_at=1000.0)


def run(times: list[float]) -> SensorState:
    state = SensorState("s-0009")
    for at in times:
        counted_at, completeness = came(state, SENSOR.interval_s, at)
        state = replace(state, counted_at=counted_at, completeness=completeness)
    return replace(state, heard_at=times[-1])


def test_all_that_was_due_came() -> None:
    assert completeness_at(SENSOR, run([60.0 * number for number in range(200)]), 199 * 60.0) == 1.0


@pytest.mark.parametrize("lost_every", [2, 4, 10])
def test_a_steady_loss_is_what_is_shown(lost_every: int) -> None:
    times = [60.0 * number for number in range(1000) if number % lost_every]
    found = completeness_at(SENSOR, run(times), times[-1])
    assert found == pytest.approx(1.0 - 1.0 / lost_every, abs=0.02)


def test_jitter_and_several_messages_of_one_interval_are_no_loss() -> None:
    times = [60.0 * number + 13.0 * (number % 3 - 1) for number in range(200)]
    several = sorted(at + more for at in times for more in (0.0, 1.0))
    assert completeness_at(SENSOR, run(several), several[-1]) == 1.0


def test_what_is_overdue_counts_before_anything_comes() -> None:
    state = run([0.0, 60.0])
    assert completeness_at(SENSOR, state, 60.0 + 119.0) == 1.0
    assert completeness_at(SENSOR, state, 60.0 + 121.0) == pytest.approx(1.0 - WEIGHT)
    assert completeness_at(SENSOR, state, 60.0 + 60.0 * 49) == pytest.approx(exp(-1.0), rel=0.02)  # (1 - 1/48)^48
    assert completeness_at(SENSOR, state, 1e9) == pytest.approx(0.0, abs=1e-9)


def test_measurements_that_are_late_change_nothing() -> None:
    state = run([0.0, 60.0, 600.0])
    assert came(state, 60.0, 120.0) == (state.counted_at, state.completeness)


def test_a_battery_is_forecast_by_a_straight_line() -> None:
    state = charged(SensorState("s-0009"), 100.0, 0.0)
    state = replace(charged(state, 90.0, 50.0 * DAY), heard_at=50.0 * DAY)
    assert battery_days(state, 50.0 * DAY) == pytest.approx(450.0)  # 10 % in 50 days, 90 % left


@pytest.mark.parametrize(("pct", "days"), [(98.0, 50.0), (90.0, 5.0)])
def test_too_little_drop_or_too_short_a_time_foretells_nothing(pct: float, days: float) -> None:
    state = charged(SensorState("s-0009"), 100.0, 0.0)
    state = replace(charged(state, pct, days * DAY), heard_at=days * DAY)
    assert battery_days(state, days * DAY) is None


def test_another_battery_begins_anew() -> None:
    state = charged(charged(SensorState("s-0009"), 100.0, 0.0), 15.0, 300.0 * DAY)
    state = replace(charged(state, 99.0, 301.0 * DAY), heard_at=301.0 * DAY)
    assert state.battery_since == (301.0 * DAY, 99.0)
    assert battery_days(state, 301.0 * DAY) is None


def point(**more: object) -> PointState:
    fresh = {"taken_at": 1000.0, "fit_at": 1000.0, "heard_at": 1000.0, "quality": Quality.GOOD, "reasons": ()}
    return PointState(KEY, **{**fresh, **more})  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("state", "points", "status", "cause"),
    [
        (None, point(), SensorStatus.FAILURE, "never heard"),
        (HEARD, point(), SensorStatus.GOOD, ""),
        (HEARD, point(quality=Quality.BAD, reasons=("flat-line",)), SensorStatus.FAILURE, "flat line"),
        (HEARD, point(quality=Quality.BAD, reasons=("clipped",)), SensorStatus.OUT_OF_SPECIFICATION, "clipped"),
        (replace(HEARD, battery_pct=20.0), point(), SensorStatus.MAINTENANCE_REQUIRED, "battery at 20 %"),
        (replace(HEARD, battery_pct=21.0), point(), SensorStatus.GOOD, ""),
        (replace(HEARD, completeness=0.89), point(), SensorStatus.OUT_OF_SPECIFICATION, "11 % missing"),
        (replace(HEARD, clock_offset_s=-301.0), point(), SensorStatus.OUT_OF_SPECIFICATION, "-301 s"),
        (replace(HEARD, sim=True), point(), SensorStatus.FUNCTION_CHECK, "simulated"),
    ],
)
def test_what_happens_to_a_sensor_has_a_category(
    state: SensorState | None, points: PointState, status: SensorStatus, cause: str
) -> None:
    found = health(SENSOR, state, [(rules(), points)], 1010.0)
    assert found.status is status
    assert cause in "; ".join(found.causes)


def test_silence_is_a_failure_and_the_gravest_comes_first() -> None:
    state = replace(HEARD, battery_pct=3.0, completeness=0.5)
    found = health(SENSOR, state, [(rules(), point())], 1040.0)
    assert found.status is SensorStatus.FAILURE
    assert [cause.split()[0] for cause in found.causes] == ["silent", "50", "battery"]
