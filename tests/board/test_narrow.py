"""Small terminals: what matters most stays, whatever else has to go."""

import pytest

from tests.board.driving import plant
from tests.support import sites


async def test_counts_and_who_calls_stay_in_the_banner_of_a_narrow_terminal() -> None:
    async with plant((40, 12), still=True) as one:
        first, second = one.lines("banner")
        assert "■1  ▲1  ?1  ▸1" in first
        assert "06:30:00 UTC" in first
        assert "SIMULATED DATA" in second
        assert "■2! Booster pump 3" in second
        assert "Booster pump 3       alarm" in one.text()


async def test_at_20_by_5_the_counts_and_the_machine_or_alarm_selected_are_left() -> None:
    async with plant((20, 5), still=True) as one:
        assert "■1  ▲1  ?1  ▸1" in one.lines("banner")[0]
        assert any("■2" in line and "alarm" in line for line in one.lines("body"))
        await one.press("l")
        assert "›■2! Boo" in one.lines("body")[1]
        await one.press("down")
        assert "›▲1  High" in one.lines("body")[1]
        await one.pilot.click("#body", offset=(5, 1))
        assert "›▲1  High" in one.lines("body")[1]


@pytest.mark.parametrize("size", [(80, 24), (120, 40), (200, 94)])
async def test_a_page_tells_how_much_of_it_lies_below(size: tuple[int, int]) -> None:
    async with plant(size) as one:
        await one.press("question_mark")
        fits = size == (200, 94)
        assert ("more ▾" in one.lines("body")[-1]) is not fits
        await one.press("end")
        assert "more ▾" not in one.text()
        assert "that this one is." in one.text()


@pytest.mark.parametrize("width", [80, 120, 200])
async def test_nothing_of_help_and_footers_is_cut(width: int) -> None:
    async with plant((width, 100)) as one:
        for key in ("question_mark", "l", "j", "n"):
            assert "…" not in one.lines("foot")[0]
            await one.press(key)
            if key == "question_mark":
                assert "…" not in one.text()


async def test_a_machine_of_many_levels_tells_how_many_lie_below_and_cuts_no_bar() -> None:
    async with plant((80, 24)) as one:
        await one.hear(sites.snapshot([sites.machine(8)]), after=1.0)
        await one.press("enter")
        assert "more ▾" in one.lines("body")[1]
        for _ in range(6):
            await one.press("down")
            row = next(line for line in one.lines("body") if "›" in line)
            assert row.rstrip().endswith("─")
        await one.press("end")
        assert "more ▾" not in one.text()


async def test_where_only_some_machines_are_simulated_their_alarms_say_so() -> None:
    async with plant((120, 40)) as one:
        await one.press("l")
        assert not any("simulated" in line for line in one.lines("body")[:6])
        await one.hear(sites.snapshot([sites.machine(12, True), sites.machine(8)]), after=1.0)
        assert "simulated" in one.line("Booster pump 3")
        assert "simulated" not in one.line("High-pressure pump 3")
