"""The handover page on the board: read, written to, taken over with a name and a confirmation."""

from dataclasses import replace

import pytest

from edgemon.board.memory import MemorySource
from edgemon.board.port import Outcome
from edgemon.errors import LinkRefused
from edgemon.model.command import Person, Role
from edgemon.model.shift import BlockView, HandoverView
from tests.board.driving import plant
from tests.support import sites

PAGE = HandoverView(
    sites.NOW - 8 * 3600.0,
    sites.NOW,
    "day shift",
    (BlockView("Now", ("26 machines: 1 alarm, 25 normal",)), BlockView("Hidden alarms", ("shelved until \x1b[2Jnoon",))),
    "abc123",
)


def reading(person: Person | None = None) -> MemorySource:
    source = MemorySource() if person is None else MemorySource(person)
    source.page = PAGE
    return source


@pytest.mark.parametrize("size", [(80, 24), (200, 60)])
async def test_the_page_is_read_and_taken_over(size: tuple[int, int]) -> None:
    source = reading()
    async with plant(size, source) as one:
        await one.press("t")
        await one.wait(0.5)
        text = one.text()
        assert "Shift since 2026-03-01 22:30" in text
        assert "taken over by day shift" in text
        assert "26 machines" in text
        assert "\x1b" not in text
        await one.press("enter")
        assert "Take the shift over?" in one.text()
        assert "as operator (operator) at control-room" in one.text()
        assert source.ordered == []
        await one.press("o", "k", "enter")
        assert source.ordered == [("take", "abc123", "ok")]


async def test_a_note_needs_a_text_and_escape_writes_nothing() -> None:
    source = reading()
    async with plant((80, 24), source) as one:
        await one.press("t")
        await one.wait(0.5)
        await one.press("w", "enter")
        assert "write something first" in one.text()
        await one.press("x", "escape")
        assert source.ordered == []
        await one.press("w", *"drips", "enter")
        assert source.ordered == [("log", "drips")]


async def test_a_refusal_says_why_and_a_viewer_may_not() -> None:
    source = reading()
    source.outcome = Outcome(False, "this page is not known any more: read it again")
    async with plant((100, 24), source) as one:
        await one.press("t")
        await one.wait(0.5)
        await one.press("enter", "enter")
        assert "read it again" in one.lines("foot")[0]
    viewer = reading(Person("visitor", Role.VIEWER, "lobby"))
    async with plant((100, 24), viewer) as one:
        await one.press("t")
        await one.wait(0.5)
        await one.press("w")
        assert "orders take the operator or the engineer role" in one.lines("foot")[0]
    assert viewer.ordered == []


async def test_a_journal_that_grows_all_the_time_has_the_page_written_now_and_then_only() -> None:
    source = reading()
    async with plant((80, 24), source) as one:
        await one.press("t")
        shown = sites.snapshot()
        for number in range(40):  # 20 s
            await one.hear(replace(shown, gateway=replace(shown.gateway, events=1000 + number)), after=0.5)
        assert 2 <= source.pages_asked <= 3


async def test_a_page_that_did_not_come_is_asked_for_again() -> None:
    source = reading()
    asked = source.handover

    async def fails() -> HandoverView:
        raise LinkRefused("not now")

    source.handover = fails  # type: ignore[method-assign]
    async with plant((100, 24), source) as one:
        await one.press("t")
        await one.wait(0.5)
        assert "not now" in one.lines("foot")[0]
        source.handover = asked  # type: ignore[method-assign]
        for _ in range(5):
            await one.hear(sites.snapshot(), after=2.5)
        assert source.pages_asked == 1
