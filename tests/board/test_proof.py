"""A proof on the board: begun where somebody stands, always in the status line, its alarms marked and behind real ones."""

from dataclasses import replace

import pytest

from edgemon.board.keys import PROOF
from edgemon.board.memory import MemorySource
from edgemon.board.view.alarms import listed
from edgemon.board.view.banner import summary
from edgemon.board.view.proof import MEANING
from edgemon.model.command import Person, Role
from edgemon.model.proof import ProofView
from edgemon.model.snapshot import Change, Snapshot
from tests.board.driving import board, plant
from tests.support import sites

ENGINEER = Person("engineer", Role.ENGINEER, "control-room")
ON = ProofView("booster-3/pump-de-h", sites.NOW, sites.NOW + 5.0, sites.NOW + 1800.0, "engineer", "first proof", True)
SIZES = [(80, 24), (120, 40), (200, 60)]


def proving(proof: ProofView | None = ON) -> Snapshot:
    """The plant, with real data but for one machine's alarm, which a proof raised."""
    whole = sites.snapshot(sim=False)
    first = next(machine for machine in whole.machines if machine.unacknowledged)
    points = tuple(
        replace(point, alarms=tuple(replace(one, sim=True, proof=True, id=f"{one.id}/sim") for one in point.alarms))
        for point in first.points
    )
    tried = replace(first, points=points, sim=True)
    machines = tuple(tried if machine is first else machine for machine in whole.machines)
    return replace(whole, machines=machines, gateway=replace(whole.gateway, proof=proof))


@pytest.mark.parametrize("size", SIZES)
async def test_the_status_line_of_every_screen_says_what_and_until_when(size: tuple[int, int]) -> None:
    async with board(size) as one:
        one.app.desk.message = ""
        await one.hear(proving(), after=1.0)
        for keys in ([], ["enter"], ["enter"], ["l"], ["e"], ["t"], ["j"], ["question_mark"]):
            await one.press(*keys)
            said = one.lines("banner")[1]
            assert "PROOF booster-3/pump-de-h until 07:00, 1 simulated" in said
            assert "PROOF Booster pump 3" in said.partition("simulated")[2], "who calls has room beside it"
        gone = proving(None).gateway
        await one.hear(Change(gone), after=1.0)
        assert "PROOF booster" not in one.lines("banner")[1]
        assert "SIMULATED DATA on 1" in one.lines("banner")[1]


async def test_what_is_only_announced_is_said_so() -> None:
    async with board((120, 40)) as one:
        await one.hear(proving(replace(ON, is_open=False)), after=1.0)
        assert "PROOF announced: booster-3/pump-de-h until" in one.lines("banner")[1]


def test_real_alarms_stand_before_those_of_a_proof() -> None:
    (tried,) = (one for one in listed(proving().machines) if one.proof and one.annunciates and one.alarm_state == "UNACK")
    real = replace(tried, id="hp-pump-2/pump-de-h/velocity_rms", raised_at=tried.raised_at - 600.0, proof=False, sim=False)
    first = next(machine for machine in sites.snapshot(sim=False).machines if machine.unacknowledged)
    both = replace(first, points=(replace(first.points[0], alarms=(tried, real)),))
    assert listed([both]) == [real, tried], "the newer one is the proof's"
    assert summary([both]).calling == (real, tried)


@pytest.mark.parametrize("size", SIZES)
async def test_its_alarms_are_marked_in_the_list_and_in_the_question(size: tuple[int, int]) -> None:
    source = MemorySource(ENGINEER)
    async with board(size, source) as one:
        one.app.desk.message = ""
        await one.hear(proving(), after=1.0)
        await one.press("l")
        assert any("PROOF UNACK" in line for line in one.lines("body"))
        assert "A TEST, no real alarm." in one.text()


@pytest.mark.parametrize("size", SIZES)
async def test_an_engineer_begins_one_with_a_reason_of_what_was_chosen(size: tuple[int, int]) -> None:
    source = MemorySource(ENGINEER)
    async with plant(size, source) as one:
        one.app.desk.person = ENGINEER
        await one.press("enter", PROOF.key)
        assert all(line in one.text() for line in MEANING)
        assert "write a reason first" in one.text()
        await one.press("enter")
        assert source.ordered == []
        machine, point = one.app.screen_stack[-2].subject()  # type: ignore[attr-defined]
        await one.press("down", "right", *"test")
        await one.press("enter")
        await one.wait(0.5)
        assert source.ordered == [("proof", machine, "3600", "test")]
        await one.press(PROOF.key, *"y", "enter")
        await one.wait(0.5)
        assert source.ordered[1:] == [("proof", f"{machine}/{point}", "1800", "y")]
        await one.press(PROOF.key, "down", "down", "down", "down", "left", "left", "left", *"all", "enter")
        await one.wait(0.5)
        assert source.ordered[2:] == [("proof", "the whole plant", "300", "all")]


async def test_a_no_begins_nothing_and_an_operator_is_told_who_may() -> None:
    source = MemorySource(ENGINEER)
    async with plant((80, 24), source) as one:
        one.app.desk.person = ENGINEER
        await one.press(PROOF.key, *"test", "escape")
        await one.wait(0.5)
        assert source.ordered == []
        one.app.desk.person = MemorySource().person
        await one.press(PROOF.key)
        assert "takes the engineer role" in one.lines("foot")[0]


async def test_the_one_that_is_on_is_ended_with_a_reason() -> None:
    source = MemorySource(ENGINEER)
    async with board((80, 24), source) as one:
        await one.hear(proving(), after=1.0)
        one.app.desk.person = ENGINEER
        await one.press(PROOF.key)
        assert "End the proof of booster-3/pump-de-h?" in one.text()
        await one.press(*"done", "enter")
        await one.wait(0.5)
        assert source.ordered == [("end of proof", "done")]
