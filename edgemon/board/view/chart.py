"""One level over time as columns of blocks, on the scale of all bars: the limits stand at the same height for every level."""

from collections.abc import Sequence

from edgemon.board.theme import Look, Role
from edgemon.board.view import figures
from edgemon.board.view.cells import Row, Span, blank, fit, fit_row
from edgemon.model.instant import Instant
from edgemon.model.snapshot import LevelView, TrendBins, TrendPoint

_MARGIN = 16
_A_DAY = 86_400.0


def chart(
    level: LevelView, points: Sequence[TrendPoint], since: Instant, until: Instant, look: Look, width: int, height: int
) -> list[Row]:
    """Draw the highest value of each stretch of time; limits as broken lines, named and valued at the right.

    A level without limits is drawn on a scale of its own, from nothing to its highest value.
    """
    return _drawn(level, _tops(points, since, until, across(width)), (since, until), look, width, height)


def chart_of_bins(level: LevelView, past: TrendBins, cursor: int, look: Look, width: int, height: int) -> list[Row]:
    """Draw the highest value of each stretch likewise, the cursor's column bright; a stretch without values stays empty."""
    tops: list[float | None] = [None] * across(width)
    for one in past.bins:
        at = one.number * len(tops) // past.columns
        known = tops[at]
        tops[at] = one.high if known is None else max(known, one.high)
    return _drawn(level, tops, (past.since, past.until), look, width, height, cursor)


def across(width: int) -> int:
    """Give the columns that a chart has."""
    return max(1, width - _MARGIN - 1)


def _drawn(
    level: LevelView,
    tops: Sequence[float | None],
    span: tuple[Instant, Instant],
    look: Look,
    width: int,
    height: int,
    cursor: int | None = None,
) -> list[Row]:
    if height < 2 or width < _MARGIN + 8:
        return [blank(width) for _ in range(height)]
    top = max([value for value in tops if value is not None], default=0.0)
    own = level.alert is None and level.alarm is None
    heights = [None if value is None else _height(value, level, top, own) for value in tops]
    plot = height - 1
    limits = {} if own else _limit_rows(level, plot)
    rows = [_row(row, plot, heights, limits, level, look, width, cursor) for row in range(plot)]
    said_at = figures.clock if span[1] - span[0] <= _A_DAY else figures.stamp
    ends = f" {said_at(span[0])}", f"{said_at(span[1])} UTC"
    said = "" if any(value is not None for value in tops) else "  no values in this time"
    axis = fit(ends[0] + said, max(0, len(tops) + 1 - len(ends[1]))) + ends[1]
    return [*rows, fit_row([Span(axis, Role.DIM)], width, look.glyphs.ellipsis)]


def _tops(points: Sequence[TrendPoint], since: Instant, until: Instant, columns: int) -> list[float | None]:
    tops: list[float | None] = [None] * columns
    span = max(1e-9, until - since)
    for point in points:
        cell = int((point.t - since) / span * columns)
        if point.fit and 0 <= cell <= columns:
            cell = min(cell, columns - 1)
            known = tops[cell]
            tops[cell] = point.value if known is None else max(known, point.value)
    return tops


def _height(value: float, level: LevelView, top: float, own: bool) -> float:
    if own:
        return max(0.0, value / top) if top > 0.0 else 0.0
    return figures.place(value, level.alert, level.alarm) or 0.0


def _limit_rows(level: LevelView, plot: int) -> dict[int, tuple[str, float]]:
    """Give the row of each limit; where both fall into one, the alert limit takes the row below."""
    rows: dict[int, tuple[str, float]] = {}
    for word, limit, at in (("alarm", level.alarm, figures.ALARM_AT), ("alert", level.alert, figures.ALERT_AT)):
        row = max(0, plot - 1 - int(at * plot))
        if limit is not None:
            rows[min(row + (row in rows), plot - 1)] = (word, limit)
    return rows


def _row(
    row: int,
    plot: int,
    heights: Sequence[float | None],
    limits: dict[int, tuple[str, float]],
    level: LevelView,
    look: Look,
    width: int,
    cursor: int | None,
) -> Row:
    steps = look.glyphs.steps
    floor = plot - 1 - row
    role = {"alert": Role.ALERT, "alarm": Role.ALARM}.get(limits[row][0], Role.DIM) if row in limits else Role.DIM
    spans = [Span(" ")]
    for column, height in enumerate(heights):
        eighths = 0 if height is None else round((height * plot - floor) * len(steps))
        if eighths <= 0 and floor == 0 and height is not None:
            eighths = 1
        if eighths > 0:
            _join(spans, steps[min(eighths, len(steps)) - 1], Role.BRIGHT if column == cursor else Role.DIM)
        else:
            _join(spans, look.glyphs.limit if row in limits else " ", Role.RULE)
    if row in limits:
        word, limit = limits[row]
        spans.append(Span(f" {word} {figures.number(limit)}", role))
    elif row == plot - 1:
        spans.append(Span(f" 0 {figures.unit(level.unit, look.glyphs)}", Role.DIM))
    return fit_row(spans, width, look.glyphs.ellipsis)


def _join(spans: list[Span], text: str, role: Role) -> None:
    if spans[-1].role is role:
        spans[-1] = Span(spans[-1].text + text, role)
    else:
        spans.append(Span(text, role))
