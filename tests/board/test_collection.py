"""Fast collection on the board: its cost stands before the order, it is shown while it is on, and ended with a reason."""

from dataclasses import replace

import pytest

from edgemon.board.keys import COLLECT
from edgemon.board.memory import MemorySource
from edgemon.board.view.collection import intervals
from edgemon.model.collection import CollectionView, FastView
from edgemon.model.command import Person, Role
from edgemon.model.snapshot import Snapshot
from tests.board.driving import board
from tests.support import sites

ENGINEER = Person("engineer", Role.ENGINEER, "control-room")
SHOWN = CollectionView(300.0, 6400.0, 8192, ("x", "z"), 50.0)
FAST = FastView(sites.NOW, sites.NOW + 7200.0, 60.0, "engineer", "rising")


def whole(shown: CollectionView | None = SHOWN) -> Snapshot:
    one = sites.snapshot()
    return replace(one, sensors=tuple(replace(sensor, collection=shown) for sensor in one.sensors))


@pytest.mark.parametrize("size", [(80, 24), (120, 40), (200, 60)])
async def test_an_engineer_sees_the_cost_and_orders_it_with_a_reason(size: tuple[int, int]) -> None:
    source = MemorySource(ENGINEER)
    async with board(size, source) as one:
        await one.hear(whole(), after=1.0)
        one.app.desk.person = ENGINEER
        await one.press("enter", "enter", COLLECT.key)
        said = one.text()
        assert "every 30 s instead of 300 s" in said
        assert "216 more captures; about 4.3 % of the battery" in said  # 7200/30 - 7200/300; 216/50
        await one.press("enter")
        assert source.ordered == []
        await one.press("down")
        assert "96 more captures; about 1.9 % of the battery" in one.text()
        machine, point = one.app.screen_stack[-2].subject()  # type: ignore[attr-defined]
        await one.press(*"test", "enter")
        await one.wait(0.5)
        assert source.ordered == [("collect faster", f"{machine}/{point}", "60", "7200", "test")]


@pytest.mark.parametrize("size", [(80, 24), (120, 40)])
async def test_what_is_on_is_shown_and_taken_back(size: tuple[int, int]) -> None:
    source = MemorySource(ENGINEER)
    async with board(size, source) as one:
        await one.hear(whole(replace(SHOWN, fast=FAST)), after=1.0)
        one.app.desk.person = ENGINEER
        await one.press("enter", "enter")
        assert "fast collection: every 60 s until" in one.text()
        machine, point = one.app.screen.subject()  # type: ignore[attr-defined]
        await one.press(COLLECT.key)
        assert "End the fast collection" in one.text()
        await one.press(*"seen", "enter")
        await one.wait(0.5)
        assert source.ordered == [("end of faster", f"{machine}/{point}", "seen")]


@pytest.mark.parametrize("size", [(80, 24), (120, 40)])
async def test_an_operator_and_a_sensor_that_is_not_commanded_are_told_why_not(size: tuple[int, int]) -> None:
    source = MemorySource()
    async with board(size, source) as one:
        await one.hear(whole(None), after=1.0)
        one.app.desk.person = MemorySource().person
        await one.press("enter", "enter", COLLECT.key)
        assert "takes the engineer role" in one.lines("foot")[0]
        one.app.desk.person = ENGINEER
        await one.press(COLLECT.key)
        assert "plant.toml" in one.lines("foot")[0]
        assert 'add fs_hz and samples to [[sensor]] "' in one.lines("foot")[0]
        assert source.ordered == []


def test_only_intervals_in_which_a_capture_fits_are_offered() -> None:
    assert intervals(SHOWN) == (30.0, 60.0, 150.0)
    assert intervals(replace(SHOWN, interval_s=6.0)) == (3.0,)  # a capture takes 8192/6400 = 1.28 s; 6/5 = 1.2 s is too short
    fortnight = 14 * 86_400.0
    assert intervals(replace(SHOWN, interval_s=fortnight)) == (fortnight / 10, fortnight / 5, fortnight / 2), "7 days at most"
    assert intervals(replace(SHOWN, interval_s=2 * fortnight)) == (fortnight / 5, fortnight / 2.5)
