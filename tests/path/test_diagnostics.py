"""A point that enters alarm is diagnosed from its stored capture; what is found is shown and kept over a restart."""

import asyncio
import json
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from edgemon.daemon.diagnostics import Diagnostics
from edgemon.daemon.work import Happened
from edgemon.diagnosis.markers import MEASURED, expected
from edgemon.engine.diagnose import at_speed_heard, baseline_time, facts_of
from edgemon.model.alarm import MachineSpeed
from edgemon.model.baseline import Baseline, BaselineApproved, BaselineState
from edgemon.model.ids import CaptureId, MachineId, PointKey, SensorId
from edgemon.model.machine import GearPair, Mounting, PlanetarySet, Sensor, Train, point_key
from edgemon.model.reading import Capture
from edgemon.store.memory import MemoryStore
from edgemon.units import Quantity
from tests.settings.support import PLANT, loaded
from tests.support.captures import FS_HZ, SAMPLES, SCALE, capture, tone_counts
from tests.support.failing import FailingStore
from tests.support.mounts import through_mounting
from tests.support.plants import AXIAL, DRIVE_END, SENSOR, plant
from tests.support.rig import OPERATOR, START, Inline, Rig, running


@asynccontextmanager
async def diagnosing(rig: Rig) -> AsyncIterator[Diagnostics]:
    diagnostics = Diagnostics(rig.setting, rig.store, rig.clock, Inline(), rig.path.put, lambda: rig.path.speeds)
    rig.path.listener = diagnostics.notice
    rig.hub.diagnoses = diagnostics.diagnose
    async with running(rig):
        task = asyncio.create_task(diagnostics.run())
        yield diagnostics
        task.cancel()
        with pytest.raises(asyncio.CancelledError):
            await task


async def settled(rig: Rig) -> None:
    for _ in range(20):
        await rig.settle()


async def test_an_alarm_is_diagnosed_and_shown() -> None:
    rig = Rig()
    async with diagnosing(rig):
        await rig.send(capture(START, 1.0))
        await settled(rig)
        assert rig.point().diagnosis is None
        # 50 Hz is the shaft speed of 2975 r/min within a few per cent; the sine stands alone, as with unbalance.
        await rig.send(capture(START + 20, 6.0, axial_mm_s=0.4, rpm=3000.0))
        await settled(rig)
        shown = rig.point().diagnosis
        assert shown is not None
        assert shown.t == START + 20
        assert shown.by == ""
        assert shown.verdict in ("fault", "no-fault-found", "cannot-tell")
        (entry,) = [entry for entry in rig.journal() if entry["kind"] == "diagnosis-made"]
        assert entry["verdict"] == shown.verdict
        assert (entry["machine"], entry["point"]) == ("hp-pump-1", "pump-de-h")
    second = Rig(store=MemoryStore(before=rig.store), now=START + 30)
    async with running(second):
        assert second.point().diagnosis == shown


async def test_a_gear_is_compared_with_the_last_capture_of_its_approved_baseline() -> None:
    """Without one the diagnosis says so; with one it no longer does, as nothing changed: the same sine."""
    of_plant = plant()
    train = Train(gears=(GearPair(17, 68),))
    rig = Rig(replace(of_plant, machines=(replace(of_plant.machines[0], train=train),)))
    async with diagnosing(rig):
        for t in (START, START + 20, START + 40):
            await rig.send(capture(t, 1.0, rpm=3000.0))
        assert (await rig.hub.diagnose(DRIVE_END, False, OPERATOR)).done
        await settled(rig)
        shown = rig.point().diagnosis
        assert shown is not None
        assert any("no baseline" in remark for remark in shown.remarks)
        known = learnt(START, START + 20)
        approved = BaselineApproved(START + 41, known, "mm/s", None, "")
        await rig.path.put(Happened(approved))
        await settled(rig)
        assert (await rig.hub.diagnose(DRIVE_END, False, OPERATOR)).done
        await settled(rig)
        shown = rig.point().diagnosis
        assert shown is not None
        assert not any("no baseline" in remark for remark in shown.remarks)


async def test_a_baseline_has_the_speed_that_its_machine_was_heard_to_have_then() -> None:
    """A driven fan at 2400 r/min, far from the plate's, by readings beside its captures: then as now, and so compared."""
    of_plant = plant()
    rig = Rig(replace(of_plant, machines=(replace(of_plant.machines[0], train=Train(gears=(GearPair(17, 68),))),)))
    async with diagnosing(rig):
        for t in (START, START + 20, START + 40):
            said = json.dumps([{"n": "rpm", "v": 2400.0, "u": "1/min", "t": t - 1.0}]).encode()
            await rig.send(said, "edgemon/v1/sensor/s-0001/reading")
            await rig.send(capture(t, counts=tone_counts(1.0, hz=40.0)))
        await rig.path.put(Happened(BaselineApproved(START + 41, learnt(START, START + 20), "mm/s", None, "")))
        await settled(rig)
        assert (await rig.hub.diagnose(DRIVE_END, False, OPERATOR)).done
        await settled(rig)
        shown = rig.point().diagnosis
        assert shown is not None
        assert not any("baseline" in remark for remark in shown.remarks), shown.remarks


async def test_levels_and_diagnosis_say_where_the_mounting_distorts_them() -> None:
    """A hand's 1 kHz leave 302 Hz right within a tenth (closed form): the velocity's 1000 Hz lie beyond; the value stays."""
    made = plant()
    rig = Rig(replace(made, sensors={SENSOR: replace(made.sensors[SENSOR], mounting=Mounting.PROBE)}))
    async with diagnosing(rig):
        await rig.send(capture(START, 3.0, rpm=3000.0))
        assert (await rig.hub.diagnose(DRIVE_END, False, OPERATOR)).done
        await settled(rig)
        level = {level.name: level for level in rig.point().levels}["velocity_rms"]
        assert "its band reaches beyond 302 Hz: resonance of the mounting at 1000 Hz" in level.remark
        assert level.value == pytest.approx(3.0, rel=0.05)
        shown = rig.point().diagnosis
        assert shown is not None
        assert any("resonance of the mounting at 1000 Hz" in remark for remark in shown.remarks)


async def test_a_sensor_that_has_come_loose_is_told_against_its_approved_baseline() -> None:
    """Noise of 4 m/s2 and 50 Hz; of a machine without gears, too. The mounting is a mass on a spring, solved in time."""
    random, rig = np.random.default_rng(1), Rig()

    def shaken() -> np.ndarray[tuple[int], np.dtype[np.float64]]:
        return tone_counts(1.0) + random.normal(size=SAMPLES) * 4.0 / SCALE

    async with diagnosing(rig):
        for t in (START, START + 10, START + 20):
            await rig.send(capture(t, counts=shaken().astype("<i2"), rpm=3000.0))
        await rig.path.put(Happened(BaselineApproved(START + 21, learnt(START, START + 20), "mm/s", None, "")))
        await settled(rig)
        loose = through_mounting(shaken(), FS_HZ, 700.0, 0.1)
        for t, counts, is_loose in ((START + 30, shaken(), False), (START + 40, loose, True)):
            await rig.send(capture(t, counts=counts.astype("<i2"), rpm=3000.0))
            assert (await rig.hub.diagnose(DRIVE_END, False, OPERATOR)).done
            await settled(rig)
            shown = rig.point().diagnosis
            assert shown is not None
            assert any(one.detail == "mounting loose" for one in shown.findings) is is_loose


async def test_other_sensors_of_the_machine_and_its_neighbours_are_heard_within_a_bounded_age() -> None:
    """Remarks name the points compared; the neighbour's line is three times as large; an hour later neither counts."""
    of_plant = plant()
    pump = of_plant.machines[0]
    motor = replace(pump.points[0], key=point_key("hp-pump-1", "motor-de-h"), sensor=SensorId("s-0002"))
    fan = replace(pump.points[0], key=point_key("fan-1", "fan-de-h"), sensor=SensorId("s-0003"))
    machines = (
        replace(pump, points=(*pump.points, motor)),
        replace(pump, id=MachineId("fan-1"), name="Fan 1", points=(fan,)),
    )
    sensors = dict(of_plant.sensors) | {SensorId(one): Sensor(SensorId(one)) for one in ("s-0002", "s-0003")}
    rig = Rig(replace(of_plant, machines=machines, sensors=sensors))
    async with diagnosing(rig):
        await rig.send(capture(START, 2.0, rpm=3000.0), "edgemon/v1/sensor/s-0002/capture")
        await rig.send(capture(START, 18.0, rpm=3000.0), "edgemon/v1/sensor/s-0003/capture")
        await rig.send(capture(START + 20, 6.0, axial_mm_s=0.4, rpm=3000.0))
        for t, heard in ((START + 20, True), (START + 3620, False)):
            if not heard:
                await rig.clock.advance(3620.0)
                await rig.send(capture(t, 6.0, axial_mm_s=0.4, rpm=3000.0))
            assert (await rig.hub.diagnose(DRIVE_END, False, OPERATOR)).done
            await settled(rig)
            shown = rig.point().diagnosis
            assert shown is not None
            assert any("compared with motor-de-h" in remark for remark in shown.remarks) is heard
            said = json.dumps([str(one) for one in shown.findings])
            assert ("times as large on Fan 1" in said) is heard


def test_a_speed_heard_lately_goes_with_a_capture_that_has_none() -> None:
    made = decoded()
    heard = MachineSpeed(MachineId("hp-pump-1"), 2960.0, START + 30)
    assert at_speed_heard(made, heard, 60.0).rpm == 2960.0
    assert at_speed_heard(made, heard, 20.0) is made
    assert at_speed_heard(made, None, 60.0) is made
    assert at_speed_heard(replace(made, rpm=2950.0), heard, 60.0).rpm == 2950.0
    assert at_speed_heard(made, replace(heard, rpm=0.0), 60.0).rpm == 0.0


@pytest.mark.parametrize(("rpm", "told"), [(0.0, None), (None, 0.0), (100.0, None), (3000.0, None), (None, 3000.0)])
async def test_a_machine_that_stands_is_not_diagnosed_as_if_it_ran(rpm: float | None, told: float | None) -> None:
    """Whether the capture itself tells of it or the machine was heard to stand; 100 r/min is below the plant's standstill."""
    of_plant = plant()
    machine = replace(of_plant.machines[0], train=Train(supply_hz=50.0), standstill_rpm=149.0)
    rig = Rig(replace(of_plant, machines=(machine,)))
    async with diagnosing(rig):
        if told is not None:
            said = json.dumps([{"n": "rpm", "v": told, "u": "1/min", "t": START - 1.0}]).encode()
            await rig.send(said, "edgemon/v1/sensor/s-0001/reading")
        await rig.send(capture(START, 6.0, rpm=rpm))
        await settled(rig)
        assert (await rig.hub.diagnose(DRIVE_END, False, OPERATOR)).done
        await settled(rig)
        shown = rig.point().diagnosis
        assert shown is not None
        stood = 3000.0 not in (rpm, told)
        assert ("stood" in (shown.remarks or ("",))[0]) is stood
        assert not stood or (shown.verdict, shown.findings) == ("cannot-tell", ())
        assert any("at exactly 50" in remark for remark in shown.remarks) is stood  # the tone of the capture


def decoded() -> Capture:
    """A capture without a speed."""
    axes = {"x": np.zeros(1024, np.int16)}
    return Capture(SensorId("s-0001"), CaptureId("c"), START, START, 6400.0, "m/s2", 1.0, 1.0, axes)


def test_a_change_by_a_quarter_of_b_c_is_significant(tmp_path: Path) -> None:
    """ISO 20816-3 group 2, rigid: B/C is 2.8 mm/s; a quarter of it 0.7 mm/s. Without zones there is no such border."""
    known, _ = loaded(tmp_path, PLANT)
    assert facts_of(known.machines[0], decoded()).change_m_s == pytest.approx(0.7e-3)
    own = replace(known.machines[0], points=tuple(replace(point, limits=()) for point in known.machines[0].points))
    assert facts_of(own, decoded()).change_m_s is None


def learnt(first_at: float, last_at: float) -> Baseline:
    """A baseline that somebody approved."""
    size = 1e-3
    found = Baseline(
        DRIVE_END, "velocity_rms", Quantity.VELOCITY, 20, first_at, last_at, size, size, size / 20, 3000.0, None, last_at
    )
    return replace(found, state=BaselineState.APPROVED, approved_by="engineer", approved_at=last_at)


def test_the_newest_approved_baseline_of_a_point_counts() -> None:
    first, later = learnt(START, START + 20), learnt(START + 30, START + 50)
    proposed = replace(learnt(START + 60, START + 80), state=BaselineState.PROPOSED)
    assert baseline_time((first, later, proposed), DRIVE_END, False) == (START + 30, START + 50)
    assert baseline_time((first,), DRIVE_END, True) is None
    assert baseline_time((first,), AXIAL, False) is None


async def test_somebody_may_ask_and_is_named() -> None:
    rig = Rig()
    async with diagnosing(rig):
        await rig.send(capture(START, 1.0))
        assert (await rig.hub.diagnose(DRIVE_END, False, OPERATOR)).done
        await settled(rig)
        shown = rig.point().diagnosis
        assert shown is not None
        assert shown.by == OPERATOR.name


@pytest.mark.parametrize(
    ("key", "why"), [(DRIVE_END, "no capture and no spectrum of sensor"), (point_key("none", "such"), "no such point")]
)
async def test_why_not_is_said(key: PointKey, why: str) -> None:
    rig = Rig()
    async with diagnosing(rig):
        outcome = await rig.hub.diagnose(key, False, OPERATOR)
    assert not outcome.done
    assert why in outcome.why


async def test_what_was_raised_while_the_store_failed_is_diagnosed_once_its_capture_is_stored() -> None:
    store = FailingStore()
    rig = Rig(store=store)
    async with diagnosing(rig) as diagnostics:
        rig.path.listener = lambda events: diagnostics.notice(events, rig.hub.store_is_ok)
        late = asyncio.create_task(diagnostics.catch_up(lambda: rig.hub.store_is_ok))
        await rig.send(capture(START, 1.0))
        store.is_dead = True
        await rig.send(capture(START + 20, 6.0, axial_mm_s=0.4, rpm=3000.0))
        await rig.pass_time(10.0)
        await settled(rig)
        assert rig.point().state == "alarm"
        assert rig.point().diagnosis is None
        store.is_dead = False
        await rig.pass_time(3.0)
        await rig.work()
        await rig.pass_time(4.0)
        await settled(rig)
        shown = rig.point().diagnosis
        assert shown is not None
        assert (shown.t, shown.by) == (START + 20, "")
        assert rig.kinds().count("diagnosis-made") == 1
        late.cancel()
        with pytest.raises(asyncio.CancelledError):
            await late


def test_a_planetary_set_is_handed_on_and_marked() -> None:
    """Sun 18, ring 72, sun at 1500 r/min: carrier 5 Hz, mesh 360 Hz, planets pass at 15 Hz (kinematics, recomputed)."""
    made = plant().machines[0]
    machine = replace(made, rpm=1500.0, train=Train(planetary=(PlanetarySet(18, 27, 72, 3),)))
    marked = {one.name: one.hz for one in expected(facts_of(machine, decoded()), MEASURED)}
    assert (marked["mesh 18/27/72"], marked["planet pass 18/27/72"], marked["carrier 18/27/72"]) == pytest.approx((360, 15, 5))
