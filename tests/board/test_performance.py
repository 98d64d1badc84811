"""Alarm performance on the board: figures beside what is asked for, every period, nothing cut."""

from dataclasses import replace

import pytest

from edgemon.board.memory import MemorySource
from edgemon.board.screens.performance import ASK_AGAIN_S, RETRY_S
from edgemon.model.performance import Figure, Performance, Share
from tests.board.driving import plant
from tests.support import sites

FIGURES = Performance(
    since=sites.NOW - 86_400.0, until=sites.NOW, sim=True, annunciations=14, after_restart=0, not_announced=5, other=0,
    figures=(
        Figure("average", "annunciations per 10 min, average", 0.0972, "1", "about 1, at most 2", "met", "ISA-18.2-2016"),
        Figure("top", "share of the 10 most frequent alarms", 100.0, "%", "1 to 5 %", "missed", "ISA-18.2-2016 16.4.5"),
    ),
    priorities=(), severities=(), contributors=(Share("booster-3/pump-de-h/velocity_rms\x1b[2J", 12, 0.857),), floods=(),
    chattering=(), fleeting=(), stale=(), remarks=("less than 30 days: the figures are asked for over 30 days at least",),
)  # fmt: skip


@pytest.mark.parametrize("size", [(80, 24), (120, 40), (200, 60)])
async def test_figures_stand_beside_what_is_asked_for(size: tuple[int, int]) -> None:
    source = MemorySource()
    source.figures = FIGURES
    async with plant(size, source) as one:
        await one.press("p")
        await one.wait(0.5)
        text = one.text()
        assert "Alarm performance of the last 24 h" in text
        assert "0.0972  about 1, at most 2     met" in text
        assert "100 %  1 to 5 %               missed" in text
        assert ("ISA-18.2-2016 16.4.5" in text) is (size[0] >= 120)
        assert "booster-3/pump-de-h/velocity_rms" in text
        assert "\x1b" not in text
        assert "…" not in "\n".join(one.lines("body"))


async def test_the_period_is_chosen_and_asked_for_once() -> None:
    source = MemorySource()
    source.figures = FIGURES
    async with plant((100, 30), source) as one:
        await one.press("p")
        await one.wait(0.5)
        await one.press("plus")
        await one.wait(0.5)
        assert "the last 7 days" in one.text()
        await one.press("minus", "minus", "minus")
        await one.wait(0.5)
        assert "the last 8 h" in one.text()
        days = [round((sites.NOW - since) / 86_400.0, 2) for since in source.periods]
        assert days[0] == pytest.approx(1.0, abs=0.01)
        assert days[1] == pytest.approx(7.0, abs=0.01)
        assert days[-1] == pytest.approx(0.33, abs=0.01)
        assert len(days) <= 5


async def test_a_refusal_says_why() -> None:
    async with plant((100, 30), MemorySource()) as one:
        await one.press("p")
        await one.wait(0.5)
        assert "the journal cannot be read" in one.text()


async def test_a_page_left_open_is_counted_anew_and_a_failure_is_not_the_end() -> None:
    source = MemorySource()
    async with plant((100, 30), source) as one:

        async def pass_s(seconds: float) -> None:
            for _ in range(int(seconds / 2.5) + 1):
                await one.hear(sites.snapshot(), after=2.5)

        await one.press("p")
        await one.wait(0.5)
        assert "the journal cannot be read" in one.text()
        source.figures = FIGURES
        await pass_s(RETRY_S)
        assert "0.0972" in one.text()
        source.figures = replace(FIGURES, figures=(replace(FIGURES.figures[0], value=0.5),))
        await pass_s(RETRY_S)
        assert "0.0972" in one.text()
        await pass_s(ASK_AGAIN_S)
        assert "0.5  about 1" in one.text()
        source.figures = None  # refuses
        await pass_s(ASK_AGAIN_S)
        assert "Not counted anew" in one.text()
        assert "0.5  about 1" in one.text()
        source.figures = FIGURES
        await pass_s(RETRY_S)
        assert "Not counted anew" not in one.text()
        assert "0.0972" in one.text()
