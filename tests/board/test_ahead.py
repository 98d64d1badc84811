"""A forecast on the chart of a trend: where it stands is worked out by hand."""

from dataclasses import replace

import pytest

from edgemon.board.theme import ASCII, Look
from edgemon.board.view.ahead import ahead
from edgemon.board.view.cells import row_text, row_width
from edgemon.board.view.chart import chart_of_bins
from edgemon.model.outlook import CrossingView, OutlookView
from edgemon.model.snapshot import TrendBins, TrendPoint
from tests.board.driving import plant
from tests.board.test_point import looking, opened
from tests.support import sites

NOW = sites.NOW
LEVEL = sites.level("velocity_rms", 2.0, 3.5, 5.1)
HOUR = 3600.0
ALERT = CrossingView("alert", 3.5, NOW + 0.25 * HOUR, NOW + 0.5 * HOUR, NOW + 0.9 * HOUR, 0.9, "linear", "", "rises")
NEVER = CrossingView("alarm", 5.1, None, None, None, 0.9, "", "no significant trend", "")
COMING = OutlookView(
    "m", "p", "velocity_rms", "velocity r.m.s.", "mm/s", NOW, 100, {}, None, None, 2.0, None, None, (ALERT, NEVER), False
)
PAST = TrendBins.of(tuple(TrendPoint(NOW - 60.0 * k, 2.0, True) for k in range(180)), NOW - 3 * HOUR, NOW, 63)


def drawn(coming: OutlookView | None, look: Look | None = None, width: int = 101) -> list[str]:
    rows = chart_of_bins(LEVEL, PAST, 0, look or Look(), width, 13, ahead(coming, NOW, 3 * HOUR, 21))
    assert all(row_width(row) == width for row in rows)
    return [row_text(row) for row in rows]


def test_the_interval_lies_along_its_limit_and_the_way_there_goes_through_it() -> None:
    rows = drawn(COMING)
    limit = next(row for row in rows if "alert 3.50" in row)
    future = limit[1 + 63 : 1 + 84]  # three hours are 63 columns, the hour to come 21
    assert [at for at, cell in enumerate(future) if cell in "━┿"] == list(range(int(0.25 * 21), int(0.9 * 21) + 1))
    assert future.index("┿") == int(0.5 * 21)
    dots = {row: [at for at, cell in enumerate(rows[row][64:85]) if cell == "·"] for row in range(12)}
    assert dots[rows.index(limit)] == []  # the way crosses the limit where the line lies
    assert any(at > 10 for row in range(rows.index(limit)) for at in dots[row])  # above it after the likely crossing
    assert all(at < 11 for row in range(rows.index(limit) + 1, 12) for at in dots[row])  # below it before
    assert all(at <= int(0.9 * 21) for row in range(12) for at in dots[row])  # nothing is told of what comes after
    assert "to 07:30:00" in rows[-1]


def test_what_is_not_forecast_takes_no_room() -> None:
    assert ahead(None, NOW, 3 * HOUR, 21) is None
    assert ahead(replace(COMING, forecasts=(NEVER,)), NOW, 3 * HOUR, 21) is None
    assert not any("·" in row for row in drawn(None))


def test_plain_characters_draw_it_too() -> None:
    assert all(row.isascii() for row in drawn(COMING, Look(glyphs=ASCII)))


@pytest.mark.parametrize("size", [(80, 24), (120, 40), (200, 60)])
async def test_the_point_screen_tells_what_is_coming(size: tuple[int, int]) -> None:
    source = looking()
    source.coming = COMING
    async with plant(size, source) as one:
        text = await opened(one)
        assert "forecast alert in 30m (15m to 54m)" in text
        assert "━" in text  # 20 minutes ahead are seen: the interval has begun
        assert "┿" not in text
        await one.press("minus")
        await one.wait(6.0)
        assert "┿" in one.text()
        await one.press("end")
        assert "values" in one.text()
