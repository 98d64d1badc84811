"""CBOR from strangers: the shape is walked and bounded before cbor2 builds a single value.

A few bytes of CBOR can announce billions of items, nest without end, refer to themselves, or name a number with a
billion digits. Payloads of the contract need none of that, so the walk allows only definite-length items, a shallow
tree, a bounded number of items, and one tag: the decimal fraction, with a small exponent.
"""

from typing import Final

import cbor2

from edgemon.errors import DecodeError, OutOfRange, TooLarge, Truncated, UnknownFormat

DEEPEST: Final = 5
"""Nesting allowed; a SenML pack of decimal fractions has 4: array, map, tag, array."""

LARGEST_EXPONENT: Final = 350
"""Of a decimal fraction, either sign; binary64 ends near 10**308 and 10**-324."""

_DECIMAL_FRACTION: Final = 4
_ARRAY, _MAP, _TAG, _SIMPLE = 4, 5, 6, 7


def load_cbor(payload: bytes, most_items: int) -> object:
    """Read one CBOR data item that fills the payload.

    Parameters
    ----------
    payload : bytes
        The whole item, nothing after it.
    most_items : int
        Data items allowed, counted over all levels; bounds time and memory.

    Returns
    -------
    object
        int, float, Decimal, bool, None, str, bytes, list or dict.

    Raises
    ------
    Truncated
        Fewer bytes than announced.
    TooLarge
        More items, or deeper, than allowed.
    OutOfRange
        A decimal fraction's exponent beyond what any number needs.
    UnknownFormat
        Not well-formed, or a construct that payloads of the contract do not use.

    Notes
    -----
    Source: RFC 8949 section 3 and Appendix C (well-formedness); section 3.4.4 (decimal fractions).
    """
    _walk(payload, most_items)
    try:
        return cbor2.loads(payload, max_depth=2 * DEEPEST, allow_indefinite=False, allow_duplicate_keys=False)
    except (cbor2.CBORError, ValueError, TypeError, ArithmeticError) as error:
        cause = error.__cause__ or error
        raise UnknownFormat(f"CBOR that cannot be read: {str(cause)[:120]}") from None


def _walk(payload: bytes, most_items: int) -> None:
    """Go over every head once, without recursion and without building anything."""
    at, items, due = 0, 0, [1]
    while due:
        if due[-1] == 0:
            due.pop()
            continue
        due[-1] -= 1
        items += 1
        if items > most_items:
            raise TooLarge(f"more than {most_items} items", f"byte {at}")
        start = at
        major, argument, at = _head(payload, at)
        if major in (2, 3):
            _require(payload, at, argument)
            at += argument
        elif major in (_ARRAY, _MAP, _TAG):
            inside = 1 if major == _TAG else argument if major == _ARRAY else 2 * argument
            if major == _TAG:
                _check_tag(payload, start, at, argument)
            _require(payload, at, inside)  # every item takes a byte at least
            if len(due) > DEEPEST:
                raise TooLarge(f"nested deeper than {DEEPEST}", f"byte {at}")
            due.append(inside)
    if at != len(payload):
        raise UnknownFormat(f"{len(payload) - at} bytes after the end of the message", f"byte {at}")


def _head(payload: bytes, at: int) -> tuple[int, int, int]:
    """Read one head: major type, argument, and where the content starts."""
    _require(payload, at, 1)
    major, info = payload[at] >> 5, payload[at] & 31
    at += 1
    if info < 24:
        if major == _SIMPLE and not 20 <= info <= 23:
            raise _unused("an unassigned simple value", at - 1)
        return major, info, at
    if info == 31:
        raise _unused("an item of indefinite length", at - 1)
    if info > 27 or (major == _SIMPLE and info == 24):
        raise _unused("a reserved or unassigned head", at - 1)
    width = 1 << (info - 24)
    _require(payload, at, width)
    return major, int.from_bytes(payload[at : at + width]), at + width


def _check_tag(payload: bytes, start: int, at: int, tag: int) -> None:
    """Allow a decimal fraction with a small exponent, nothing else."""
    if tag != _DECIMAL_FRACTION:
        raise _unused(f"tag {tag}", start)
    _require(payload, at, 1)
    if payload[at] != 0x82:
        raise UnknownFormat("a decimal fraction that is not an array of two", f"byte {at}")
    major, size, _ = _head(payload, at + 1)
    if major > 1:
        raise UnknownFormat("a decimal fraction whose exponent is not an integer", f"byte {at + 1}")
    if size > LARGEST_EXPONENT:
        raise OutOfRange(f"a decimal fraction with an exponent beyond {LARGEST_EXPONENT}", f"byte {at + 1}")


def _require(payload: bytes, at: int, size: int) -> None:
    missing = at + size - len(payload)
    if missing > 0:
        raise Truncated(f"ends at byte {len(payload)}, at least {missing} bytes early", f"byte {at}")


def _unused(what: str, at: int) -> DecodeError:
    hint = "use definite lengths, plain numbers, and no tag but decimal fractions (4)"
    return UnknownFormat(f"{what}, which messages of the contract do not use", f"byte {at}", hint)
