"""A forecast beside the trend: where the level is heading, and when it may cross a limit, in cells of the chart."""

from collections.abc import Callable
from dataclasses import dataclass

from edgemon.board.theme import Look
from edgemon.model.instant import Duration, Instant
from edgemon.model.outlook import CrossingView, OutlookView

SHARE = 4
"""One part in so many of the chart shows what is to come, where anything is forecast."""


@dataclass(frozen=True, slots=True)
class Ahead:
    """What is to come, for a span that begins where the past ends."""

    columns: int
    until: Instant
    crossings: tuple[CrossingView, ...]
    value: float
    """The newest one in like conditions, from which the way ahead is drawn."""
    made_at: Instant


def told(coming: OutlookView | None) -> tuple[CrossingView, ...]:
    """Give the crossings that are forecast with an interval."""
    return () if coming is None else tuple(one for one in coming.forecasts if one.likely is not None and not one.reason)


def ahead(coming: OutlookView | None, now: Instant, past_s: Duration, columns: int) -> Ahead | None:
    """Give what is drawn to the right of a past of so many seconds; None where nothing is forecast or there is no room."""
    crossings = told(coming)
    if coming is None or coming.value is None or not crossings or columns < 4:
        return None
    return Ahead(columns, now + past_s / (SHARE - 1), crossings, coming.value, coming.made_at)


def cells(one: Ahead, since: Instant, height: Callable[[float], float], plot: int, look: Look) -> dict[tuple[int, int], str]:
    """Give what stands in which cell, by row from the top and column.

    Dots lead from the newest value through the nearest crossing to its latest instant, straight or exponential as its
    model; along the row of a limit a line goes from the earliest to the latest crossing, with a tick at the likely one.
    """
    found: dict[tuple[int, int], str] = {}
    step = (one.until - since) / one.columns

    def row(value: float) -> int:
        return max(0, min(plot - 1, plot - 1 - int(height(value) * plot)))

    def column(t: Instant) -> int:
        return int((t - since) / step)

    first = min(one.crossings, key=lambda crossing: crossing.likely or 0.0)
    for at in range(min(one.columns, column(first.latest or first.likely or since) + 1)):
        found[row(_value(one, first, since + (at + 0.5) * step)), at] = look.glyphs.dot
    for crossing in one.crossings:
        if crossing.earliest is None or crossing.likely is None or crossing.latest is None:
            continue
        for at in range(max(0, column(crossing.earliest)), min(one.columns - 1, column(crossing.latest)) + 1):
            found[row(crossing.limit), at] = look.glyphs.tick_filled if at == column(crossing.likely) else look.glyphs.fill
    return found


def _value(one: Ahead, crossing: CrossingView, t: Instant) -> float:
    share = (t - one.made_at) / max(1.0, (crossing.likely or t) - one.made_at)
    if crossing.model == "exponential" and one.value > 0.0 and crossing.limit > 0.0:
        return float(one.value * (crossing.limit / one.value) ** min(share, 10.0))
    return one.value + (crossing.limit - one.value) * share
