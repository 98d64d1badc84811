"""Items as rows of a database: the columns of `sql.COLUMNS`, in their order. Pure."""

import base64
import json
from datetime import datetime, timezone
from typing import Any, TypeAlias

from edgemon.model.instant import Instant, parse_instant
from edgemon.model.upstream import Item, Source

Row: TypeAlias = tuple[Any, ...]
Month: TypeAlias = tuple[int, int]
"""Year and month of UTC."""


def row_of(item: Item) -> Row:
    """Make the row of an item.

    Raises
    ------
    ValueError
        The item's document is not what its source promises.
    """
    try:
        document = json.loads(item.body)
        head = (item.key, item.t, document["site"], document["gateway"], item.sim)
        return (*head, *_ROWS[item.source](document))
    except KeyError as error:
        raise ValueError(f"its document has no {error}") from error
    except (TypeError, AttributeError, LookupError) as error:
        raise ValueError(f"its document is not as expected: {error}") from error


def month_of(instant: Instant) -> Month | None:
    """Say in which month an instant lies; None where no calendar has it."""
    try:
        stamp = datetime.fromtimestamp(instant, tz=timezone.utc)
    except (ValueError, OverflowError, OSError):
        return None
    return stamp.year, stamp.month


def _reading(document: dict[str, Any]) -> Row:
    about = (document.get("machine"), document.get("point"), document.get("sensor"))
    return (*about, document["name"], document["value"], document["unit"], document["fit"])


def _capture(document: dict[str, Any]) -> Row:
    axes = document["axes"]
    samples = [base64.b64decode(text, validate=True) for text in axes.values()]
    facts = tuple(document[name] for name in ("sensor", "id", "fs", "u", "scale", "rpm", "spectrum", "missing_parts"))
    return (*facts, list(axes), samples)


def _entry(document: dict[str, Any]) -> Row:
    entry = document["entry"]
    at = (entry["seq"], parse_instant(entry["t"]))
    about = (entry["kind"], entry.get("machine"), entry.get("point"))
    return (*at, *about, json.dumps(entry, ensure_ascii=False), entry.get("hash", ""))


def _finding(document: dict[str, Any]) -> Row:
    entry = document["entry"]
    best = entry["findings"][0] if entry["findings"] else {}
    at = (entry["seq"], parse_instant(entry["t"]))
    about = tuple(entry[name] for name in ("machine", "point", "capture", "verdict"))
    return (*at, *about, best.get("fault"), best.get("confidence"), json.dumps(entry, ensure_ascii=False))


_ROWS = {
    Source.READINGS: _reading,
    Source.CAPTURES: _capture,
    Source.JOURNAL: _entry,
    Source.FINDINGS: _finding,
}
