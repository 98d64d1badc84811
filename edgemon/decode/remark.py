"""Recorded messages made fit to be played again: marked as simulated, their times moved; nothing else changes.

What is written back is what was read: samples to the byte, numbers to the bit, texts to the character, unknown fields too.
Only the spelling may differ (white space of JSON, widths of numbers in CBOR).
"""

import json
from collections.abc import Callable
from typing import Any, Final, TypeAlias

import cbor2

from edgemon.decode.container import Shape, load
from edgemon.decode.fields import as_instant, as_number
from edgemon.decode.senml import CBOR_LABELS, RELATIVE_BELOW
from edgemon.errors import UnknownFormat
from edgemon.model.instant import Instant

Shift: TypeAlias = Callable[[Instant], Instant]
"""Old time to new; the same for the same, so that repeats stay repeats and parts stay together."""

MOST_ITEMS: Final = 65_536
"""Values in one message, over all levels."""

_LABELS: Final = {name: label for label, name in CBOR_LABELS.items()}


def remark_capture(payload: bytes, mark: bool, shift: Shift | None) -> bytes:
    """Mark a capture or spectrum, or a part of one, as simulated and move its time.

    Parameters
    ----------
    payload : bytes
        CBOR map or JSON object of the topic `capture` or `spectrum`.
    mark : bool
        Set `sim`.
    shift : callable or None
        Moves `t`; None leaves it.

    Returns
    -------
    bytes
        In the same encoding.

    Raises
    ------
    DecodeError
        One of its kinds: not a capture that could be marked.
    """
    fields, is_cbor = load(payload, Shape.MAP, MOST_ITEMS)
    if not isinstance(fields, dict):
        raise UnknownFormat("a capture is a map of fields")
    if mark:
        fields["sim"] = True
    if shift is not None and fields.get("t") is not None:
        fields["t"] = _rounded(shift(as_instant(fields["t"], "t")))
    return _dump(fields, is_cbor)


def remark_reading(payload: bytes, mark: bool, shift: Shift | None) -> bytes:
    """Mark a SenML pack as simulated and move its absolute times; times relative to arrival stay.

    Parameters
    ----------
    payload : bytes
        CBOR or JSON pack of the topic `reading`.
    mark : bool
        Append the record `sim`, true.
    shift : callable or None
        Moves the resolved time of each record, base time included; None leaves them.

    Returns
    -------
    bytes
        In the same encoding.

    Raises
    ------
    DecodeError
        One of its kinds: not a pack that could be marked.
    """
    pack, is_cbor = load(payload, Shape.ARRAY, MOST_ITEMS)
    if not isinstance(pack, list) or not all(isinstance(record, dict) for record in pack):
        raise UnknownFormat("a pack is a list of records")
    labels: dict[str, Any] = _LABELS if is_cbor else {name: name for name in _LABELS}
    if shift is not None:
        _shift_pack(pack, labels, shift)
    if mark:
        # An empty base name takes back what an earlier record may have set.
        pack.append({labels["bn"]: "", labels["n"]: "sim", labels["vb"]: True})
    return _dump(pack, is_cbor)


def _shift_pack(pack: list[dict[Any, object]], labels: dict[str, Any], shift: Shift) -> None:
    """Write every time as one absolute number of its record. Source: RFC 8428 section 4.5.3."""
    base, base_label, time_label = 0.0, labels["bt"], labels["t"]
    own = {label for name, label in labels.items() if not name.startswith("b")}
    for number, record in enumerate(pack, start=1):
        if base_label in record:
            base = as_number(record[base_label], f"record {number}, bt")
            record[base_label] = 0
        if own.isdisjoint(record):
            continue  # base fields alone measure nothing
        time = base + as_number(record.get(time_label, 0), f"record {number}, t")
        if time >= RELATIVE_BELOW:
            record[time_label] = _rounded(shift(time))
        elif time != 0.0:
            record[time_label] = time


def _rounded(instant: Instant) -> Instant:
    return round(instant, 6)


def _dump(value: object, is_cbor: bool) -> bytes:
    return cbor2.dumps(value) if is_cbor else json.dumps(value, ensure_ascii=False, separators=(",", ":")).encode()
