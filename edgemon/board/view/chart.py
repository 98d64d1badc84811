"""One level over time as columns of blocks, on the scale of all bars: the limits stand at the same height for every level.

A level with low limits is drawn the right way up on a scale of its own, its limits as lines across the columns.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from edgemon.board.theme import Look, Role
from edgemon.board.view import figures
from edgemon.board.view.ahead import Ahead, cells
from edgemon.board.view.cells import Row, Span, blank, fit, fit_row
from edgemon.model.instant import Instant
from edgemon.model.limit import Side, good_end
from edgemon.model.snapshot import LevelView, TrendBins, TrendPoint

_MARGIN = 16
_A_DAY = 86_400.0
_LIMIT_AT = {"alarm": figures.ALARM_AT, "alert": figures.ALERT_AT}


def chart(
    level: LevelView, points: Sequence[TrendPoint], since: Instant, until: Instant, look: Look, width: int, height: int
) -> list[Row]:
    """Draw the worst value of each stretch of time: the highest, or under low limits the lowest.

    Limits are broken lines, named and valued at the right.

    A level without limits is drawn on a scale of its own, from nothing to its highest value, which stands at the right.
    """
    return _drawn(level, _ends(level, points, since, until, across(width)), (since, until), look, width, height)


def chart_of_bins(
    level: LevelView, past: TrendBins, cursor: int, look: Look, width: int, height: int, coming: Ahead | None = None
) -> list[Row]:
    """Draw the worst value of each stretch likewise, the cursor's column bright; a stretch without values stays empty.

    To the right of it stands what is forecast.
    """
    ends: list[float | None] = [None] * (across(width) - (coming.columns if coming is not None else 0))
    for one in past.bins:
        at = one.number * len(ends) // past.columns
        ends[at] = _worse(level, ends[at], one.low if level.side is Side.BELOW else one.high)
    return _drawn(level, ends, (past.since, past.until), look, width, height, cursor, coming)


def worst_word(level: LevelView) -> str:
    """Say which value of each stretch is drawn."""
    return "lowest" if level.side is Side.BELOW else "highest"


def _worse(level: LevelView, known: float | None, value: float) -> float:
    return value if known is None else min(known, value) if level.side is Side.BELOW else max(known, value)


def across(width: int) -> int:
    """Give the columns that a chart has."""
    return max(1, width - _MARGIN - 1)


def _drawn(
    level: LevelView,
    ends: Sequence[float | None],
    span: tuple[Instant, Instant],
    look: Look,
    width: int,
    height: int,
    cursor: int | None = None,
    coming: Ahead | None = None,
) -> list[Row]:
    if height < 2 or width < _MARGIN + 8:
        return [blank(width) for _ in range(height)]
    scale = _scale(level, [value for value in ends if value is not None])
    heights = [None if value is None else scale.height(value) for value in ends]
    plot = height - 1
    limits = _limit_rows(scale, plot)
    future = cells(coming, span[1], scale.height, plot, look) if coming is not None else {}
    columns = coming.columns if coming is not None else 0
    rows = []
    for row in range(plot):
        right = "".join(future.get((row, at), look.glyphs.limit if row in limits else " ") for at in range(columns))
        rows.append(_row(row, plot, heights, limits, scale, look, width, cursor, right))
    said_at = figures.clock if span[1] - span[0] <= _A_DAY else figures.stamp
    begin, end = f" {said_at(span[0])}", f"{said_at(span[1])} UTC"
    said = "" if any(value is not None for value in ends) else "  no values in this time"
    axis = fit(begin + said, max(0, len(ends) + 1 - len(end))) + end
    if coming is not None:
        axis += fit(f"to {said_at(coming.until)}", columns, look.glyphs.ellipsis, right=True)
    return [*rows, fit_row([Span(axis, Role.DIM)], width, look.glyphs.ellipsis)]


def _ends(level: LevelView, points: Sequence[TrendPoint], since: Instant, until: Instant, columns: int) -> list[float | None]:
    ends: list[float | None] = [None] * columns
    span = max(1e-9, until - since)
    for point in points:
        cell = int((point.t - since) / span * columns)
        if point.fit and 0 <= cell <= columns:
            cell = min(cell, columns - 1)
            ends[cell] = _worse(level, ends[cell], point.value)
    return ends


@dataclass(frozen=True, slots=True)
class _Scale:
    """How high a value of a level stands, 0 to 1: on the scale of all bars, or straight from bottom to top."""

    level: LevelView
    shared: bool
    bottom: float
    top: float

    def height(self, value: float) -> float:
        if self.shared:
            return figures.place(value, self.level.alert, self.level.alarm) or 0.0
        return max(0.0, (value - self.bottom) / (self.top - self.bottom)) if self.top > self.bottom else 0.0


def _scale(level: LevelView, values: Sequence[float]) -> _Scale:
    """Choose a scale: of its own for a level without limits, and for low ones, from where the bar is empty down to nothing."""
    limits = [one for one in (level.alert, level.alarm) if one is not None]
    if not limits:
        return _Scale(level, False, 0.0, max(values, default=0.0))
    if level.side is not Side.BELOW:
        return _Scale(level, True, 0.0, 0.0)
    best = good_end(level.alert, level.alarm)
    top = max([*limits, *values, *([] if best is None else [best])])
    lowest = min([*limits, *values])
    return _Scale(level, False, 0.0 if lowest > 0.0 else lowest - 0.1 * (top - lowest), top)


def _limit_rows(scale: _Scale, plot: int) -> dict[int, tuple[str, float]]:
    """Give the row of each limit, the upper one first; where both fall into one, the lower one takes the row below."""
    level, rows = scale.level, dict[int, tuple[str, float]]()
    both = [("alarm", level.alarm), ("alert", level.alert)]
    for word, limit in reversed(both) if level.side is Side.BELOW else both:
        if limit is not None:
            at = _LIMIT_AT[word] if scale.shared else scale.height(limit)
            row = max(0, plot - 1 - int(at * plot))
            rows[min(row + (row in rows), plot - 1)] = (word, limit)
    return rows


def _row(
    row: int,
    plot: int,
    heights: Sequence[float | None],
    limits: dict[int, tuple[str, float]],
    scale: _Scale,
    look: Look,
    width: int,
    cursor: int | None,
    right: str,
) -> Row:
    steps, level = look.glyphs.steps, scale.level
    crosses = row in limits and level.side is Side.BELOW
    floor = plot - 1 - row
    role = {"alert": Role.ALERT, "alarm": Role.ALARM}.get(limits[row][0], Role.DIM) if row in limits else Role.DIM
    spans = [Span(" ")]
    for column, height in enumerate(heights):
        eighths = 0 if height is None else round((height * plot - floor) * len(steps))
        if eighths <= 0 and floor == 0 and height is not None:
            eighths = 1
        if crosses and eighths >= len(steps):
            _join(spans, look.glyphs.limit, role)
        elif eighths > 0:
            _join(spans, steps[min(eighths, len(steps)) - 1], Role.BRIGHT if column == cursor else Role.DIM)
        else:
            _join(spans, look.glyphs.limit if row in limits else " ", Role.RULE)
    if right:
        _join(spans, right, Role.NEAR if right.strip(f"{look.glyphs.limit} ") else Role.RULE)
    if row in limits:
        word, limit = limits[row]
        spans.append(Span(f" {word} {figures.limit(limit, level.side)}", role))
    elif row == 0 and not scale.shared and scale.top > scale.bottom:
        spans.append(Span(f" {figures.number(scale.top)}", Role.DIM))
    elif row == plot - 1:
        foot = figures.number(scale.bottom) if scale.bottom else "0"
        spans.append(Span(f" {foot} {figures.unit(level.unit, look.glyphs)}", Role.DIM))
    return fit_row(spans, width, look.glyphs.ellipsis)


def _join(spans: list[Span], text: str, role: Role) -> None:
    if spans[-1].role is role:
        spans[-1] = Span(spans[-1].text + text, role)
    else:
        spans.append(Span(text, role))
