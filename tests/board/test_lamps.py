"""The board's share of a lamp test: at every board that is attached, for as long as the test lasts."""

import pytest
from textual.app import App

from edgemon.board.memory import MemorySource
from edgemon.board.port import Lost
from edgemon.board.screens.alarms import AlarmsScreen
from edgemon.board.screens.lamps import BELL_S, LASTS_S, LONGEST_S, LampsScreen
from edgemon.board.theme import MARKS
from edgemon.model.snapshot import Change
from tests.board.driving import Board, plant
from tests.support import sites

TEST_S = 10.0


@pytest.fixture(autouse=True)
def bells(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Every bell that is rung."""
    rung: list[str] = []
    monkeypatch.setattr(App, "bell", lambda self: rung.append("bell"))
    return rung


def under_test(at: float = sites.NOW, until: float | None = None) -> Change:
    """The gateway says that somebody tests."""
    until = sites.NOW + TEST_S if until is None else until
    return Change(sites.gateway(at, test_until=until if at < until else None, test_by="kim, workshop"))


def is_tested(one: Board) -> bool:
    return isinstance(one.app.screen, LampsScreen)


@pytest.mark.parametrize("size", [(80, 24), (120, 40), (200, 60)])
async def test_every_mark_is_shown_marked_as_a_test_beside_what_is_real_and_it_ends_by_itself(size: tuple[int, int]) -> None:
    async with plant(size, MemorySource()) as one:
        await one.press("k", "enter")
        await one.wait(0.5)
        assert is_tested(one)
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


async def test_a_test_ordered_elsewhere_is_shown_here_with_who_ordered_it_and_ends_where_the_operator_was(
    bells: list[str],
) -> None:
    async with plant((80, 24), MemorySource()) as one:
        await one.press("l")
        rung = len(bells)
        await one.hear(under_test())
        assert is_tested(one)
        for second in range(1, 10):
            await one.hear(under_test(sites.NOW + second), after=1.0)
            assert is_tested(one)
            assert "Ordered by kim, workshop." in one.text()
            assert "TEST of horn and beacon" in one.lines("banner")[1]
        assert len(bells) - rung == TEST_S / BELL_S, "the bell sounds for all of it"
        await one.wait(1.0)
        await one.hear(under_test(sites.NOW + TEST_S + 0.5))
        assert isinstance(one.app.screen, AlarmsScreen)
        await one.wait(5.0)
        assert isinstance(one.app.screen, AlarmsScreen), "it does not come back"


async def test_a_board_that_is_attached_in_the_middle_shows_what_is_left() -> None:
    async with plant((80, 24), MemorySource()) as one:
        await one.hear(under_test(sites.NOW + 7.0))
        assert is_tested(one)
        await one.hear(under_test(sites.NOW + 9.0), after=2.0)
        await one.wait(1.0)
        assert not is_tested(one)


async def test_left_by_hand_it_is_not_forced_upon_the_operator_again_but_the_next_test_is_shown() -> None:
    async with plant((80, 24), MemorySource()) as one:
        await one.hear(under_test())
        await one.press("escape")
        await one.hear(under_test(sites.NOW + 2.0))
        assert not is_tested(one)
        assert "TEST of horn and beacon" in one.lines("banner")[1]
        await one.hear(under_test(sites.NOW + 60.0, sites.NOW + 60.0 + TEST_S))
        assert is_tested(one)


async def test_it_survives_a_lost_connection_and_ends_without_one() -> None:
    async with plant((80, 24), MemorySource()) as one:
        await one.hear(under_test())
        await one.hear(Lost("no daemon answers"))
        assert is_tested(one)
        assert "LAMP TEST" in one.text()
        assert "NO CONNECTION" in one.lines("banner")[1]
        assert "TEST of horn" not in one.lines("banner")[1], "whether the horn still sounds is not known"
        await one.wait(TEST_S)
        await one.wait(0.5)
        assert not is_tested(one)


async def test_a_connection_that_comes_back_during_the_test_neither_ends_nor_repeats_it() -> None:
    async with plant((80, 24), MemorySource()) as one:
        await one.hear(under_test())
        await one.hear(Lost("no daemon answers"), after=3.0)
        await one.hear(sites.snapshot(test_until=sites.NOW + TEST_S), after=1.0)
        assert is_tested(one)
        await one.wait(6.0)
        await one.wait(0.5)
        assert not is_tested(one)
        await one.hear(under_test(sites.NOW + 9.0), after=1.0)
        assert not is_tested(one)


async def test_what_somebody_is_typing_is_not_taken_away() -> None:
    async with plant((80, 24), MemorySource()) as one:
        await one.press("c")
        await one.hear(under_test())
        assert "Silence the horn?" in "\n".join(one.lines("question"))
        await one.press("escape")
        await one.wait(0.5)
        assert is_tested(one), "the test is still on"


async def test_a_test_without_an_end_gives_the_screen_back() -> None:
    async with plant((80, 24), MemorySource()) as one:
        await one.hear(under_test(sites.NOW, sites.NOW + 1e9))
        await one.wait(LONGEST_S)
        await one.wait(0.5)
        assert not is_tested(one)
