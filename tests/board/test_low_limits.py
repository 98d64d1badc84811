"""A low limit wherever the board shows one: marked as such, near as it is, and drawn the right way up."""

from dataclasses import replace

import pytest

from edgemon.board.theme import Look, Show
from edgemon.board.view import alarms, figures, status
from edgemon.board.view.cells import row_text
from edgemon.board.view.chart import chart, chart_of_bins
from edgemon.board.view.detail import detail
from edgemon.board.view.lead import lead
from edgemon.board.view.machine import body
from edgemon.model.snapshot import TrendBins, TrendPoint
from tests.board import low
from tests.support import sites

SINCE, UNTIL = sites.NOW - 900.0, sites.NOW


def drawn(past: tuple[TrendPoint, ...] = low.PAST, height: int = 13) -> list[str]:
    return [row_text(row) for row in chart(low.level(3.0), past, SINCE, UNTIL, Look(), 100, height)]


def test_the_limits_stand_under_good_values_the_alarm_below_the_alert() -> None:
    rows = drawn()
    alert, alarm = (next(n for n, row in enumerate(rows) if word in row) for word in ("alert <6.00", "alarm <4.00"))
    assert alert < alarm < len(rows) - 1
    assert rows[alarm][1] == "╌"  # the line goes across the columns of good values
    first, last = ([row[column] for row in rows[:-1]] for column in (1, 82))
    assert sum(cell in "▁▂▃▄▅▆▇█" for cell in first) > sum(cell in "▁▂▃▄▅▆▇█" for cell in last)


def test_of_each_stretch_the_lowest_value_is_drawn() -> None:
    dip = tuple(TrendPoint(SINCE + 3.0 * k, 2.0 if k == 150 else 9.0, True) for k in range(300))
    rows = drawn(dip)
    heights = [sum(row[column] != " " and row[column] != "╌" for row in rows[:-1]) for column in range(1, 83)]
    assert min(heights[40:43]) < heights[0]
    bins = TrendBins.of(dip, SINCE, UNTIL, 83)
    assert [row_text(row) for row in chart_of_bins(low.level(3.0), bins, -1, Look(), 100, 13)] == rows


def test_limits_below_zero_have_room_under_them() -> None:
    cold = low.level(-3.0, 0.0, -10.0, "Cel")
    text = [row_text(row) for row in chart(cold, (), SINCE, UNTIL, Look(), 80, 9)]
    assert next(n for n, row in enumerate(text) if "alarm <-10" in row) < 8


@pytest.mark.parametrize(
    ("value", "shows"),
    [
        # by hand: good end 4 + 2 / 0.375 = 9.333; near from 9.333 - 0.8 x (9.333 - 6) = 6.667
        (6.68, Show.NORMAL),
        (6.66, Show.NEAR),
        (6.0, Show.ALERT),
        (4.0, Show.ALARM),
    ],
)
def test_how_it_shows(value: float, shows: Show) -> None:
    assert status.of_machine(low.machine(value)) is shows


def test_a_cold_point_is_near_within_five_kelvin() -> None:
    point = low.machine(9.0).points[0]
    for value, near in ((15.1, False), (15.0, True), (10.5, True)):
        assert bool(status.near_levels(replace(point, levels=(low.level(value, 10.0, 5.0, "Cel"),)))) is near


def test_the_bar_grows_as_the_value_falls() -> None:
    places = [figures.place(value, low.ALERT, low.ALARM, low.level(1.0).side) for value in (9.4, 8.0, 6.0, 5.0, 4.0, 1.0)]
    assert None not in places
    assert places == sorted(places)  # type: ignore[type-var]
    assert (places[0], places[2], places[4]) == (0.0, figures.ALERT_AT, figures.ALARM_AT)


def test_a_low_limit_is_marked_wherever_it_is_written() -> None:
    machine, look = low.machine(3.0), Look()
    texts = "\n".join(row_text(row) for _, row in body(machine, None, look, 120))
    assert "<6.00" in texts
    assert "<4.00" in texts
    assert "alert <6.00  alarm <4.00" in "\n".join(row_text(row) for row in detail(machine, "", sites.NOW, look, 120))
    (listed,) = alarms.listed([machine])
    assert "limit <4.00" in "\n".join(row_text(row) for row in alarms.below(listed, sites.NOW, look, 120))
    worst = lead(machine)
    assert worst is not None
    assert worst.ratio == pytest.approx((9.0 + 1 / 3 - 3.0) / (9.0 + 1 / 3 - 4.0))
