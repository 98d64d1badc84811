"""The search through the whole journal, from the board."""

from dataclasses import replace

import pytest

from edgemon.board.memory import MemorySource
from edgemon.board.view.finding import sought
from edgemon.errors import ParameterError
from edgemon.model.event import EVENT_OF
from edgemon.model.search import Search
from edgemon.model.snapshot import JournalView
from tests.board.driving import plant
from tests.support import sites


def entries(count: int) -> list[JournalView]:
    kinds = ("alarm-changed", "log-written")
    return [JournalView(seq, sites.NOW - count + seq, kinds[seq % 2], f"entry {seq} of HP pump") for seq in range(count, 0, -1)]


def test_what_is_looked_for_is_read_part_by_part() -> None:
    found = sought("Bearing kind:baseline machine:hp-pump-1 by:ann last:2d oil", 1e9)
    baselines = tuple(kind for kind in EVENT_OF if kind.startswith("baseline-"))
    assert found.search == Search(since=1e9 - 172_800.0, kinds=baselines, machine="hp-pump-1", person="ann")
    assert found.words == ("bearing", "oil")
    assert found.is_met(JournalView(1, 0.0, "log-written", "OIL in the bearing"))
    assert not found.is_met(JournalView(1, 0.0, "log-written", "bearing"))
    assert sought("  ", 1e9).search == Search()
    assert sought("06:30", 1e9).words == ("06:30",)


@pytest.mark.parametrize("text", ["kind:", "kind:unicorn", "last:2", "last:h", "last:-1d", "last:999999d", "machine:"])
def test_what_means_nothing_is_refused(text: str) -> None:
    with pytest.raises(ParameterError):
        sought(text, 1e9)


@pytest.mark.parametrize("size", [(80, 24), (120, 40), (200, 60)])
async def test_an_entry_far_back_is_found_by_its_words(size: tuple[int, int]) -> None:
    told = [replace(one, text="Gasket weeps at HP pump") if one.seq == 17 else one for one in entries(5000)]
    async with plant(size, MemorySource(journal=told)) as one:
        await one.press("j", "slash", *"pump", "space", *"gasket", "enter")
        await one.wait(0.5)
        text = one.text()
        assert "Gasket weeps" in text
        assert "1 entry, that is all; search: pump gasket" in text
        await one.press("escape")
        await one.wait(0.5)
        assert "search:" not in one.text()
        assert "entry 5000 of" in one.text()


async def test_older_entries_come_page_by_page_and_a_kind_narrows_at_the_daemon() -> None:
    source = MemorySource(journal=entries(1500))
    async with plant((80, 24), source) as one:
        await one.press("j", "plus")
        await one.wait(0.5)
        assert "600 entries, there may be older ones: +" in one.text()
        await one.press("end")
        assert "entry 901 of" in one.text()
        await one.press("slash", *"kind", "colon", *"log", "enter")
        await one.wait(0.5)
        assert source.searched[-1].kinds == ("log-written",)
        assert "alarm-changed" not in one.text()


async def test_a_search_that_means_nothing_says_why_and_changes_nothing() -> None:
    async with plant((80, 24), MemorySource(journal=entries(20))) as one:
        await one.press("j", "slash", *"kind", "colon", *"zzz", "enter")
        await one.wait(0.5)
        assert "Not searched: " in one.text()
        assert "entry 20 of" in one.text()
