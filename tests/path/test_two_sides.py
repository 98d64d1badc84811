"""Limits on both sides of one level through the path: two alarms with ids and lives of their own, one nearness."""

from pathlib import Path

import pytest

from edgemon.model.command import Acknowledge, Command, Person, RemoveFromService, Role, Shelve
from edgemon.model.ids import AlarmKey
from edgemon.model.machine import Plant
from edgemon.store.memory import MemoryStore
from tests.settings.support import loaded
from tests.support.captures import capture
from tests.support.plants import DRIVE_END
from tests.support.rig import START, Rig, running

ENGINEER = Person("engineer on duty", Role.ENGINEER, "office")
POINT = """
[site]
id = "saltmarsh"
[[machine]]
id = "hp-pump-1"
rpm = 3000
criticality = "critical"
[[machine.point]]
id = "pump-de-h"
sensor = "s-0001"
axis = "x"
stale_after_s = 600
"""
UPPER = """
  [[machine.point.limit]]
  level = "velocity_rms"
  unit = "mm/s"
  alert = 6
  alarm = 9
  on_delay = 1
  off_delay = 1
"""
LOW = """
  [[machine.point.limit]]
  level = "velocity_rms"
  unit = "mm/s"
  side = "below"
  alert = 3
  alarm = 2
  on_delay = 1
  off_delay = 1
"""
ID = "hp-pump-1/pump-de-h/velocity_rms"
NAME, BELOW = "velocity_rms", "velocity_rms_below"
HIGH_MM_S, MIDDLE_MM_S, LOW_MM_S = 9.5, 5.0, 1.5
NO_LIMIT = "no limit is set any more"
OTHER_SIDE = "its limit is on the other side now"


def plant(tmp_path: Path, limits: str = UPPER + LOW, standstill: str = "") -> Plant:
    return loaded(tmp_path, POINT.replace("[[machine.point]]", f"{standstill}\n[[machine.point]]") + limits)[0]


async def test_each_side_has_an_alarm_of_its_own_and_the_nearer_one_is_the_machines(tmp_path: Path) -> None:
    rig = Rig(plant(tmp_path))
    async with running(rig):
        for k, (value, upper, low, level, ratio) in enumerate(
            [
                (3.2, "normal", "normal", "velocity_rms_below", (4.667 - 3.2) / 2.667),  # good end 2 + 1 / 0.375 = 4.667
                (5.5, "normal", "normal", "velocity_rms", 5.5 / 9.0),
                (9.5, "alarm", "normal", "velocity_rms", 9.5 / 9.0),
                (1.5, "normal", "alarm", "velocity_rms_below", (4.667 - 1.5) / 2.667),
            ]
        ):
            await rig.send(capture(START + 20.0 * k, value, rpm=3000.0))
            levels = rig.published()["levels"]
            assert (levels["velocity_rms"]["state"], levels["velocity_rms_below"]["state"]) == (upper, low), value
            worst = rig.published("machine/hp-pump-1")["worst"]
            assert worst["level"] == level, value
            assert worst["ratio"] == pytest.approx(ratio, abs=0.03)
        levels = rig.published()["levels"]
        assert "side" not in levels["velocity_rms"]
        assert (levels["velocity_rms"]["alert"], levels["velocity_rms"]["alarm"]) == (6.0, 9.0)
        below = levels["velocity_rms_below"]
        assert (below["side"], below["alert"], below["alarm"], below["unit"]) == ("below", 3.0, 2.0, "mm/s")
        alarms = {one["id"]: one["alarm_state"] for one in rig.published()["alarms"]}
        assert alarms == {ID: "RTNUN", f"{ID}_below": "UNACK"}
        assert rig.point().state == "alarm"
        titles = {level.name: level.title for level in rig.point().levels}
        assert titles["velocity_rms_below"] == "velocity r.m.s., low"


def orders(level: str) -> dict[str, tuple[Command, ...]]:
    """What people may have decided about the first occurrence of an alarm, by the state that it has then."""
    one = AlarmKey(*DRIVE_END, level)
    return {
        "UNACK": (),
        "ACKED": (Acknowledge(one, 1),),
        "SHLVD": (Shelve(one, 3600.0, "the screen is being cleaned"),),
        "OOSRV": (RemoveFromService(one, "sensor swap"),),
    }


STATES = ("UNACK", "ACKED", "SHLVD", "OOSRV")


class Runs:
    """One store, and runs with plant files that differ in their limits; a start is real, time goes on."""

    def __init__(self, folder: Path, standstill: str = "") -> None:
        self.folder, self.standstill, self.store, self.now = folder, standstill, MemoryStore(), START
        self.rig: Rig | None = None

    async def run(self, limits: str, *values: float, given: tuple[Command, ...] = (), rpm: float = 3000.0) -> bool:
        """Start, measure these values (mm/s), then command; gives whether all commands were obeyed."""
        self.store = MemoryStore(before=self.store)
        self.rig = Rig(plant(self.folder, limits, self.standstill), store=self.store, now=self.now)
        async with running(self.rig):
            for value in values:
                self.now += 20.0
                await self.rig.clock.advance(20.0)
                await self.rig.send(capture(self.now, value, rpm=rpm))
            outcomes = [await self.rig.path.command(order, ENGINEER) for order in given]
            await self.rig.settle()
        return all(outcome.done for outcome in outcomes)

    def alarms(self) -> dict[str, tuple[str, int]]:
        """Levels with their alarm states and occurrences, those that are normal left out."""
        assert self.rig is not None
        records = self.rig.hub.memory.points[DRIVE_END, False].alarms
        return {name: (one.state.value, one.occurrence) for name, one in records.items() if one.state != "NORM"}

    def told(self) -> list[tuple[str, str, str, str]]:
        """What the newest run journalled of alarms: level, change, from which state, and to which or why."""
        assert self.rig is not None
        changes = [one for one in self.rig.journal() if one["kind"] == "alarm-changed"]
        return [(one["level"], one["change"], one["from_state"], one["reason"] or one["to_state"]) for one in changes]


@pytest.mark.parametrize("state", STATES)
@pytest.mark.parametrize(
    ("before", "stood", "value", "after", "reason", "other"),
    [
        (LOW, NAME, LOW_MM_S, LOW + UPPER, f"its limit is watched as {BELOW} now", HIGH_MM_S),
        (LOW, NAME, LOW_MM_S, UPPER, OTHER_SIDE, HIGH_MM_S),
        (UPPER, NAME, HIGH_MM_S, LOW, OTHER_SIDE, LOW_MM_S),
        (LOW + UPPER, NAME, HIGH_MM_S, LOW, OTHER_SIDE, LOW_MM_S),
    ],
    ids=["the upper one is added", "low becomes upper", "upper becomes low", "the upper one is taken out"],
)
async def test_what_was_decided_of_one_side_never_hides_the_other(
    state: str, before: str, stood: str, value: float, after: str, reason: str, other: float, tmp_path: Path
) -> None:
    runs = Runs(tmp_path)
    assert await runs.run(before, value, given=orders(stood)[state])
    assert runs.alarms() == {stood: (state, 1)}
    await runs.run(after)
    assert runs.told() == [(stood, "CLEARED", state, reason)]
    assert runs.alarms() == {}
    assert runs.rig is not None
    (closed,) = [one for one in runs.rig.journal() if one["kind"] == "alarm-changed"]
    assert closed["side"] == ("below" if value == LOW_MM_S else "above")
    was_obeyed = await runs.run(after, other, given=orders(NAME)["ACKED"])
    assert runs.told() == [(NAME, "RAISED", "NORM", "UNACK")]
    assert runs.alarms() == {NAME: ("UNACK", 2)}
    assert not was_obeyed, "who acknowledges the old one, late, does not acknowledge this one"
    assert runs.rig.published()["state"] == "alarm"


@pytest.mark.parametrize("state", STATES)
@pytest.mark.parametrize(
    ("before", "stood", "after", "now_named", "reason"),
    [
        (LOW, NAME, LOW + UPPER, BELOW, f"its limit is watched as {BELOW} now"),
        (LOW + UPPER, BELOW, LOW, NAME, f"its limit is watched as {NAME} now"),
    ],
    ids=["the upper one is added", "the upper one is taken out"],
)
async def test_a_low_alarm_that_is_still_there_calls_again_under_its_new_name(
    state: str, before: str, stood: str, after: str, now_named: str, reason: str, tmp_path: Path
) -> None:
    runs = Runs(tmp_path)
    assert await runs.run(before, LOW_MM_S, given=orders(stood)[state])
    await runs.run(after, LOW_MM_S)
    assert runs.told() == [(stood, "CLEARED", state, reason), (now_named, "RAISED", "NORM", "UNACK")]
    assert runs.alarms() == {now_named: ("UNACK", 1)}


@pytest.mark.parametrize("state", STATES)
@pytest.mark.parametrize(("before", "after"), [(UPPER, UPPER + LOW), (UPPER + LOW, UPPER)], ids=["one", "both"])
async def test_the_alarm_of_a_limit_that_stays_stays_as_it_was(state: str, before: str, after: str, tmp_path: Path) -> None:
    runs = Runs(tmp_path)
    assert await runs.run(before, HIGH_MM_S, given=orders(NAME)[state])
    await runs.run(after)
    assert (runs.told(), runs.alarms()) == ([], {NAME: (state, 1)})


@pytest.mark.parametrize("state", STATES)
async def test_a_low_alarm_whose_limit_stays_stays_as_it_was(state: str, tmp_path: Path) -> None:
    runs = Runs(tmp_path)
    assert await runs.run(LOW, LOW_MM_S, given=orders(NAME)[state])
    await runs.run(LOW)
    assert (runs.told(), runs.alarms()) == ([], {NAME: (state, 1)})
    assert await runs.run(UPPER + LOW, LOW_MM_S, given=orders(BELOW)[state])
    await runs.run(UPPER + LOW)
    assert (runs.told(), runs.alarms()) == ([], {BELOW: (state, 1)})
    await runs.run(UPPER)
    assert (runs.told(), runs.alarms()) == ([(BELOW, "CLEARED", state, NO_LIMIT)], {})


async def test_a_delay_that_ran_for_one_side_does_not_count_for_the_other(tmp_path: Path) -> None:
    low, upper = (one.replace("on_delay = 1", "on_delay = 2") for one in (LOW, UPPER))
    runs = Runs(tmp_path)
    await runs.run(low, MIDDLE_MM_S, LOW_MM_S)
    await runs.run(low + upper, HIGH_MM_S)
    assert runs.alarms() == {}
    await runs.run(low + upper, HIGH_MM_S)
    assert runs.alarms() == {NAME: ("UNACK", 1)}


async def test_a_low_limit_set_while_the_machine_stands_does_not_call_before_it_runs(tmp_path: Path) -> None:
    runs = Runs(tmp_path, "standstill_rpm = 100")
    for limits, names in ((UPPER, (NAME,)), (LOW, (NAME,)), (UPPER + LOW, (NAME, BELOW))):
        await runs.run(limits, 0.1, 0.1, rpm=0.0)
        assert {name: state for name, (state, _) in runs.alarms().items()} == dict.fromkeys(names, "DSUPR")
    await runs.run(UPPER + LOW, LOW_MM_S)
    assert runs.alarms() == {BELOW: ("UNACK", 1)}


async def test_a_level_that_the_plant_file_no_longer_has_is_shown_no_more(tmp_path: Path) -> None:
    runs = Runs(tmp_path)
    await runs.run(UPPER + LOW, MIDDLE_MM_S)
    assert runs.rig is not None
    assert BELOW in runs.rig.published()["levels"]
    await runs.run(UPPER, MIDDLE_MM_S)
    assert {NAME} <= runs.rig.published()["levels"].keys()
    assert BELOW not in runs.rig.published()["levels"], "its last value would read as normal for ever"
