"""The board's share of a lamp test."""

import pytest

from edgemon.board.memory import MemorySource
from edgemon.board.screens.lamps import LASTS_S, LampsScreen
from edgemon.board.theme import MARKS
from tests.board.driving import plant


@pytest.mark.parametrize("size", [(80, 24), (120, 40), (200, 60)])
async def test_every_mark_is_shown_marked_as_a_test_beside_what_is_real_and_it_ends_by_itself(size: tuple[int, int]) -> None:
    async with plant(size, MemorySource()) as one:
        await one.press("k", "enter")
        await one.wait(0.5)
        assert isinstance(one.app.screen, LampsScreen)
        text = one.text()
        assert "nothing below is real; the two lines above are." in text
        assert "…" not in "".join(one.lines("body"))
        assert all(mark.word in text for mark in MARKS.values())
        assert "more" not in one.lines("body")[-1]
        assert "to acknowledge: " in one.lines("banner")[1]  # what is real stays visible
        assert "Booster" in one.lines("banner")[1]
        await one.wait(LASTS_S)
        await one.wait(0.5)
        assert "LAMP TEST" not in one.text()


async def test_a_no_tests_nothing() -> None:
    source = MemorySource()
    async with plant((80, 24), source) as one:
        await one.press("k", "escape")
        await one.wait(0.5)
        assert "LAMP TEST" not in one.text()
        assert source.ordered == []
