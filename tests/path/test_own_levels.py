"""Levels of the plant file's own through the path; the tone at 50 Hz is set by a closed form (support/captures.py)."""

import json
import re
from dataclasses import replace

import numpy as np
import pytest

from edgemon.api.wire import to_json
from edgemon.model.level import Detector, LevelSpec
from edgemon.model.limit import Delay, Limit
from edgemon.model.machine import Plant
from edgemon.model.speed import Speed, SpeedOrigin
from edgemon.store.memory import MemoryStore
from edgemon.units import Quantity
from tests.support.captures import capture, capture_part, tone_counts
from tests.support.plants import DRIVE_END, SENSOR, plant
from tests.support.rig import START, Rig, running

ONE_X = LevelSpec("velocity_1x", Quantity.VELOCITY, Detector.RMS, 0.5, 1.5, True, "velocity at 1 x")
BELOW = LevelSpec("below", Quantity.VELOCITY, Detector.RMS, 100.0, 500.0)


def with_levels() -> Plant:
    """Judge the first order, and let the whole band be far from its limits."""
    now = Delay(1)
    limit = Limit("velocity_1x", Quantity.VELOCITY, "mm/s", 2e-3, 4e-3, 0.2e-3, now, now, now)
    made = plant()
    (machine,) = made.machines
    wide = replace(machine.points[0].limits[0], alert=0.5, alarm=0.8)
    points = tuple(replace(point, levels=(ONE_X, BELOW), limits=(wide, limit)) for point in machine.points)
    sensors = {SENSOR: replace(made.sensors[SENSOR], levels={spec.name: spec.quantity for spec in (ONE_X, BELOW)})}
    return replace(made, machines=(replace(machine, points=points),), sensors=sensors)


async def test_a_band_in_orders_is_measured_judged_stored_and_shown() -> None:
    async with running(Rig(with_levels())) as rig:
        await rig.send(capture(START, 3.0, rpm=3000.0))
        document = rig.published()
        level = document["levels"]["velocity_1x"]
        assert level["value"] == pytest.approx(3.0, rel=0.02)
        assert (level["unit"], level["state"]) == ("mm/s", "alert")
        assert document["state"] == "alert"
        assert document["levels"]["below"]["unit"] == "mm/s"
        assert document["levels"]["below"]["value"] < 0.1
        titles = {shown.name: shown.title for shown in rig.point().levels}
        assert (titles["velocity_1x"], titles["below"]) == ("velocity at 1 x", "below")
        (stored,) = await rig.hub.trend(DRIVE_END, "velocity_1x", START - 1, START + 1, False)
        whole = await rig.hub.trend_bins(DRIVE_END, "velocity_1x", None, START + 1, 8, False)
        assert [(one.low, one.high, one.count) for one in whole.bins] == [(stored.value, stored.value, 1)]
        assert stored.value == pytest.approx(3.0, rel=0.02)
        assert len(await rig.hub.trend(DRIVE_END, "below", START - 1, START + 1, False)) == 1


async def test_the_speed_of_an_earlier_message_counts_while_it_is_fresh_and_the_nominal_one_never() -> None:
    async with running(Rig(with_levels())) as rig:
        await rig.send(capture(START, 1.0))
        assert "velocity_1x" not in rig.published()["levels"]
        assert rig.published()["left_out"] == {"velocity_1x": "speed not known"}
        assert rig.point().left_out == {"velocity_1x": "speed not known"}
        await rig.send(b'[{"n":"rpm","v":3000,"u":"1/min"}]', "edgemon/v1/sensor/s-0001/reading")
        await rig.send(capture(START + 20, 1.0))
        assert rig.published()["levels"]["velocity_1x"]["value"] == pytest.approx(1.0, rel=0.02)
        assert "left_out" not in rig.published()


async def test_a_speed_nobody_sent_is_estimated_from_the_capture_and_the_level_says_so() -> None:
    """Five multiples of 49.3 Hz, each of 1 mm/s r.m.s. (closed form), near 2975 r/min; whether it runs is not told."""
    lines = [tone_counts(1.0, 49.3 * order, 16384, phase=float(order)) for order in range(1, 6)]
    counts = np.sum(lines, axis=0).astype("<i2")
    async with running(Rig(with_levels())) as rig:
        await rig.send(capture_part(START, "long", counts, counts, 1, 1))
        shown = {level.name: level for level in rig.point().levels}["velocity_1x"]
        assert shown.value == pytest.approx(1.0, rel=0.02)
        assert re.search(r"speed 295\d r/min estimated from the capture .*confidence (1.00|0.9\d)", shown.remark)
        assert shown.speed is not None
        assert (shown.speed.origin, round(shown.speed.rpm or 0.0)) == (SpeedOrigin.ESTIMATED, 2958)
        assert 0.9 <= (shown.speed.confidence or 0.0) <= 1.0
        assert rig.point().left_out == {}
        assert rig.point().rpm is None


async def test_a_fixed_speed_is_trusted_where_none_is_measured_and_the_level_says_so() -> None:
    """A lone sine of 1 mm/s at 2975 / 60 Hz (closed form): too little for an estimate, enough where the speed is fixed."""
    of_plant = with_levels()
    machine = replace(of_plant.machines[0], fixed_speed=True)
    counts = tone_counts(1.0, 2975.0 / 60.0, 16384)
    store = MemoryStore()
    async with running(Rig(replace(of_plant, machines=(machine,)), store=store)) as rig:
        await rig.send(capture_part(START, "long", counts, counts, 1, 1))
        shown = {level.name: level for level in rig.point().levels}["velocity_1x"]
        assert shown.value == pytest.approx(1.0, rel=0.02)
        assert shown.speed == Speed(2975.0, SpeedOrigin.FIXED, None, "speed 2975 r/min fixed by the plant file")
        assert "fixed by the plant file" in shown.remark
        assert {level.name: level for level in rig.point().levels}["velocity_rms"].speed is None
        assert rig.point().rpm is None  # nothing was measured: it tells nobody that the machine runs
        document = json.loads(to_json(rig.hub.snapshot()))
        (point,) = [one for one in document["machines"][0]["points"] if one["point"] == "pump-de-h"]
        (level,) = [one for one in point["levels"] if one["name"] == "velocity_1x"]
        assert (level["speed"]["origin"], level["speed"]["rpm"], level["speed"]["confidence"]) == ("fixed", 2975.0, None)
        await rig.send(capture(START + 20, 1.0, rpm=3000.0))
        shown = {level.name: level for level in rig.point().levels}["velocity_1x"]
        assert shown.speed == Speed(3000.0, SpeedOrigin.MEASURED)
        assert shown.remark == ""
    async with running(Rig(replace(of_plant, machines=(machine,)), store=MemoryStore(before=store), now=START + 30)) as later:
        kept = {level.name: level for level in later.point().levels}["velocity_1x"]
        assert kept.speed == Speed(3000.0, SpeedOrigin.MEASURED)


async def test_without_a_speed_only_that_level_has_no_data() -> None:
    async with running(Rig(with_levels())) as rig:
        await rig.send(capture(START, 1.0, rpm=3000.0))
        for k in range(1, 6):
            await rig.pass_time(30.0, every=10.0)
            await rig.send(capture(START + 30.0 * k, 1.0))
        assert (rig.published()["state"], rig.published()["quality"]) == ("normal", "good")
        assert "velocity_rms" in rig.published()["levels"]
        assert "velocity_1x" not in rig.published()["levels"]


async def test_a_sensor_may_send_such_a_level_itself() -> None:
    pack = f'[{{"n":"x/velocity_1x","v":3.0,"u":"mm/s","t":{START}}},{{"n":"x/no_such","v":1.0,"u":"mm/s"}}]'
    async with running(Rig(with_levels())) as rig:
        await rig.send(pack.encode(), "edgemon/v1/sensor/s-0001/reading")
        level = rig.published()["levels"]["velocity_1x"]
        assert (level["value"], level["unit"], level["state"]) == (pytest.approx(3.0), "mm/s", "alert")
        assert [alarm.title for alarm in rig.point().alarms] == ["velocity at 1 x"]
        assert "velocity_1x" not in rig.published("machine/hp-pump-1/pump-de-a")["levels"]
        await rig.send(pack.replace("mm/s", "Cel").encode(), "edgemon/v1/sensor/s-0001/reading")
        assert "message-rejected" in rig.kinds()


@pytest.mark.parametrize(("mm_s", "is_below"), [(0.05, True), (0.5, False)])
async def test_a_level_below_twice_the_sensors_own_noise_says_so(mm_s: float, is_below: bool) -> None:
    """100 ug per root hertz make 0.049 mm/s in 10-1000 Hz (closed form): twice that is 0.098 mm/s."""
    made = plant()
    noisy = replace(made, sensors={SENSOR: replace(made.sensors[SENSOR], noise_si=9.80665e-4)})
    async with running(Rig(noisy)) as rig:
        await rig.send(capture(START, mm_s))
        shown = {level.name: level for level in rig.point().levels}["velocity_rms"]
        assert ("below detection: less than twice the sensor's own noise of 0.049 mm/s" in shown.remark) is is_below
        assert shown.value == pytest.approx(mm_s, rel=0.05)


async def test_a_point_that_computes_few_levels_is_judged_and_shown_by_these() -> None:
    """3 mm/s r.m.s. of a tone (closed form) in alert, whether the other usual levels are made or not."""
    of_plant = with_levels()
    (machine,) = of_plant.machines
    few = frozenset({"velocity_rms", "kurtosis"})
    machine = replace(machine, points=tuple(replace(point, computes=few) for point in machine.points))
    async with running(Rig(replace(of_plant, machines=(machine,)))) as rig:
        await rig.send(capture(START, 3.0, rpm=3000.0))
        document = rig.published()
        assert document["levels"].keys() - {"temperature"} == {"velocity_rms", "kurtosis", "velocity_1x", "below"}
        assert document["state"] == "alert"
        assert document["levels"]["velocity_rms"]["value"] == pytest.approx(3.0, rel=0.02)
