"""A baseline is learnt, proposed once, and changes the limits in force only when an engineer approves it."""

from dataclasses import replace

import numpy as np
import pytest

from edgemon.daemon.learning import Learning
from edgemon.errors import ParameterError
from edgemon.model.baseline import BaselineState
from edgemon.model.command import Person, Role
from edgemon.model.machine import Machine, Plant, StandstillRule, point_key
from edgemon.model.outlook import BaselineView
from edgemon.model.policy import AlarmPolicy
from edgemon.model.snapshot import LevelView
from edgemon.store.memory import MemoryStore
from tests.support.captures import capture
from tests.support.learning import CAPTURES, SCATTER, class_plant, learning, levels, send_steady, settled
from tests.support.plants import AXIAL, DRIVE_END, gateway
from tests.support.rig import OPERATOR, READING, START, Rig, running

ENGINEER = Person("engineer on duty", Role.ENGINEER, "office")
LEVEL = "velocity_rms"
WHY = "quiet week after commissioning"


def class_rig(**more: object) -> Rig:
    return Rig(class_plant(), **more)  # type: ignore[arg-type]


def baseline(rig: Rig) -> BaselineView:
    return next(one for one in rig.hub.baselines() if (one.machine, one.point) == DRIVE_END)


def shown(rig: Rig) -> LevelView:
    return next(level for level in rig.point().levels if level.name == LEVEL)


async def approve(one: Learning, person: Person = ENGINEER, reason: str = WHY) -> tuple[bool, str]:
    outcome = await one.approve(DRIVE_END, LEVEL, person, reason)
    return outcome.done, outcome.why


async def test_it_is_proposed_once_after_so_many_values_and_not_active() -> None:
    rig = class_rig()
    async with learning(rig):
        assert (baseline(rig).state, baseline(rig).count, baseline(rig).wanted) == ("learning", 0, CAPTURES)
        t = await send_steady(rig, CAPTURES - 1, START)
        assert "baseline-proposed" not in rig.kinds()
        assert baseline(rig).state == "learning"
        t = await send_steady(rig, 1, t)
        (entry,) = [entry for entry in rig.journal() if entry["kind"] == "baseline-proposed"]
        values = 1.2 + np.array([SCATTER[k % len(SCATTER)] for k in (*range(CAPTURES - 1), 0)])
        assert entry["median"] == pytest.approx(float(np.median(values)))
        assert entry["mean"] == pytest.approx(float(np.mean(values)))
        assert (entry["count"], entry["rpm"], entry["by"], entry["state"]) == (CAPTURES, pytest.approx(2975.0), "", "proposed")
        assert (entry["machine"], entry["point"], entry["level"], entry["sim"]) == (*DRIVE_END, LEVEL, False)
        await send_steady(rig, 3 * CAPTURES, t)
        assert rig.kinds().count("baseline-proposed") == 1
        assert (shown(rig).alert, shown(rig).origin) == (2.8, "plant file")


async def test_approval_moves_the_alert_limit_by_the_rule_and_survives_a_restart() -> None:
    rig = class_rig()
    async with learning(rig) as one:
        t = await send_steady(rig, CAPTURES, START)
        done, why = await approve(one)
        assert done, why
        await settled(rig)
        median = baseline(rig).baseline
        assert median is not None
        # ISO 10816-3:2009 5.4.1: baseline + 25 % of the upper limit of zone B, 2.8 mm/s
        expected = median + 0.25 * 2.8
        assert shown(rig).alert == pytest.approx(expected)
        assert shown(rig).alarm == 4.5
        for part in ("baseline 1.20 mm/s", f"approved by {ENGINEER.name} on 2025-10-09", "baseline + 25 % of B/C"):
            assert part in shown(rig).origin
        assert rig.published()["levels"][LEVEL]["alert"] == pytest.approx(expected)
        (entry,) = [entry for entry in rig.journal() if entry["kind"] == "baseline-approved"]
        assert (entry["by"], entry["reason"], entry["station"]) == (ENGINEER.name, WHY, "office")
        assert entry["alert"] == pytest.approx(expected)
        await rig.send(levels(t, 2.3), READING)  # under the class's 2.8, beyond the baseline's
        assert rig.point().state == "alert"
    second = class_rig(store=MemoryStore(before=rig.store), now=t + 10)
    async with learning(second) as other:
        assert shown(second).alert == pytest.approx(expected)
        assert shown(second).origin == shown(rig).origin
        assert second.point().state == "alert"
        await second.send(levels(t + 20, 2.3), READING)
        assert second.point().state == "alert"
        assert (await other.retire(DRIVE_END, LEVEL, ENGINEER, "bearing replaced")).done
        await settled(second)
        assert (shown(second).alert, shown(second).origin) == (2.8, "plant file")
        await second.send(levels(t + 40, 2.3), READING)
        assert second.point().state == "normal"


async def test_the_other_point_keeps_its_own_limit() -> None:
    rig = class_rig()
    async with learning(rig) as one:
        await send_steady(rig, CAPTURES, START)
        await approve(one)
        assert rig.path.setting.rules[AXIAL].limits[LEVEL].alert == pytest.approx(2.8e-3)
        assert rig.path.setting.rules[DRIVE_END].limits[LEVEL].alert == pytest.approx(1.9e-3, rel=0.02)


async def test_who_is_no_engineer_and_who_gives_no_reason_changes_nothing() -> None:
    rig = class_rig()
    async with learning(rig) as one:
        await send_steady(rig, CAPTURES, START)
        for person, reason, says in ((OPERATOR, WHY, "takes an engineer"), (ENGINEER, "  ", "a reason is due")):
            done, why = await approve(one, person, reason)
            assert not done
            assert says in why
        await settled(rig)
        assert (shown(rig).alert, baseline(rig).state) == (2.8, "proposed")
        refused = [entry for entry in rig.journal() if entry["kind"] == "command-refused"]
        assert [(entry["command"], entry["by"]) for entry in refused] == [
            ("ApproveBaseline", OPERATOR.name),
            ("ApproveBaseline", ENGINEER.name),
        ]


async def test_what_is_not_proposed_cannot_be_approved_or_retired() -> None:
    rig = class_rig()
    async with learning(rig) as one:
        assert await approve(one) == (False, "no baseline is proposed")
        assert (await one.retire(DRIVE_END, LEVEL, ENGINEER, WHY)).why == "there is no baseline to retire"
        await send_steady(rig, CAPTURES, START)
        other = await one.approve(DRIVE_END, LEVEL, ENGINEER, WHY, proposed_at=START - 5)
        assert not other.done
        assert "look again" in other.why
        assert (await approve(one))[0]
        assert await approve(one) == (False, "approved already")
        assert "retire it first" in (await one.propose(DRIVE_END, LEVEL, ENGINEER, WHY)).why
        with pytest.raises(ParameterError, match="no such point"):
            await one.approve(point_key("none", "such"), LEVEL, ENGINEER, WHY)
        with pytest.raises(ParameterError, match="no such level"):
            await one.retire(DRIVE_END, "loudness", ENGINEER, WHY)


async def test_after_a_repair_it_is_learnt_anew_from_what_came_since() -> None:
    rig = class_rig()
    async with learning(rig) as one:
        t = await send_steady(rig, CAPTURES, START)
        await approve(one)
        await rig.clock.advance(1.0)
        repaired_at = rig.clock.now()
        await one.retire(DRIVE_END, LEVEL, ENGINEER, "bearing replaced")
        await settled(rig)
        assert (baseline(rig).state, baseline(rig).retired_because) == ("learning", "bearing replaced")
        await send_steady(rig, CAPTURES, t + 20, velocity_mm_s=0.8)
        again = baseline(rig)
        assert again.state == "proposed"
        assert again.baseline == pytest.approx(0.8, rel=0.02)
        assert again.first_at is not None
        assert again.first_at > repaired_at
        assert rig.path.baselines[DRIVE_END, LEVEL, False].learnt_since == pytest.approx(repaired_at)


@pytest.mark.parametrize("case", ["standing", "unfit", "simulated", "another speed"])
async def test_what_is_not_alike_never_feeds_it(case: str) -> None:
    rig = class_rig()
    async with learning(rig):
        t = START
        if case == "standing":
            t = await send_steady(rig, 3 * CAPTURES, t, velocity_mm_s=0.05, rpm=0.0)
        elif case == "simulated":
            t = await send_steady(rig, 3 * CAPTURES, t, sim=True)
        elif case == "another speed":
            for number in range(CAPTURES - 1):
                t = await send_steady(rig, 1, t, rpm=2975.0 - 400.0 * (number % 3))
        else:
            flat = np.zeros(4096, "<i2")
            for _ in range(2 * CAPTURES):
                await rig.send(capture(t, counts=flat, rpm=2975.0))
                t += 20.0
                await rig.clock.advance(20.0)
            await settled(rig)
        assert "baseline-proposed" not in rig.kinds()
        assert baseline(rig).state == "learning"
        await send_steady(rig, CAPTURES + 1, t)  # one more: the first after a standstill may still run up
        assert baseline(rig).state == "proposed"
        assert baseline(rig).baseline == pytest.approx(1.2, rel=0.05)


async def test_the_values_beside_a_standstill_are_left_out() -> None:
    rig = class_rig()
    async with learning(rig):
        t = START
        for _ in range(CAPTURES):  # stop, run up at a high level, run: only the last of each three is steady
            for value, rpm in ((0.05, 0.0), (3.9, 2975.0), (1.2, 2975.0), (3.9, 2975.0)):
                t = await send_steady(rig, 1, t, velocity_mm_s=value, rpm=rpm)
        assert baseline(rig).state == "proposed"
        assert baseline(rig).baseline == pytest.approx(1.2, rel=0.02)


async def test_without_a_speed_the_level_tells_of_a_standstill() -> None:
    one = class_plant()
    (machine,) = one.machines
    slow: Machine = replace(machine, standstill_rpm=None, standstill=StandstillRule(LEVEL, 0.3e-3))
    rig = Rig(Plant(one.site, one.name, one.areas, (slow,), one.sensors))
    async with learning(rig):
        t = await send_steady(rig, 2 * CAPTURES, START, velocity_mm_s=0.05, rpm=None)
        assert baseline(rig).state == "learning"
        await send_steady(rig, CAPTURES + 1, t, rpm=None)
        assert (baseline(rig).state, baseline(rig).rpm) == ("proposed", None)
        assert baseline(rig).baseline == pytest.approx(1.2, rel=0.02)


async def test_an_unsteady_beginning_is_passed_over_and_said() -> None:
    rig = class_rig()
    async with learning(rig):
        t = START
        for number in range(CAPTURES):
            t = await send_steady(rig, 1, t, velocity_mm_s=0.5 + 0.2 * number)
        assert baseline(rig).state == "learning"
        await send_steady(rig, CAPTURES, t)
        assert baseline(rig).state == "proposed"
        assert baseline(rig).baseline == pytest.approx(1.2, rel=0.02)


async def test_a_limit_of_the_plant_file_is_never_moved() -> None:
    rig = Rig(class_plant(zones=None))
    async with learning(rig) as taught:
        t = await send_steady(rig, CAPTURES, START)
        assert rig.hub.baselines() == ()  # nothing would follow from it: learnt only when asked for
        outcome = await taught.propose(DRIVE_END, LEVEL, ENGINEER, WHY)
        assert outcome.done
        assert (await approve(taught))[0]
        await settled(rig)
        assert (baseline(rig).state, baseline(rig).alert_follows) == ("approved", None)
        assert "no limit follows" in baseline(rig).note
        await rig.send(levels(t, 2.3), READING)
        assert (rig.point().state, shown(rig).alert, shown(rig).origin) == ("normal", 2.8, "plant file")


async def test_a_simulated_gateway_learns_from_simulated_data_and_marks_it() -> None:
    rig = class_rig(of_gateway=gateway(simulated=True))
    async with learning(rig) as one:
        await send_steady(rig, CAPTURES, START, sim=True)
        assert (baseline(rig).state, baseline(rig).sim) == ("proposed", True)
        assert (await approve(one))[0]
        await settled(rig)
        assert shown(rig).alert == pytest.approx(1.9, rel=0.02)
    real = class_rig(store=MemoryStore(before=rig.store), now=START + 1000)  # the same store, now of a real plant
    async with running(real):
        assert real.path.baselines[DRIVE_END, LEVEL, True].state is BaselineState.APPROVED
        assert real.path.setting.rules[DRIVE_END].limits[LEVEL].alert == pytest.approx(2.8e-3)


async def test_a_baseline_of_a_point_that_is_gone_does_no_harm() -> None:
    rig = class_rig()
    async with learning(rig) as one:
        await send_steady(rig, CAPTURES, START)
        await approve(one)
    one_plant = class_plant()
    (machine,) = one_plant.machines
    fewer = Plant(
        one_plant.site, one_plant.name, one_plant.areas, (replace(machine, points=machine.points[1:]),), one_plant.sensors
    )
    second = Rig(fewer, store=MemoryStore(before=rig.store), now=START + 1000)
    async with learning(second):
        assert [view.point for view in second.hub.baselines()] == [AXIAL.point]


async def test_proposing_takes_eight_values_at_least_and_no_temperature() -> None:
    rig = class_rig()
    async with learning(rig) as one:
        t = await send_steady(rig, 7, START)
        outcome = await one.propose(DRIVE_END, LEVEL, ENGINEER, WHY)
        assert not outcome.done
        assert "too few" in outcome.why
        await send_steady(rig, 1, t)
        assert (await one.propose(DRIVE_END, LEVEL, ENGINEER, WHY)).done
        assert (baseline(rig).state, baseline(rig).count) == ("proposed", 8)
        assert "zero is a convention" in (await one.propose(DRIVE_END, "temperature", ENGINEER, WHY)).why
        assert "not permitted" in (await one.propose(DRIVE_END, LEVEL, OPERATOR, WHY)).why


async def test_what_the_site_decided_about_alarms_holds_after_an_approval() -> None:
    policy = AlarmPolicy(silence_s=7.0)
    rig = Rig(replace(class_plant(), alarms=policy))
    async with learning(rig) as one:
        await send_steady(rig, CAPTURES, START)
        await approve(one)
        await settled(rig)
        assert rig.path.setting is not rig.setting
        assert rig.path.setting.plant.alarms == policy
