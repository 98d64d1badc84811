"""What captures and spectra have in common: who, when, which part, the sensor's own condition, and numbers by axis."""

import binascii
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np

from edgemon.decode.container import Shape, load
from edgemon.decode.fields import as_flag, as_instant, as_number, as_text, as_whole, settle
from edgemon.decode.scaling import check_plausible
from edgemon.errors import OutOfRange, TooLarge, UnknownFormat
from edgemon.model.gateway import InputBorders
from edgemon.model.ids import CaptureId, is_identifier
from edgemon.model.instant import Instant
from edgemon.model.machine import Sensor
from edgemon.model.message import Message
from edgemon.model.reading import Counts
from edgemon.model.text import clean
from edgemon.units import Quantity, to_si

LONGEST_ID: Final = 64
MOST_AXES: Final = 16
_MOST_ITEMS: Final = 1024
"""Values in the map, over all levels; unknown fields are ignored, but not without end."""


@dataclass(frozen=True, slots=True)
class Head:
    """The fields of a capture or spectrum that are not its numbers."""

    id: CaptureId
    taken_at: Instant
    number: int
    count: int
    rpm: float | None
    temperature_c: float | None
    battery_pct: float | None
    rssi_dbm: float | None
    sim: bool


class Fields:
    """The map of one message of a capture or a spectrum; every question raises kinds of `DecodeError` that name the field.

    Parameters
    ----------
    message : Message
        Payload is a CBOR map or a JSON object.
    what : str
        `capture` or `spectrum`, for people.
    needs : str
        The fields that must be there, for people.
    """

    def __init__(self, message: Message, what: str, needs: str) -> None:
        raw, self._is_cbor = load(message.payload, Shape.MAP, _MOST_ITEMS)
        if not isinstance(raw, dict):
            raise UnknownFormat(f"a {what} is a map of fields")
        self._raw: Mapping[object, object] = raw
        self._message = message
        self._what = what
        self._needs = needs

    def get(self, name: str) -> object:
        """Give a field as it is; None where it is not there."""
        return self._raw.get(name)

    def required(self, name: str) -> object:
        """Give a field that must be there."""
        value = self._raw.get(name)
        if value is None:
            raise UnknownFormat("is missing", name, f"a {self._what} needs {self._needs}")
        return value

    def head(self, sensor: Sensor, borders: InputBorders) -> Head:
        """Read everything that is not the numbers."""
        number, count = _part(self.get("part"), borders)
        return Head(
            self._id(),
            self._taken_at(sensor, borders),
            number,
            count,
            _rpm(self.get("rpm")),
            self._status("temp", Quantity.TEMPERATURE),
            self._status("battery", Quantity.CHARGE),
            self._status("rssi", Quantity.SIGNAL),
            self.get("sim") is not None and as_flag(self.get("sim"), "sim"),
        )

    def axes(self, borders: InputBorders, words: int = 1, item: str = "samples") -> dict[str, Counts]:
        """Read the numbers of each axis: `words` 16-bit words each, read-only views of what came."""
        value = self.required("axes")
        if not isinstance(value, dict) or not value:
            raise UnknownFormat(f"must be a map of at least one axis to its {item}", "axes")
        if len(value) > MOST_AXES:
            raise TooLarge(f"{len(value)} axes, at most {MOST_AXES} are taken", "axes")
        axes: dict[str, Counts] = {}
        for name, raw in value.items():
            if not isinstance(name, str) or not is_identifier(name):
                raise OutOfRange(f"{clean(str(name))!r} cannot name an axis", "axes", "names are [a-z0-9][a-z0-9_-]{0,62}")
            axes[name] = self._numbers(raw, f"axes, {name}", borders.samples, words, item)
        lengths = {name: len(numbers) // words for name, numbers in axes.items()}
        if len(set(lengths.values())) > 1:
            told = ", ".join(f"{name} {length}" for name, length in lengths.items())
            raise OutOfRange(f"axes of different lengths: {told}", "axes")
        return axes

    def _numbers(self, value: object, where: str, most: int, words: int, item: str) -> Counts:
        if self._is_cbor:
            if not isinstance(value, bytes):
                raise UnknownFormat("must be bytes", where)
            data = value
        else:
            data = _base64(as_text(value, where), where)
        if not data or len(data) % (2 * words):
            raise OutOfRange(f"{len(data)} bytes are not a whole number of {16 * words}-bit {item}", where)
        if len(data) // (2 * words) > most:
            raise TooLarge(f"{len(data) // (2 * words)} {item}, at most {most} are taken", where)
        return np.frombuffer(data, dtype="<i2").astype(np.int16, copy=False)

    def _id(self) -> CaptureId:
        text = as_text(self.required("id"), "id")
        if not text.strip() or len(text) > LONGEST_ID or clean(text, LONGEST_ID) != text:
            what = f"{clean(text)!r} is not a {self._what}'s name"
            raise OutOfRange(what, "id", f"1 to {LONGEST_ID} printable characters")
        return CaptureId(text)

    def _taken_at(self, sensor: Sensor, borders: InputBorders) -> Instant:
        if not sensor.clock:
            if self.get("t") is not None:
                as_instant(self.get("t"), "t")
            return settle(None, self._message, borders.future_skew_s, "t")
        return settle(as_instant(self.required("t"), "t"), self._message, borders.future_skew_s, "t")

    def _status(self, name: str, quantity: Quantity) -> float | None:
        value = self.get(name)
        return None if value is None else check_plausible(as_number(value, name), quantity, name)


def _part(value: object, borders: InputBorders) -> tuple[int, int]:
    if value is None:
        return 1, 1
    if not isinstance(value, list) or len(value) != 2:
        raise UnknownFormat("must be [k, n]", "part")
    number, count = as_whole(value[0], "part"), as_whole(value[1], "part")
    if count > borders.parts:
        raise TooLarge(f"{count} parts, at most {borders.parts} are taken", "part")
    if not 1 <= number <= count:
        raise OutOfRange(f"part {number} of {count}", "part", "parts are numbered from 1 to n")
    return number, count


def _base64(text: str, where: str) -> bytes:
    """Read base64 with padding and nothing else (RFC 4648 section 4)."""
    try:
        return binascii.a2b_base64(text, strict_mode=True)
    except ValueError:
        raise UnknownFormat("must be base64 with padding and no other characters", where) from None


def _rpm(value: object) -> float | None:
    if value is None:
        return None
    rpm = as_number(value, "rpm")
    check_plausible(to_si(rpm, "r/min"), Quantity.FREQUENCY, "rpm")
    return rpm
