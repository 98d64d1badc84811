"""What the store takes of its budget: on the status line only where somebody must know, on the sensors' page always."""

import pytest

from edgemon.board.picture import Picture
from edgemon.board.theme import Look, Role
from edgemon.board.view.banner import summary, troubles
from edgemon.cli.status import lines
from edgemon.model.retention import KeepView
from edgemon.model.snapshot import Snapshot
from tests.board.driving import plant
from tests.support import sites

BUDGET = 64_000_000
CASES = {
    # used, short, dropped: on the status line
    "half full": (32_000_000, 0, 0, None),
    "near, and nothing went yet": (61_500_000, 0, 0, ("store at 96 % of its budget", Role.NO_DATA)),
    "at its budget, the oldest go": (64_000_000, 0, 12, None),
    "its log is long for a moment": (66_000_000, 0, 12, None),
    "over": (80_000_000, 0, 12, ("store at 125 % of its budget", Role.NO_DATA_FILL)),
    "nothing may go": (65_000_000, 900_000, 0, ("store at 102 % of its budget, nothing may go", Role.NO_DATA_FILL)),
}


def shown(used: int, short: int, dropped: int, budget: int = BUDGET) -> Snapshot:
    return sites.snapshot(store_bytes=used, keep=KeepView(budget, short, {"normal": dropped}))


@pytest.mark.parametrize("name", CASES)
def test_the_status_line_says_it_only_where_somebody_must_know(name: str) -> None:
    used, short, dropped, told = CASES[name]
    snapshot = shown(used, short, dropped)
    picture = Picture(gateway=snapshot.gateway, lost=None)
    found = [one for one in troubles(picture, summary(snapshot.machines), Look()) if "budget" in one[0]]
    assert found == ([] if told is None else [told])


def test_a_budget_that_is_not_known_yet_is_no_trouble() -> None:
    snapshot = shown(80_000_000, 0, 0, budget=0)
    assert "budget" not in str(troubles(Picture(gateway=snapshot.gateway, lost=None), summary(snapshot.machines), Look()))
    assert "store: 80.0 MB" in lines(snapshot)


def test_status_gives_the_share() -> None:
    assert "store: 32.0 MB of 64.0 MB, 50 %" in lines(shown(32_000_000, 0, 0))
    assert "store: 61.5 MB of 64.0 MB, 96 %, NEAR ITS BUDGET" in lines(shown(61_500_000, 0, 0))
    over = "store: 80.0 MB of 64.0 MB, 125 %, OVER ITS BUDGET, 3 captures dropped since the start"
    assert over in lines(shown(80_000_000, 0, 3))


@pytest.mark.parametrize("size", [(80, 24), (120, 40), (200, 60)])
async def test_the_page_of_the_sensors_says_it_always(size: tuple[int, int]) -> None:
    async with plant(size) as one:
        await one.hear(shown(32_000_000, 0, 7), after=1.0)
        await one.press("e")
        assert one.lines("body")[1].startswith(" Store of the gateway: 32.0 of 64.0 MB, 50 %; 7 captures dropped")
