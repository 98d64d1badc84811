"""Baseline and forecast on the machine screen, asked for once the level is selected."""

from dataclasses import replace

import pytest

from edgemon.board.memory import MemorySource
from edgemon.board.screens.machine import MachineScreen
from tests.board.driving import plant
from tests.board.test_outlook_view import COMING, KNOWN, NONE, coming
from tests.support import sites


@pytest.mark.parametrize("size", [(80, 24), (120, 40), (200, 60)])
async def test_the_level_selected_has_its_baseline_and_forecast(size: tuple[int, int]) -> None:
    source = MemorySource()
    source.coming = coming(COMING, NONE)
    source.known = tuple(
        replace(KNOWN, machine=machine.id, point=point.point, level=level.name)
        for machine in sites.snapshot().machines
        for point in machine.points
        for level in point.levels
    )
    async with plant(size, source) as board:
        await board.press("enter")
        await board.wait(0.5)
        assert isinstance(board.app.screen, MachineScreen)
        page = board.text()
        assert "baseline in force since 2023-11-14: 1.00 mm/s" in page
        assert "forecast alert in 3h (2h to 10h)" in page
