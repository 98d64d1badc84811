"""SenML packs (RFC 8428) to resolved records: base fields applied, times absolute, exactly one value each."""

import base64
import binascii
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final, TypeAlias

from edgemon.decode.container import Shape, load
from edgemon.decode.fields import as_flag, as_number, as_text, as_whole
from edgemon.errors import OutOfRange, TooLarge, UnknownFormat
from edgemon.model.instant import Instant
from edgemon.model.text import clean

RELATIVE_BELOW: Final = float(2**28)
"""Times below it count from now, in seconds, negative for the past. Source: RFC 8428 section 4.5.3."""

VERSION: Final = 10
"""The version understood. Source: RFC 8428 section 4.4."""

CBOR_LABELS: Final[dict[int, str]] = {
    -1: "bver",
    -2: "bn",
    -3: "bt",
    -4: "bu",
    -5: "bv",
    -6: "bs",
    0: "n",
    1: "u",
    2: "v",
    3: "vs",
    4: "vb",
    5: "s",
    6: "t",
    7: "ut",
    8: "vd",
}
"""Integer labels; the list is conclusive. Source: RFC 8428 section 6, Table 4."""

Value: TypeAlias = float | str | bool | bytes | None

_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9:./_-]*")
_LONGEST_NAME = 255
_FIELDS_PER_RECORD = 24
_VALUES = ("v", "vs", "vb", "vd")
_BASE = frozenset({"bver", "bn", "bt", "bu", "bv", "bs"})
_OF_ONE_RECORD = frozenset({"n", "u", "t", "ut", "s", *_VALUES})
"""A record with base fields and none of these measures nothing; RFC 8428 section 5.1.7 begins a pack with one."""


@dataclass(frozen=True, slots=True)
class Record:
    """One resolved record."""

    number: int
    """Its place in the pack as sent, from 1, for messages to people."""
    name: str
    """Base name and name, in the alphabet of RFC 8428 section 4.5.1."""
    unit: str
    """Empty where none was sent."""
    time: Instant
    is_relative: bool
    """The time was counted from now, by a sensor that does not tell the time of day."""
    value: Value
    """None in a record that only has a sum."""
    sum: float | None = None

    @property
    def where(self) -> str:
        """Name the record for people."""
        return f"record {self.number} ({clean(self.name)})"


@dataclass(slots=True)
class _Base:
    """Base fields in force; each applies to its record and all after it until it is set again."""

    name: str = ""
    time: float = 0.0
    unit: str = ""
    value: float = 0.0
    sum: float | None = None
    version: int = field(default=VERSION)


def read_pack(payload: bytes, most_records: int, now: Instant) -> tuple[Record, ...]:
    """Read a pack, JSON or CBOR, and resolve it.

    Parameters
    ----------
    payload : bytes
        The pack.
    most_records : int
        Records allowed.
    now : float
        What relative times count from: the time of arrival.

    Returns
    -------
    tuple of Record
        In chronological order; records of the same time in the order sent.

    Raises
    ------
    DecodeError
        One of its kinds, whatever the bytes are; it names the record.
    """
    pack, is_cbor = load(payload, Shape.ARRAY, 2 * _FIELDS_PER_RECORD * most_records)
    if not isinstance(pack, list) or not pack:
        raise UnknownFormat("a pack has at least one record")
    if len(pack) > most_records:
        raise TooLarge(f"{len(pack)} records, at most {most_records} are taken")
    base = _Base()
    resolved = []
    for number, raw in enumerate(pack, start=1):
        if not isinstance(raw, dict):
            raise UnknownFormat("a record must be a map", f"record {number}")
        fields = _labelled(raw, is_cbor, number)
        _rebase(fields, base, f"record {number}")
        if _OF_ONE_RECORD & fields.keys() or not _BASE & fields.keys():
            resolved.append(_resolve(fields, base, number, is_cbor, now))
    return tuple(sorted(resolved, key=lambda record: record.time))


def _labelled(raw: Mapping[object, object], is_cbor: bool, number: int) -> dict[str, object]:
    """Give the fields under their JSON labels; unknown ones stay out, those that must be understood are refused."""
    known: dict[str, object] = {}
    for key, value in raw.items():
        if isinstance(key, str):
            if key.endswith("_"):
                raise UnknownFormat(f"field {clean(key)!r} must be understood and is not", f"record {number}")
            if not is_cbor:
                known[key] = value
        elif isinstance(key, int) and not isinstance(key, bool) and key in CBOR_LABELS:
            known[CBOR_LABELS[key]] = value
    return known


def _resolve(raw: dict[str, object], base: _Base, number: int, is_cbor: bool, now: Instant) -> Record:
    where = f"record {number}"
    name = base.name + as_text(raw.get("n", ""), f"{where}, n")
    if _NAME.fullmatch(name) is None or len(name) > _LONGEST_NAME:
        raise UnknownFormat(f"{clean(name)!r} is not a name", where, "letters, digits and - : . / _, first a letter or digit")
    where = f"{where} ({clean(name)})"
    time = base.time + as_number(raw.get("t", 0), f"{where}, t")
    if "ut" in raw:
        as_number(raw["ut"], f"{where}, ut")
    total = as_number(raw["s"], f"{where}, s") if "s" in raw else None
    if base.sum is not None:
        total = base.sum + (total or 0.0)
    is_relative = time < RELATIVE_BELOW
    return Record(
        number=number,
        name=name,
        unit=as_text(raw["u"], f"{where}, u") if "u" in raw else base.unit,
        time=now + time if is_relative else time,
        is_relative=is_relative,
        value=_value(raw, base, total is not None, is_cbor, where),
        sum=total,
    )


def _rebase(raw: dict[str, object], base: _Base, where: str) -> None:
    """Take over the base fields of a record."""
    if "bver" in raw:
        base.version = as_whole(raw["bver"], f"{where}, bver")
        if not 0 < base.version <= VERSION:
            raise OutOfRange(f"version {base.version} of SenML, at most {VERSION} is understood", f"{where}, bver")
    if "bn" in raw:
        base.name = as_text(raw["bn"], f"{where}, bn")
    if "bu" in raw:
        base.unit = as_text(raw["bu"], f"{where}, bu")
    if "bt" in raw:
        base.time = as_number(raw["bt"], f"{where}, bt")
    if "bv" in raw:
        base.value = as_number(raw["bv"], f"{where}, bv")
    if "bs" in raw:
        base.sum = as_number(raw["bs"], f"{where}, bs")


def _value(raw: dict[str, object], base: _Base, has_sum: bool, is_cbor: bool, where: str) -> Value:
    """Give the one value of a record; only a record with a sum may have none."""
    present = [label for label in _VALUES if label in raw]
    if len(present) > 1 or (not present and not has_sum):
        found = ", ".join(present) or "none"
        raise UnknownFormat(f"needs exactly one of v, vs, vb, vd; found {found}", where)
    if not present:
        return None
    label = present[0]
    value, place = raw[label], f"{where}, {label}"
    if label == "v":
        return as_number(as_number(value, place) + base.value, place)
    if label == "vs":
        return as_text(value, place)
    if label == "vb":
        return as_flag(value, place)
    return _data(value, is_cbor, place)


def _data(value: object, is_cbor: bool, where: str) -> bytes:
    """Read a data value: bytes in CBOR, base64url without padding in JSON (RFC 8428 section 5)."""
    if is_cbor:
        if not isinstance(value, bytes):
            raise UnknownFormat("must be bytes", where)
        return value
    text = as_text(value, where)
    if re.fullmatch(r"[A-Za-z0-9_-]*", text) is None:
        raise UnknownFormat("must be base64url without padding", where)
    try:
        return base64.urlsafe_b64decode(text + "=" * (-len(text) % 4))
    except binascii.Error:
        raise UnknownFormat("must be base64url without padding", where) from None
