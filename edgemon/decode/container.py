"""Bytes to plain values: JSON or CBOR, told apart by the first byte, bounded before anything is built."""

import json
from enum import Enum
from typing import NoReturn

from edgemon.decode.cbor import load_cbor
from edgemon.errors import DecodeError, OutOfRange, TooLarge, Truncated, UnknownFormat
from edgemon.model.text import clean


class Shape(Enum):
    """The outermost item a payload must be: its name, how it starts in JSON, its CBOR major type."""

    ARRAY = ("array", "[", 4)
    MAP = ("map", "{", 5)


def load(payload: bytes, shape: Shape, most_items: int) -> tuple[object, bool]:
    """Read a payload that is JSON or CBOR.

    Parameters
    ----------
    payload : bytes
        Everything the message carried.
    shape : Shape
        What the outermost item must be.
    most_items : int
        Values allowed over all levels; bounds time and memory.

    Returns
    -------
    (object, bool)
        A list or dict as the shape says, and whether it came as CBOR.

    Raises
    ------
    DecodeError
        One of its kinds, whatever the bytes are.

    Notes
    -----
    No first byte fits both: JSON's brackets and white space are text strings and integers in CBOR.
    """
    if not payload:
        raise Truncated("empty message")
    name, opening, major = shape.value
    first = payload[0]
    if first >> 5 == major:
        return load_cbor(payload, most_items), True
    if payload.lstrip(b" \t\r\n")[:1] == opening.encode():
        return load_json(payload, most_items), False
    raise UnknownFormat(f"starts with byte 0x{first:02x}: neither JSON ({opening}) nor a CBOR {name} of definite length")


def load_json(payload: bytes, most_items: int) -> object:
    """Read JSON in UTF-8 (RFC 8259), with unique names and without NaN or infinity.

    Raises
    ------
    DecodeError
        One of its kinds, whatever the bytes are.
    """
    # Every value but the first follows one of these; counting also those in strings errs on the safe side.
    if payload.count(b",") + payload.count(b"[") + payload.count(b"{") + payload.count(b":") > 2 * most_items:
        raise TooLarge(f"more than {most_items} items")
    try:
        text = payload.decode()
        return json.loads(text, parse_constant=_no_number, object_pairs_hook=_unique)
    except UnicodeDecodeError as error:
        raise UnknownFormat(f"not UTF-8: {error.reason}", f"byte {error.start}") from None
    except json.JSONDecodeError as error:
        kind: type[DecodeError] = UnknownFormat
        if error.pos >= len(text.rstrip()) or error.msg.startswith("Unterminated"):
            kind = Truncated
        raise kind(f"not JSON: {error.msg}", f"line {error.lineno}, column {error.colno}") from None
    except RecursionError:
        raise TooLarge("nested too deep") from None
    except ValueError:
        raise OutOfRange("a number with more digits than any measurement has") from None


def _no_number(name: str) -> NoReturn:
    raise OutOfRange(f"{name} is not a number")


def _unique(pairs: list[tuple[str, object]]) -> dict[str, object]:
    members = dict(pairs)
    if len(members) != len(pairs):
        names = [name for name, _ in pairs]
        twice = next(name for name in names if names.count(name) > 1)
        raise UnknownFormat(f"{clean(twice)!r} appears twice in one object")
    return members
