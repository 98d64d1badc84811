"""A board of two gateways, driven by hand: one lost and back, orders to the right one, one machine id at both."""

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import replace

import pytest
from textual.pilot import Pilot

from edgemon.board.app import BoardApp
from edgemon.board.memory import OPERATOR, MemorySource
from edgemon.board.port import Lost, Outcome
from edgemon.board.several import Several
from edgemon.board.view.cells import row_text
from edgemon.board.view.whole import Partly
from edgemon.board.widgets.lines import Lines
from edgemon.clock import ManualClock
from edgemon.errors import LinkDown
from edgemon.model.command import Person, Role
from edgemon.model.search import Search
from edgemon.model.shift import BlockView, HandoverView
from edgemon.model.snapshot import Change, JournalView, Snapshot
from tests.board.test_performance import FIGURES
from tests.support import sites

HALL = (12, 6, 7)
"""Booster pump 3, in alarm, and two high-pressure pumps."""
REST = (0, 1, 24)


class Both:
    def __init__(self, app: BoardApp, one: MemorySource, two: MemorySource, clock: ManualClock, pilot: Pilot[None]) -> None:
        self.app, self.one, self.two, self.clock, self.pilot = app, one, two, clock, pilot

    async def wait(self, seconds: float = 1.0) -> None:
        await self.pilot.pause()
        await self.clock.advance(seconds)
        await self.pilot.pause()

    async def press(self, *keys: str) -> None:
        await self.pilot.press(*keys)
        await self.pilot.pause()

    def text(self) -> str:
        return "\n".join(line for lines in self.app.screen.query(Lines) for line in map(row_text, lines.rows))

    def state(self, machine: str) -> str:
        found = self.app.desk.picture.machine(machine)
        return "" if found is None else found.state


def said(name: str, *rows: int) -> Snapshot:
    whole = sites.snapshot([sites.machine(row) for row in rows])
    return replace(whole, gateway=replace(whole.gateway, gateway=name, notes=()))


@asynccontextmanager
async def both(
    person: Person = OPERATOR, hall: tuple[int, ...] = HALL, rest: tuple[int, ...] = REST, size: tuple[int, int] = (120, 40)
) -> AsyncIterator[Both]:
    one, two = MemorySource(), MemorySource(person)
    clock = ManualClock(sites.NOW)
    app = BoardApp(Several([("unix:/run/1", one), ("unix:/run/2", two)], clock), clock)
    async with app.run_test(size=size) as pilot:
        await pilot.pause()
        app.desk.message = ""
        one.say(said("gw-hall", *hall))
        two.say(said("gw-rest", *rest))
        board = Both(app, one, two, clock, pilot)
        await board.wait()
        yield board


async def test_both_plants_are_shown_and_one_lost_gateway_takes_only_its_own_machines() -> None:
    async with both() as board:
        assert "NO CONNECTION" not in board.text()
        assert (board.state("hp-pump-1"), board.state("intake-pump-1")) == ("normal", "normal")
        board.two.say(Lost("no daemon answers at unix:/run/2"))
        await board.wait()
        assert "NO CONNECTION to gw-rest: no daemon answers" in board.text()
        assert (board.state("hp-pump-1"), board.state("intake-pump-1")) == ("normal", "unknown")
        board.two.say(said("gw-rest", *REST))
        await board.wait()
        assert "NO CONNECTION" not in board.text()
        assert (board.state("hp-pump-1"), board.state("intake-pump-1")) == ("normal", "normal")


async def test_a_gateway_that_falls_silent_is_lost_while_the_other_speaks() -> None:
    async with both() as board:
        for _ in range(7):
            board.one.say(Change(said("gw-hall").gateway))
            await board.wait()
        assert "NO CONNECTION to gw-rest: silent" in board.text()
        assert (board.state("hp-pump-1"), board.state("intake-pump-1")) == ("normal", "unknown")


async def test_all_lost_is_lost() -> None:
    async with both() as board:
        board.one.say(Lost("gone"))
        board.two.say(Lost("gone too"))
        await board.wait()
        assert "NO CONNECTION: gw-hall: gone; gw-rest: gone too" in board.text()
        assert board.state("hp-pump-1") == "unknown"


async def test_an_acknowledgement_goes_to_the_gateway_of_the_machine() -> None:
    async with both() as board:
        await board.press("l", "a")
        assert "as operator (operator) at control-room, gw-hall" in board.text()
        await board.press("y")
        assert board.one.acknowledged == [("booster-3/pump-de-h/velocity_rms", 1)]
        assert board.two.acknowledged == []


async def test_one_machine_id_at_two_gateways_is_said_and_each_order_goes_where_it_belongs() -> None:
    async with both(hall=(12,), rest=(12,)) as board:
        assert "SAME ID AT TWO GATEWAYS: booster-3" in board.text()
        source = board.app.desk.source
        assert (await source.acknowledge("booster-3@gw-rest/pump-de-h/velocity_rms", 1)).done
        assert not (await source.acknowledge("booster-3/pump-de-h/velocity_rms", 1)).done
        assert (board.one.acknowledged, board.two.acknowledged) == ([], [("booster-3/pump-de-h/velocity_rms", 1)])


async def test_a_viewer_at_one_gateway_is_told_so_there_and_may_order_at_the_other() -> None:
    async with both(Person("operator", Role.VIEWER, "control-room"), hall=(0,), rest=(12,)) as board:
        await board.press("l", "a")
        assert "You are operator (viewer) at control-room, gw-rest" in board.text()
        assert board.app.desk.forbidden("intake-pump-1") == ""
        assert (await board.app.desk.source.whoami()).role is Role.VIEWER


async def test_silence_goes_to_all_and_who_failed_is_named() -> None:
    async with both() as board:
        board.two.outcome = Outcome(False, "the gateway is still starting")
        await board.press("c", "enter")
        assert board.one.ordered == board.two.ordered == [("silence",)]
        assert "but done at gw-hall, NOT at gw-rest: the gateway is still starting" in board.text()


async def test_the_shift_is_taken_over_at_each_by_its_own_page() -> None:
    async with both() as board:
        board.one.page = HandoverView(sites.NOW, sites.NOW, "kim", (BlockView("Shift log", ("seal leaks",)),), "one")
        board.two.page = HandoverView(sites.NOW, sites.NOW, "", (BlockView("Shift log", ("none",)),), "two")
        source = board.app.desk.source
        page = await source.handover()
        assert page.blocks[1].lines == ("gw-hall: seal leaks",)
        assert await source.take_over(page.digest, "all well") == Outcome(True)
        assert (board.one.ordered, board.two.ordered) == ([("take", "one", "all well")], [("take", "two", "all well")])
        board.two.say(Lost("gone"))
        await board.wait()
        again = await source.handover()
        assert "gw-rest: ITS PAGE IS MISSING" in again.blocks[0].lines[1]
        outcome = await source.take_over(again.digest)
        assert isinstance(outcome, Partly)
        assert "NOT at gw-rest" in outcome.why
        assert len(board.two.ordered) == 1


async def test_journals_are_read_together_and_a_search_for_a_machine_asks_its_gateway_alone() -> None:
    async with both() as board:
        board.one.entries = tuple(JournalView(seq, 2.0 * seq, "alarm-changed", f"hall {seq}") for seq in (3, 2, 1))
        board.two.entries = tuple(JournalView(seq, 2.0 * seq + 1.0, "alarm-changed", f"rest {seq}") for seq in (2, 1))
        source = board.app.desk.source
        first = await source.journal(3)
        rest = await source.journal(3, first[-1].seq)
        assert [one.text.split(": ")[1] for one in (*first, *rest)] == ["hall 3", "rest 2", "hall 2", "rest 1", "hall 1"]
        asked = len(board.one.searched)
        await source.journal(3, search=Search(machine="intake-pump-1"))
        assert board.two.searched[-1] == Search(machine="intake-pump-1")
        assert len(board.one.searched) == asked


async def test_what_is_asked_of_a_machine_of_a_lost_gateway_is_refused_with_its_name() -> None:
    async with both() as board:
        board.one.figures = board.two.figures = FIGURES
        board.two.say(Lost("gone"))
        await board.wait()
        source = board.app.desk.source
        refused = await source.diagnose("hp-pump-1", "pump-de-h")
        assert refused.done
        assert board.one.ordered == [("diagnose", "hp-pump-1", "pump-de-h")]
        with pytest.raises(LinkDown, match="gw-rest: gone"):
            await source.trend("intake-pump-1", "motor-nde-h", "velocity_rms", 0.0, 1.0)
        assert (await source.performance(0.0)).remarks[0] == "gw-rest is missing: gone"


async def test_a_closed_board_leaves_no_task_and_closes_every_source() -> None:
    async with both() as board:
        source = board.app.desk.source
        assert isinstance(source, Several)
        await source.close()
        assert (board.one.closed, board.two.closed) == (True, True)
        assert all(task.done() for task in source._tasks)
