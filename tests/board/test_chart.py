from edgemon.board.theme import Look
from edgemon.board.view import figures
from edgemon.board.view.cells import row_text, row_width
from edgemon.board.view.chart import chart
from edgemon.model.snapshot import TrendPoint
from tests.support import sites

LEVEL = sites.level("velocity_rms", 6.9, 3.5, 5.1)
SINCE, UNTIL = sites.NOW - 900.0, sites.NOW


def drawn(value: float | None, height: int, width: int = 80) -> list[str]:
    points = () if value is None else tuple(TrendPoint(SINCE + 3.0 * k, value, True) for k in range(300))
    rows = chart(LEVEL, points, SINCE, UNTIL, Look(), width, height)
    assert len(rows) == height
    assert all(row_width(row) == width for row in rows)
    return [row_text(row) for row in rows]


def test_both_limits_are_named_at_every_height_that_is_drawn() -> None:
    for height in range(3, 41):
        text = drawn(None, height)
        rows = [next(n for n, row in enumerate(text) if word in row) for word in ("alarm 5.10", "alert 3.50")]
        assert rows[0] < rows[1] < height - 1, height
        assert "no values in this time" in text[-1]


def test_columns_reach_a_limit_line_exactly_where_the_limit_is_reached() -> None:
    for height in (5, 9, 13, 17, 41):  # the plot is a whole number of quarters high: limits fall between two rows
        plot = height - 1
        at = next(n for n, row in enumerate(drawn(None, height)) if "alert 3.50" in row)
        assert plot - 1 - at == int(figures.ALERT_AT * plot)
        below, beyond = drawn(3.5 * 0.99, height), drawn(3.5 * 1.3, height)
        assert "█" not in below[at]
        assert "╌" in below[at]
        assert any(step in beyond[at] for step in "▁▂▃▄▅▆▇█")


def test_a_value_with_flaws_is_not_drawn() -> None:
    points = (TrendPoint(sites.NOW - 10.0, 9.0, False),)
    text = "\n".join(row_text(row) for row in chart(LEVEL, points, SINCE, UNTIL, Look(), 80, 8))
    assert "█" not in text


def test_a_level_without_limits_has_a_scale_that_can_be_read() -> None:
    level = sites.level("acceleration_peak", 5.65, None, None)
    points = tuple(TrendPoint(SINCE + 3.0 * k, 5.0 + k / 300.0, True) for k in range(300))
    text = [row_text(row) for row in chart(level, points, SINCE, UNTIL, Look(), 80, 9)]
    assert text[0].rstrip().endswith(" 6.00")
    assert " 0 " in text[-2][60:]
