"""One field of a message to one plain value, or an error that names the field."""

import math
from decimal import Decimal

from edgemon.errors import OutOfRange, UnknownFormat
from edgemon.model.instant import EARLIEST, Instant, format_instant, parse_instant
from edgemon.model.message import Message
from edgemon.model.text import clean


def as_number(value: object, where: str) -> float:
    """Take an integer, float or decimal fraction as a finite float; UnknownFormat or OutOfRange otherwise."""
    if isinstance(value, bool) or not isinstance(value, int | float | Decimal):
        raise UnknownFormat(f"must be a number, not {_kind(value)}", where)
    try:
        number = float(value)
    except OverflowError:
        number = math.inf
    if not math.isfinite(number):
        raise OutOfRange("not a finite number", where)
    return number


def as_whole(value: object, where: str) -> int:
    """Take an integer; UnknownFormat otherwise."""
    if isinstance(value, bool) or not isinstance(value, int):
        raise UnknownFormat(f"must be an integer, not {_kind(value)}", where)
    return value


def as_text(value: object, where: str) -> str:
    """Take a text as it is, not yet cleaned; UnknownFormat otherwise."""
    if not isinstance(value, str):
        raise UnknownFormat(f"must be text, not {_kind(value)}", where)
    return value


def as_flag(value: object, where: str) -> bool:
    """Take true or false; UnknownFormat otherwise."""
    if not isinstance(value, bool):
        raise UnknownFormat(f"must be true or false, not {_kind(value)}", where)
    return value


def as_instant(value: object, where: str) -> Instant:
    """Take seconds since 1970 or an RFC 3339 text; UnknownFormat or OutOfRange otherwise."""
    if not isinstance(value, str):
        return as_number(value, where)
    try:
        return parse_instant(value)
    except (ValueError, OverflowError):
        raise UnknownFormat(f"{clean(value)!r} is neither a number nor an RFC 3339 date-time with offset", where) from None


def settle(sent: Instant | None, message: Message, skew_s: float, where: str) -> Instant:
    """Decide when something was measured: at the time sent, unless that is missing or lies in the future.

    Parameters
    ----------
    sent : float or None
        What the sensor says; None where it has no clock or said nothing.
    message : Message
        Brings the time of arrival.
    skew_s : float
        How far ahead of the gateway a sensor's clock may be.
    where : str
        The field, for the error.

    Raises
    ------
    OutOfRange
        Earlier than any wireless sensor; or only the time of arrival is left and the message was retained, so
        that an old value would look new.
    """
    if sent is not None and sent < EARLIEST:
        hint = "set the sensor's clock, or say clock = false for it in plant.toml"
        raise OutOfRange(f"{sent:.15g} s is before {format_instant(EARLIEST)}", where, hint)
    if sent is not None and sent <= message.received_at + skew_s:
        return sent
    if message.retained:
        hint = "publish measurements without the retain flag"
        raise OutOfRange("retained, and without a usable time of its own: its age cannot be told", where, hint)
    return message.received_at


def _kind(value: object) -> str:
    names = {bool: "true or false", str: "text", bytes: "bytes", list: "an array", dict: "a map", type(None): "null"}
    return names.get(type(value), "a number" if isinstance(value, int | float | Decimal) else "something else")
