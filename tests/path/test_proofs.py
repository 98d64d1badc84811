"""A proof through the path: announced before anything calls, marked as a test, over by itself, in no real alarm's way."""

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import replace

import pytest

from edgemon.daemon.proving import Proving
from edgemon.daemon.work import Happened
from edgemon.errors import StoreFull
from edgemon.model.annunciation import Output, OutputKind
from edgemon.model.command import Acknowledge, Person, Role
from edgemon.model.derived import DerivedSpec, Rule
from edgemon.model.gateway_event import ClockStepped
from edgemon.model.ids import AlarmKey, AreaId, MachineId, PointId
from edgemon.model.level import LEVEL_KINDS
from edgemon.model.limit import Delay, Limit, Side, low_name
from edgemon.model.machine import Plant
from edgemon.model.proof import LEAD_S, LONGEST_S, Scope, Tried
from edgemon.model.snapshot import Outcome
from edgemon.store.memory import MemoryStore
from edgemon.units import Quantity
from tests.support.captures import capture
from tests.support.plants import AXIAL, DRIVE_END, PUMP, gateway, plant, velocity_limit
from tests.support.rig import OPERATOR, START, Rig, running

ENGINEER = Person("engineer on site", Role.ENGINEER, "control room")
SCOPE = Scope(machine=PUMP, point=DRIVE_END.point)
HORN = Output("horn", OutputKind.COMMAND, ("horn",))
SIMULATED = AlarmKey(*DRIVE_END, "velocity_rms", True)
ALERT, ALARM = Tried("velocity_rms", "alert"), Tried("velocity_rms", "alarm")
BELOW = low_name("velocity_rms")


def with_limits(*limits: Limit, derived: tuple[DerivedSpec, ...] = ()) -> Plant:
    """The plant with other limits at its drive end."""
    whole = plant()
    (machine,) = whole.machines
    first, *others = machine.points
    points = (replace(first, limits=limits, derived=derived), *others)
    return replace(whole, machines=(replace(machine, points=points),))


class Bench(Rig):
    """A rig that proves; its plant has a horn."""

    def __init__(
        self,
        store: MemoryStore | None = None,
        now: float = START,
        simulated: bool = False,
        of_plant: Plant | None = None,
    ) -> None:
        of_gateway = replace(gateway(simulated=simulated), outputs=(HORN,))
        super().__init__(of_plant=of_plant, of_gateway=of_gateway, store=store, now=now)
        path, link = self.path, self.link
        self.proving = Proving(
            self.store, self.clock, path.command, path.tell, lambda: self.hub.memory.proof, self.setting, lambda: link.status.up
        )
        self.hub.proving, self.publisher.sent = self.proving, self.proving.sent

    async def start(self, duration_s: float = 600.0, scope: Scope = SCOPE, reason: str = "first proof") -> Outcome:
        outcome = await self.proving.start(scope, duration_s, reason, ENGINEER)
        await self.settle()
        return outcome

    async def opened(self, duration_s: float = 600.0, scope: Scope = SCOPE) -> None:
        assert (await self.start(duration_s, scope)).done
        await self.pass_time(LEAD_S)

    async def horn_is_told(self) -> None:
        """What the annunciator does once the command ended well."""
        self.proving.told(HORN, self.hub.annunciation())
        await self.settle()

    async def lacks(self) -> tuple[str, ...]:
        """What the drive end still has to show."""
        return next(row.lacks for row in (await self.proving.report()).rows if row.point == DRIVE_END.point)

    def is_calling(self, sim: bool = True) -> bool:
        return any(one.sim is sim and one.annunciates and one.alarm_state == "UNACK" for one in self.point().alarms)


@asynccontextmanager
async def proving(rig: Bench) -> AsyncIterator[Bench]:
    async with running(rig):
        task = asyncio.create_task(rig.proving.run())
        try:
            yield rig
        finally:
            task.cancel()
            await asyncio.gather(task, return_exceptions=True)


async def test_it_is_announced_everywhere_before_anything_calls() -> None:
    async with proving(Bench()) as rig:
        outcome = await rig.start()
        assert outcome.done
        assert "PROOF of hp-pump-1/pump-de-h" in outcome.why
        shown = rig.hub.gateway().proof
        assert shown is not None
        assert (shown.scope, shown.by, shown.reason, shown.until) == (str(SCOPE), ENGINEER.name, "first proof", START + 600.0)
        told = next(entry for entry in rig.journal() if entry["kind"] == "proof-started")
        assert (told["by"], told["until"], told["machine"], told["point"]) == (
            *(ENGINEER.name, "2025-10-09T09:03:20.000Z"),  # date -u -d @1760000600
            *DRIVE_END,
        )
        assert rig.hub.annunciation().proof.startswith("PROOF of hp-pump-1/pump-de-h until")
        await rig.send(capture(START + 1.0, 5.0, sim=True))
        assert not rig.hub.annunciation().horn
        assert not rig.is_calling()
        assert not rig.machine().unacknowledged
        assert (await rig.command(Acknowledge(SIMULATED, 1))).done
        await rig.pass_time(LEAD_S)
        assert await rig.lacks() == ("never tried",), "nothing called yet"
        assert not rig.hub.annunciation().horn, "what was raised while it was only announced is forgotten"
        await rig.send(capture(START + 6.0, 5.0, sim=True))
        assert rig.is_calling()


async def test_its_alarms_call_as_a_test_and_outside_its_points_nothing_does() -> None:
    async with proving(Bench()) as rig:
        await rig.opened()
        await rig.send(capture(START + 6.0, 5.0, axial_mm_s=5.0, sim=True))
        shown = rig.hub.annunciation()
        assert (shown.horn, shown.beacon, shown.test) == (True, "alarm", True)
        assert shown.call is not None
        assert shown.call.text.startswith("PROOF, no real alarm: ")
        assert shown.call.sim
        assert shown.call.id == str(SIMULATED)
        assert rig.hub.gateway().sounding
        assert rig.machine().unacknowledged
        published = rig.published()
        (alarm,) = (one for one in published["alarms"] if one["severity"] == "alarm")
        assert (published["state"], published["sim"], alarm["proof"]) == ("alarm", True, True)
        other = rig.point(AXIAL.point)
        assert any(one.sim and one.alarm_state == "UNACK" for one in other.alarms)
        assert not any(one.annunciates or one.proof for one in other.alarms)


async def test_a_real_alarm_in_a_proof_calls_as_real_and_comes_first() -> None:
    async with proving(Bench()) as rig:
        await rig.opened()
        await rig.send(capture(START + 6.0, 5.0))
        await rig.send(capture(START + 7.0, 9.0, sim=True))
        shown = rig.hub.annunciation()
        assert (shown.horn, shown.test) == (True, False)
        assert shown.call is not None
        assert (shown.call.sim, shown.call.id) == (False, "hp-pump-1/pump-de-h/velocity_rms")
        assert "PROOF" not in shown.call.text
        point = rig.point()
        assert (point.state, point.sim) == ("alarm", False)
        assert (await rig.command(Acknowledge(AlarmKey(*DRIVE_END, "velocity_rms"), 1))).done
        shown = rig.hub.annunciation()
        assert (shown.horn, shown.test) == (True, True), "what is left is the proof's"
        assert (await rig.command(Acknowledge(SIMULATED, 1))).done
        assert not rig.hub.annunciation().horn


async def test_a_real_alert_is_not_hidden_behind_a_simulated_alarm() -> None:
    async with proving(Bench()) as rig:
        await rig.opened()
        await rig.send(capture(START + 6.0, 3.5))
        await rig.send(capture(START + 7.0, 9.0, sim=True))
        point = rig.point()
        assert (point.state, point.sim) == ("alert", False)
        assert {(one.sim, one.severity) for one in point.alarms if one.level == "velocity_rms"} == {
            *((False, "alert"), (True, "alarm"))
        }


@pytest.mark.parametrize("how", ["time", "command", "clock"])
async def test_it_ends_by_time_by_command_and_with_a_clock_that_was_set(how: str) -> None:
    async with proving(Bench()) as rig:
        await rig.opened(duration_s=30.0)
        await rig.send(capture(START + 6.0, 5.0, sim=True))
        assert rig.hub.annunciation().horn
        if how == "time":
            await rig.pass_time(30.0)
        elif how == "command":
            assert (await rig.proving.stop("done", ENGINEER)).done
        else:
            await rig.path.put(Happened(ClockStepped(rig.clock.now(), -3600.0)))
        await rig.settle()
        assert rig.hub.gateway().proof is None
        shown = rig.hub.annunciation()
        assert (shown.horn, shown.beacon, shown.proof) == (False, "off", "")
        assert not any(one.sim for one in rig.point().alarms)
        assert not rig.published()["sim"]
        ended = [entry for entry in rig.journal() if entry["kind"] == "proof-ended"]
        assert [one["by"] for one in ended] == ([ENGINEER.name] if how == "command" else [""])
        assert not (await rig.proving.stop("again", ENGINEER)).done
        await rig.send(capture(rig.clock.now() + 1.0, 5.0, sim=True))
        assert not rig.hub.annunciation().horn
        assert not rig.is_calling()


async def test_it_survives_a_crash_and_ends_by_itself_afterwards() -> None:
    first = Bench()
    async with proving(first):
        await first.opened(duration_s=60.0)
        await first.send(capture(START + 6.0, 5.0, sim=True))
        assert first.hub.annunciation().horn
    second = Bench(store=first.store, now=START + 20.0)
    async with proving(second):
        shown = second.hub.gateway().proof
        assert shown is not None
        assert shown.is_open
        assert second.hub.annunciation().horn, "what called, calls on"
        await second.pass_time(41.0)
        assert second.hub.gateway().proof is None
        assert not second.hub.annunciation().horn
    third = Bench(store=second.store, now=START + 100.0)
    async with proving(third):
        assert third.hub.gateway().proof is None


async def test_a_clock_set_back_while_the_gateway_was_off_leaves_none_announced_for_ever() -> None:
    first = Bench()
    async with proving(first):
        assert (await first.start(duration_s=60.0)).done
    second = Bench(store=MemoryStore(before=first.store), now=START - 30 * 86_400.0)
    async with proving(second):
        await second.pass_time(1.0)
        assert second.hub.gateway().proof is None
        (ended,) = (entry for entry in second.journal() if entry["kind"] == "proof-ended")
        assert "clock was set" in ended["reason"]
        assert (await second.start()).done


async def test_what_a_point_has_proven_stands_in_the_journal() -> None:
    first = Bench()
    async with proving(first):
        await first.opened()
        (row, other) = (await first.proving.report()).rows
        assert row.lacks == other.lacks == ("never tried",)
        await first.send(capture(START + 6.0, 3.5, sim=True))
        (row, other) = (await first.proving.report()).rows
        unanswered = "velocity_rms alert acknowledged by nobody"
        assert row.lacks == (unanswered, "velocity_rms alarm limit not reached")
        await first.send(capture(START + 7.0, 5.0, sim=True))
        (row, other) = (await first.proving.report()).rows
        untold = "velocity_rms alarm not taken by annunciator horn"
        assert row.lacks == (unanswered, untold, "velocity_rms alarm acknowledged by nobody")
        await first.horn_is_told()
        await first.pass_time(2.0)
        assert (await first.command(Acknowledge(SIMULATED, 2))).done
        (row, other) = (await first.proving.report()).rows
        assert row.lacks == ()
        assert row.proven_at == START + LEAD_S + 2.0
        assert row.shown is not None
        assert row.shown.people == f"by {ENGINEER.name}, acknowledged by {OPERATOR.name}"
        assert row.shown.reason == "first proof"
        assert row.shown.reached == (ALERT, ALARM)
        assert [(one.tried, one.to) for one in row.shown.carried] == [
            *((ALERT, "broker"), (ALARM, "broker"), (ALARM, "annunciator horn"))
        ]
        assert [one.tried for one in row.shown.acknowledged] == [ALERT, ALARM], "who acknowledges an alarm has seen its alert"
        assert other.lacks == ("never tried",)
        carried = [(entry["severity"], entry["to"]) for entry in first.journal() if entry["kind"] == "proof-carried"]
        assert carried == [("alert", "broker"), ("alarm", "broker"), ("alarm", "annunciator horn")]
        assert (await first.proving.stop("done", ENGINEER)).done
        # a later proof that nobody acknowledges takes nothing away
        await first.opened()
        await first.send(capture(START + 30.0, 5.0, sim=True))
        (again, _) = (await first.proving.report()).rows
        assert again == row
    second = Bench(store=first.store, now=START + 3600.0)
    async with proving(second):
        assert (await second.proving.report()).rows[0] == row


async def test_an_alarm_needs_an_acknowledgement_of_its_own() -> None:
    async with proving(Bench()) as rig:
        await rig.opened()
        await rig.send(capture(START + 6.0, 3.5, sim=True))
        assert (await rig.command(Acknowledge(SIMULATED, 1))).done
        await rig.send(capture(START + 7.0, 5.0, sim=True))
        await rig.horn_is_told()
        assert await rig.lacks() == ("velocity_rms alarm acknowledged by nobody",)
        assert (await rig.command(Acknowledge(SIMULATED, 2))).done
        assert await rig.lacks() == ()


async def test_each_limit_is_proven_by_itself_and_an_alarm_may_pass_over_its_alert() -> None:
    low = Limit(BELOW, Quantity.VELOCITY, "mm/s", 0.5e-3, 0.3e-3, 0.1e-3, Delay(1), Delay(1), Delay(1), side=Side.BELOW)
    same = DerivedSpec(BELOW, Rule.SAME, LEVEL_KINDS["velocity_rms"])
    async with proving(Bench(of_plant=with_limits(velocity_limit(), low, derived=(same,)))) as rig:
        await rig.opened()
        await rig.send(capture(START + 6.0, 5.0, sim=True))
        await rig.horn_is_told()
        assert (await rig.command(Acknowledge(SIMULATED, 1))).done
        assert await rig.lacks() == (f"{BELOW} alert limit not reached", f"{BELOW} alarm limit not reached")
        await rig.send(capture(START + 7.0, 0.2, sim=True))
        await rig.horn_is_told()
        assert (await rig.command(Acknowledge(AlarmKey(*DRIVE_END, BELOW, True), 1))).done
        assert await rig.lacks() == ()


async def test_an_alert_that_calls_is_proven_by_itself() -> None:
    async with proving(Bench(of_plant=with_limits(replace(velocity_limit(), promote_alert=True)))) as rig:
        await rig.opened()
        await rig.send(capture(START + 6.0, 5.0, sim=True))
        await rig.horn_is_told()
        assert (await rig.command(Acknowledge(SIMULATED, 1))).done
        assert await rig.lacks() == ("velocity_rms alert limit not reached",)
        await rig.send(capture(START + 7.0, 1.0, sim=True))
        await rig.send(capture(START + 8.0, 3.5, sim=True))
        unanswered = "velocity_rms alert acknowledged by nobody"
        assert await rig.lacks() == ("velocity_rms alert not taken by annunciator horn", unanswered)
        await rig.horn_is_told()
        assert (await rig.command(Acknowledge(SIMULATED, 2))).done
        assert await rig.lacks() == ()


async def test_what_cannot_be_done_is_refused_and_says_why() -> None:
    async with proving(Bench()) as rig:
        for scope, why in (
            (Scope(machine=MachineId("nothing")), "no such machine"),
            (Scope(area=AreaId("nothing")), "no such area"),
            (Scope(machine=PUMP, point=PointId("nothing")), "no such point"),
            (Scope(point=PointId("pump-de-h")), "named with its machine"),
        ):
            outcome = await rig.start(scope=scope)
            assert not outcome.done
            assert why in outcome.why
        for duration_s in (0.0, LEAD_S, LONGEST_S + 1.0, float("nan")):
            assert not (await rig.start(duration_s)).done
        assert "say why" in (await rig.start(reason="  ")).why
        assert "no proof is on" in (await rig.proving.stop("why", ENGINEER)).why
        assert (await rig.start()).done
        assert "on already" in (await rig.start()).why
        assert rig.kinds().count("proof-started") == 1
    async with proving(Bench(simulated=True)) as rig:
        assert "simulated sensors only" in (await rig.start()).why


async def test_without_a_broker_or_a_store_nothing_is_announced_and_so_nothing_begins() -> None:
    async with proving(Bench()) as rig:
        rig.link.drop()
        assert "broker" in (await rig.start()).why
    async with proving(Bench()) as rig:
        rig.store.failing = StoreFull("no space left")
        await rig.path.put(Happened(ClockStepped(START, 0.0)))
        for _ in range(50):
            await asyncio.sleep(0)
        with pytest.raises(Exception, match="while the store fails"):
            await asyncio.wait_for(rig.proving.start(SCOPE, 600.0, "why", ENGINEER), 5.0)


async def test_simulated_data_that_ends_in_a_proof_calls_nobody() -> None:
    async with proving(Bench()) as rig:
        await rig.opened(duration_s=600.0)
        await rig.send(capture(START + 6.0, 1.0, sim=True))
        await rig.pass_time(200.0, every=5.0)
        assert not [one for one in rig.point().alarms if one.sim and one.annunciates]
        assert not rig.hub.annunciation().test
        assert [one.level for one in rig.point().alarms if one.sim] == ["monitoring"]
        assert await rig.lacks() == ("never tried",), "that data ended reaches no limit"


def test_a_scope_says_what_it_covers() -> None:
    area = AreaId("ro-hall")
    for scope, words, covered in (
        (Scope(), "the whole plant", (True, True)),
        (Scope(area=area), "area ro-hall", (True, True)),
        (Scope(area=AreaId("intake")), "area intake", (False, False)),
        (Scope(machine=PUMP), "hp-pump-1", (True, True)),
        (SCOPE, "hp-pump-1/pump-de-h", (True, False)),
        (Scope(machine=MachineId("hp-pump-2")), "hp-pump-2", (False, False)),
    ):
        assert str(scope) == words
        assert (scope.covers(DRIVE_END, area), scope.covers(AXIAL, area)) == covered
