"""A spectral mask through the path: learnt, approved, exceeded, named; and levels that follow from others."""

import json
from dataclasses import replace

import numpy as np
import pytest

from edgemon.api.view import words
from edgemon.model.command import Person, Role
from edgemon.model.derived import DerivedSpec, MaskSpec, Rule
from edgemon.model.event import AlarmChanged
from edgemon.model.level import LEVEL_KINDS
from edgemon.model.limit import Delay, Limit
from edgemon.model.machine import Machine, Plant, Startup
from edgemon.model.outlook import BaselineView
from edgemon.store.memory import MemoryStore
from edgemon.units import Quantity
from tests.support.captures import capture, tone_counts
from tests.support.learning import CAPTURES, SCATTER, class_plant, learning, settled
from tests.support.plants import AXIAL, DRIVE_END
from tests.support.rig import READING, START, Rig, running

ENGINEER = Person("engineer on duty", Role.ENGINEER, "office")
MASK = MaskSpec("velocity_mask", Quantity.VELOCITY, 10.0, 1000.0, 5.0, floor=0.1e-3)
NOW = Delay(1)


def ratio(level: str, alert: float, alarm: float) -> Limit:
    return Limit(level, Quantity.RATIO, "1", alert, alarm, 0.1 * alert, NOW, NOW, NOW)


def plant_with(limit: Limit, masks: tuple[MaskSpec, ...] = (), derived: tuple[DerivedSpec, ...] = (), **more: object) -> Plant:
    one = class_plant()
    (machine,) = one.machines
    point = replace(machine.points[0], masks=masks, derived=derived, limits=(*machine.points[0].limits, limit))
    changed: Machine = replace(machine, points=(point, *machine.points[1:]), **more)  # type: ignore[arg-type]
    return replace(one, machines=(changed,))


def masked() -> Plant:
    return plant_with(ratio(MASK.name, 2.0, 4.0), (MASK,))


def baseline(rig: Rig, level: str) -> BaselineView:
    return next(one for one in rig.hub.baselines() if (one.machine, one.point, one.level) == (*DRIVE_END, level))


async def steady(rig: Rig, count: int, t: float) -> float:
    for number in range(count):
        await rig.send(capture(t, 1.2 + SCATTER[number % len(SCATTER)], rpm=3000.0))
        t += 20.0
        await rig.clock.advance(20.0)
    await settled(rig)
    return t


def faulty() -> np.ndarray:
    """The steady tone and 0.32 mm/s at 150 Hz, where the mask is at its floor of 0.1 mm/s: 3.2 times."""
    return np.asarray(tone_counts(1.2) + tone_counts(0.32, 150.0), "<i2")


async def test_a_mask_is_learnt_approved_exceeded_and_names_the_line() -> None:
    rig = Rig(masked())
    async with learning(rig) as one:
        t = await steady(rig, CAPTURES, START)
        assert (baseline(rig, MASK.name).state, baseline(rig, MASK.name).count) == ("proposed", CAPTURES)
        await rig.send(capture(t, counts=faulty(), rpm=3000.0))
        assert all(level.name != MASK.name for level in rig.point().levels)
        assert "no baseline yet" in rig.point().left_out[MASK.name]
        outcome = await one.approve(DRIVE_END, MASK.name, ENGINEER, "quiet week")
        assert outcome.done, outcome.why
        await settled(rig)
        await rig.send(capture(t + 20, 1.2, rpm=3000.0))
        assert rig.point().state == "normal"
        await rig.send(capture(t + 40, counts=faulty(), rpm=3000.0))
        shown = next(level for level in rig.point().levels if level.name == MASK.name)
        assert (shown.state, shown.alert, shown.alarm) == ("alert", 2.0, 4.0)
        assert shown.value == pytest.approx(3.2, rel=0.05)
        assert shown.remark.startswith("worst at 150")
        raised = [entry for entry in await rig.store.journal(50) if isinstance(entry.event, AlarmChanged)]
        assert "worst at 150" in words(raised[0].event)
        assert "times the mask" in words(raised[0].event)
        assert all("mask" not in entry for entry in rig.journal())  # its numbers stay in the store
        await rig.send(capture(t + 60, 1.2, rpm=3000.0))
        assert rig.point().state == "normal"
    second = Rig(masked(), store=MemoryStore(before=rig.store), now=t + 80)
    async with learning(second) as other:  # it survives a restart
        await second.send(capture(t + 100, counts=faulty(), rpm=3000.0))
        assert second.point().state == "alert"
        assert (await other.retire(DRIVE_END, MASK.name, ENGINEER, "bearing replaced")).done
        await settled(second)
        assert baseline(second, MASK.name).state == "learning"


async def test_a_mask_learnt_for_other_lines_is_not_in_force() -> None:
    rig = Rig(masked())
    async with learning(rig) as one:
        t = await steady(rig, CAPTURES, START)
        await one.approve(DRIVE_END, MASK.name, ENGINEER, "quiet week")
        await settled(rig)
    wider = plant_with(ratio(MASK.name, 2.0, 4.0), (replace(MASK, width=10.0),))
    async with running(Rig(wider, store=MemoryStore(before=rig.store), now=t)) as second:
        await second.send(capture(t + 20, counts=faulty(), rpm=3000.0))
        assert all(level.name != MASK.name for level in second.point().levels)


async def test_levels_without_waveforms_teach_no_mask_and_say_why() -> None:
    rig = Rig(masked())
    async with learning(rig):
        for number in range(CAPTURES):
            pack = [{"n": "x/velocity_rms", "u": "mm/s", "v": 1.2 + SCATTER[number % 7], "t": START + 20 * number}]
            await rig.send(json.dumps(pack).encode(), READING)
            await rig.clock.advance(20.0)
        await settled(rig)
        assert baseline(rig, MASK.name).state == "learning"
        assert "0 of at least 8 stored captures" in baseline(rig, MASK.name).note


async def test_a_fall_below_the_baseline_is_an_alert_too() -> None:
    # ISO 10816-3:2009 5.3: a change by more than 25 % of B/C, 0.7 mm/s, in either direction
    spec = DerivedSpec("change", Rule.CHANGE, LEVEL_KINDS["velocity_rms"])
    limit = Limit("change", Quantity.VELOCITY, "mm/s", 0.7e-3, 2e-3, 0.07e-3, NOW, NOW, NOW)
    rig = Rig(plant_with(limit, derived=(spec,)))
    async with learning(rig) as one:
        t = await steady(rig, CAPTURES, START)
        assert "no baseline yet" in rig.point().left_out["change"]
        assert (await one.approve(DRIVE_END, "velocity_rms", ENGINEER, "quiet week")).done
        await settled(rig)
        await rig.send(capture(t, 1.2, rpm=3000.0))
        assert rig.point().state == "normal"
        await rig.send(capture(t + 20, 0.4, rpm=3000.0))
        assert rig.point().state == "alert"
        shown = next(level for level in rig.point().levels if level.name == "change")
        assert shown.value == pytest.approx(0.8, abs=0.02)
        assert "below the baseline" in shown.remark


async def test_a_temperature_rises_within_an_hour_across_a_restart() -> None:
    # by hand: 1 K every 5 min is 12 K an hour
    spec = DerivedSpec("warming", Rule.RATE, LEVEL_KINDS["temperature"], over_s=3600.0)
    limit = Limit("warming", Quantity.TEMPERATURE, "Cel", 10.0, 20.0, 2.0, NOW, NOW, NOW)
    hot = Limit("temperature", Quantity.TEMPERATURE, "Cel", 90.0, 105.0, 2.0)
    one = plant_with(limit, derived=(spec,))
    (machine,) = one.machines
    first = replace(machine.points[0], limits=(*machine.points[0].limits, hot), stale_after_s=900.0)
    one = replace(one, machines=(replace(machine, points=(first, *machine.points[1:])),))

    async def warm(rig: Rig, numbers: range) -> None:
        for k in numbers:
            pack = [{"n": "temperature", "u": "Cel", "v": 40.0 + k, "t": START + 300.0 * k}]
            await rig.send(json.dumps(pack).encode(), READING)
            await rig.clock.advance(300.0)

    rig = Rig(one)
    async with running(rig):
        await warm(rig, range(6))
        assert all(level.name != "warming" for level in rig.point().levels)  # half of its time is not told yet
    second = Rig(one, store=MemoryStore(before=rig.store), now=START + 1800.0)
    async with running(second):
        await warm(second, range(6, 8))
        shown = next(level for level in second.point().levels if level.name == "warming")
        assert shown.value == pytest.approx(12.0)
        assert shown.state == "alert"


async def test_a_limit_of_a_speed_range_is_not_judged_outside_it() -> None:
    one = class_plant()
    (machine,) = one.machines
    limit = replace(machine.points[0].limits[0], low_rpm=2900.0, high_rpm=3100.0)
    rig = Rig(
        replace(one, machines=(replace(machine, points=(replace(machine.points[0], limits=(limit,)), machine.points[1])),))
    )
    async with running(rig):
        await rig.send(capture(START, 3.0, axial_mm_s=0.1, rpm=1500.0))
        assert rig.point().state == "normal"
        await rig.send(capture(START + 20, 3.0, axial_mm_s=0.1, rpm=3000.0))
        assert rig.point().state == "alert"


async def test_limits_are_raised_after_a_start_and_hold_again_by_themselves() -> None:
    # by hand: 2 x 2.8 mm/s is 5.6, so 3 mm/s is no alert until 60 s after the start
    one = class_plant()
    (machine,) = one.machines
    rig = Rig(replace(one, machines=(replace(machine, startup=Startup(2.0, 60.0)),)))
    async with running(rig):
        await rig.send(capture(START, 0.1, rpm=0.0))
        for at, state in ((20, "normal"), (40, "normal"), (90, "alert")):
            await rig.clock.advance(START + at - rig.clock.now())
            await rig.send(capture(START + at, 3.0, axial_mm_s=0.1, rpm=3000.0))
            assert rig.point().state == state
    assert AXIAL in rig.path.setting.rules
