"""Time: an instant is UTC seconds since 1970-01-01 as a float; this is the one place that reads and writes it as text."""

import re
from datetime import datetime, timezone
from functools import lru_cache
from typing import TypeAlias

Instant: TypeAlias = float
"""UTC, seconds since 1970-01-01T00:00:00Z without leap seconds (POSIX)."""

Duration: TypeAlias = float
"""Seconds."""

EARLIEST: Instant = 946_684_800.0
"""2000-01-01T00:00:00Z: no wireless sensor took a measurement before it."""

LATEST: Instant = 253_402_300_799.0
"""9999-12-31T23:59:59Z: the last second RFC 3339 can write."""

_RFC_3339 = re.compile(
    r"([0-9]{4}-[0-9]{2}-[0-9]{2})[Tt ]([0-9]{2}:[0-9]{2}):([0-9]{2})(\.[0-9]+)?([Zz]|[+-][0-9]{2}:[0-9]{2})"
)


def parse_instant(text: str) -> Instant:
    """Read an RFC 3339 date-time with its offset; a leap second 60 is read as 59.999999.

    Raises
    ------
    ValueError
        Not RFC 3339, or without an offset.

    Notes
    -----
    Source: RFC 3339 section 5.6; second 60 has no place in POSIX time.
    """
    match = _RFC_3339.fullmatch(text.strip())
    if match is None:
        raise ValueError(f"not an RFC 3339 date-time with its offset: {text!r}")
    date, minute, second, fraction, offset = match.groups(default="")
    if second == "60":
        second, fraction = "59", ".999999"
    return datetime.fromisoformat(f"{date}T{minute}:{second}{fraction[:7]}{offset.upper()}").timestamp()


_TO_SECONDS = len("2026-01-01T00:00:00")


def format_instant(instant: Instant) -> str:
    """Write an instant as RFC 3339 in UTC with milliseconds and `Z`, as the contract publishes it."""
    return _stamp(round(instant * 1000.0))


@lru_cache(maxsize=1024)
def _stamp(milliseconds: int) -> str:
    """Write it; a machine and all its points are said to be of the same instants."""
    seconds, milliseconds = divmod(milliseconds, 1000)
    stamp = datetime.fromtimestamp(seconds, tz=timezone.utc).isoformat()
    return f"{stamp[:_TO_SECONDS]}.{milliseconds:03d}Z"
