"""What stands under the trend of a level: marks of what happened, and what is read out at the cursor."""

from collections.abc import Sequence

from edgemon.board.theme import Role
from edgemon.board.view import figures
from edgemon.board.view.cells import Row, Span, fit_row, safe
from edgemon.model.instant import Duration
from edgemon.model.snapshot import JournalView, TrendBin, TrendBins

ALARM = "alarm-changed"
BY_PEOPLE = ("baseline-approved", "baseline-retired", "log-written")
KINDS = (ALARM, *BY_PEOPLE)
"""Journal entries that are marked on a trend."""


def column_of(past: TrendBins, event: JournalView, columns: int) -> int:
    """Give the column in which something happened."""
    share = (event.t - past.since) / max(1e-9, past.until - past.since)
    return max(0, min(columns - 1, int(share * columns)))


def mark_row(past: TrendBins, events: Sequence[JournalView], columns: int, width: int) -> Row:
    """Mark under the chart where alarms changed (A) and where people did something (p); both: A."""
    cells = [" "] * columns
    for event in events:
        at = column_of(past, event, columns)
        cells[at] = "A" if event.kind == ALARM or cells[at] == "A" else "p"
    legend = " A alarm p staff"
    return fit_row(
        [Span(" "), Span("".join(cells), Role.BRIGHT), Span(legend[: max(0, width - columns - 1)], Role.DIM)], width, " "
    )


def read_out(past: TrendBins, events: Sequence[JournalView], cursor: int, columns: int, unit: str) -> list[str]:
    """Say what the cursor stands on: the values of its stretch, and the newest of what happened in it."""
    step = (past.until - past.since) / columns
    inside = [one for one in past.bins if one.number * columns // past.columns == cursor]
    said = [f"{figures.stamp(past.since + cursor * step)}: {_values(inside, unit)}"]
    happened = [one for one in events if column_of(past, one, columns) == cursor]
    if happened:
        newest = max(happened, key=lambda one: one.seq)
        more = f" (and {len(happened) - 1} more here)" if len(happened) > 1 else ""
        said.append(f"{figures.stamp(newest.t)} {safe(newest.text, 160)}{more}")
    return said


def facts(past: TrendBins, unit: str) -> str:
    """Sum the whole span up; no value of it is left out."""
    return "no values in this time" if not past.bins else f"in all {_values(past.bins, unit)}"


def _values(bins: Sequence[TrendBin], unit: str) -> str:
    if not bins:
        return "no values"
    count = sum(one.count for one in bins)
    low, high = min(one.low for one in bins), max(one.high for one in bins)
    mean = sum(one.mean * one.count for one in bins) / count
    return f"lowest {low:.4g}, mean {mean:.4g}, highest {high:.4g} {unit}, {count} value{'s' if count != 1 else ''}"


def stretch(seconds: Duration) -> str:
    """Say how long a stretch is, to two figures."""
    for size, word in ((86_400.0, "d"), (3600.0, "h"), (60.0, "min")):
        if seconds >= size:
            return f"{seconds / size:.2g} {word}"
    return f"{seconds:.2g} s"
