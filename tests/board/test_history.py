"""The trend of a point over long spans: stretches, marks of what happened, the read-out at the cursor."""

from edgemon.board.theme import Look
from edgemon.board.view import history
from edgemon.board.view.cells import row_text, row_width
from edgemon.board.view.chart import across, chart_of_bins
from edgemon.model.snapshot import JournalView, TrendBin, TrendBins
from tests.board.driving import plant
from tests.board.test_point import looking, opened
from tests.support import sites

LEVEL = sites.level("velocity_rms", 3.0, 3.5, 5.1)
DAYS = 90 * 86_400.0
SINCE = sites.NOW - DAYS
COLUMNS = across(80)


def event(seq: int, column: float, kind: str = history.ALARM, text: str = "pump: alert") -> JournalView:
    return JournalView(seq, SINCE + (column + 0.5) * DAYS / COLUMNS, kind, text)


def test_a_single_high_value_in_ninety_days_is_drawn_and_the_gap_stays_empty() -> None:
    bins = tuple(TrendBin(k, 1.0, 2.0, 9.0 if k == 30 else 2.5, 100) for k in range(COLUMNS) if not 40 <= k < 50)
    rows = chart_of_bins(LEVEL, TrendBins(SINCE, sites.NOW, COLUMNS, bins), 0, Look(), 80, 12)
    text = [row_text(row) for row in rows]
    assert all(row_width(row) == 80 for row in rows)
    assert text[0][1 + 30] in "▁▂▃▄▅▆▇█"
    assert [text[-2][1 + k] for k in (39, 40, 49, 50)] == ["█", " ", " ", "█"]
    assert text[-1].startswith(" 20")  # a date, for the hour alone says nothing here


def test_what_happened_is_marked_in_its_column_and_read_out_there() -> None:
    past = TrendBins(SINCE, sites.NOW, COLUMNS, (TrendBin(5, 1.0, 2.0, 4.0, 3),))
    events = (event(1, 5), event(2, 5, "log-written", "looked at"), event(3, 9, "log-written", "oil \x1b[31mchanged"))
    text = row_text(history.mark_row(past, events, COLUMNS, 80))
    assert (text[1 + 5], text[1 + 9], len(text)) == ("A", "p", 80)
    first, second = history.read_out(past, events, 5, COLUMNS, "mm/s")
    assert "lowest 1, mean 2, highest 4 mm/s, 3 values" in first
    assert "looked at (and 1 more here)" in second
    assert "\x1b" not in "".join(history.read_out(past, events, 9, COLUMNS, "mm/s"))
    assert "no values" in history.read_out(past, events, 9, COLUMNS, "mm/s")[0]


def test_means_are_weighed_by_their_counts() -> None:
    bins = (TrendBin(0, 1.0, 2.0, 3.0, 1), TrendBin(1, 1.0, 6.0, 8.0, 3))
    assert "mean 5, highest 8 mm/s, 4 values" in history.facts(TrendBins(0.0, 1.0, 2, bins), "mm/s")  # (2 + 3 x 6) / 4
    assert history.facts(TrendBins(0.0, 1.0, 2, ()), "mm/s") == "no values in this time"


async def test_wider_goes_to_a_quarter_and_to_all_and_never_asks_for_more_than_is_drawn() -> None:
    source = looking()
    source.entries = (JournalView(1, sites.NOW - 1800.0, history.ALARM, "hp-pump-1: alert"),)
    async with plant((80, 24), source) as one:
        assert "A" in next(line for line in (await opened(one)).splitlines() if "A alarm p staff" in line)[:60]
        said = []
        for _ in range(6):
            await one.press("minus")
            await one.wait(0.5)
            said.append(one.text())
        assert "the last 7 days" in said[2]
        assert "the last 13 weeks" in said[4]
        assert "all there is" in said[5]
        assert {columns for _, columns in source.stretches} == {COLUMNS}
        assert source.stretches[-1][0] is None
        assert source.searched[-1].kinds == history.KINDS
