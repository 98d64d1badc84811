"""A message of the topic `capture`: one waveform, or one part of one, CBOR map or JSON object."""

import binascii
from collections.abc import Mapping
from typing import Final

import numpy as np

from edgemon.decode.container import Shape, load
from edgemon.decode.decoded import Decoded
from edgemon.decode.fields import as_flag, as_instant, as_number, as_text, as_whole, settle
from edgemon.decode.scaling import capture_unit, check_plausible, si_per_count
from edgemon.errors import OutOfRange, TooLarge, UnknownFormat
from edgemon.model.gateway import InputBorders
from edgemon.model.ids import CaptureId, is_identifier
from edgemon.model.instant import Instant
from edgemon.model.machine import Sensor
from edgemon.model.message import Message
from edgemon.model.reading import CapturePart, Counts
from edgemon.model.text import clean
from edgemon.units import Quantity, to_si

SAMPLE_RATE_HZ: Final = (0.1, 2e6)
"""Sample rates taken, both ends included. Common practice, no source: above it lies no accelerometer."""

LONGEST_ID: Final = 64
MOST_AXES: Final = 16
_MOST_ITEMS: Final = 1024
"""Values in the map, over all levels; unknown fields are ignored, but not without end."""


def decode_capture(message: Message, sensor: Sensor, borders: InputBorders) -> Decoded:
    """Decode one part of a capture (or a whole one: part 1 of 1).

    Parameters
    ----------
    message : Message
        Payload is a CBOR map or a JSON object with the contract's fields.
    sensor : Sensor
        Whose topic it is: sensitivity for `mV`, and whether its clock counts.
    borders : InputBorders
        Bounds of samples, parts and clocks ahead.

    Returns
    -------
    Decoded
        With `part`; the samples are views of the received bytes, not copies, and cannot be written to.

    Raises
    ------
    DecodeError
        One of its kinds; it names the field.
    """
    raw, is_cbor = load(message.payload, Shape.MAP, _MOST_ITEMS)
    if not isinstance(raw, dict):
        raise UnknownFormat("a capture is a map of fields")
    unit = capture_unit(as_text(_required(raw, "u"), "u"), "u")
    scale = as_number(_required(raw, "scale"), "scale")
    number, count = _part(raw.get("part"), borders)
    part = CapturePart(
        sensor=sensor.id,
        id=_id(_required(raw, "id")),
        taken_at=_taken_at(raw, message, sensor, borders),
        received_at=message.received_at,
        fs_hz=_sample_rate(_required(raw, "fs")),
        unit=unit,
        scale=scale,
        si_per_count=si_per_count(scale, unit, sensor, "scale"),
        axes=_axes(_required(raw, "axes"), is_cbor, borders),
        number=number,
        count=count,
        rpm=_rpm(raw.get("rpm")),
        temperature_c=_status(raw, "temp", Quantity.TEMPERATURE),
        battery_pct=_status(raw, "battery", Quantity.CHARGE),
        rssi_dbm=_status(raw, "rssi", Quantity.SIGNAL),
        sim=raw.get("sim") is not None and as_flag(raw["sim"], "sim"),
    )
    return Decoded(part=part, by_arrival=part.taken_at == part.received_at)


def _required(raw: Mapping[object, object], name: str) -> object:
    if raw.get(name) is None:
        raise UnknownFormat("is missing", name, "a capture needs id, t, fs, u, scale and axes")
    return raw[name]


def _id(value: object) -> CaptureId:
    text = as_text(value, "id")
    if not text.strip() or len(text) > LONGEST_ID or clean(text, LONGEST_ID) != text:
        raise OutOfRange(f"{clean(text)!r} is not a capture's name", "id", f"1 to {LONGEST_ID} printable characters")
    return CaptureId(text)


def _taken_at(raw: Mapping[object, object], message: Message, sensor: Sensor, borders: InputBorders) -> Instant:
    if not sensor.clock:
        if raw.get("t") is not None:
            as_instant(raw["t"], "t")
        return settle(None, message, borders.future_skew_s, "t")
    return settle(as_instant(_required(raw, "t"), "t"), message, borders.future_skew_s, "t")


def _sample_rate(value: object) -> float:
    fs_hz = as_number(value, "fs")
    low, high = SAMPLE_RATE_HZ
    if not low <= fs_hz <= high:
        raise OutOfRange(f"{fs_hz:g} Hz is outside {low:g} to {high:g}", "fs")
    return fs_hz


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


def _axes(value: object, is_cbor: bool, borders: InputBorders) -> dict[str, Counts]:
    if not isinstance(value, dict) or not value:
        raise UnknownFormat("must be a map of at least one axis to its samples", "axes")
    if len(value) > MOST_AXES:
        raise TooLarge(f"{len(value)} axes, at most {MOST_AXES} are taken", "axes")
    axes: dict[str, Counts] = {}
    for name, raw in value.items():
        if not isinstance(name, str) or not is_identifier(name):
            raise OutOfRange(f"{clean(str(name))!r} cannot name an axis", "axes", "names are [a-z0-9][a-z0-9_-]{0,62}")
        axes[name] = _samples(raw, is_cbor, f"axes, {name}", borders)
    lengths = {name: len(samples) for name, samples in axes.items()}
    if len(set(lengths.values())) > 1:
        told = ", ".join(f"{name} {length}" for name, length in lengths.items())
        raise OutOfRange(f"axes of different lengths: {told}", "axes")
    return axes


def _samples(value: object, is_cbor: bool, where: str, borders: InputBorders) -> Counts:
    if is_cbor:
        if not isinstance(value, bytes):
            raise UnknownFormat("must be bytes", where)
        data = value
    else:
        data = _base64(as_text(value, where), where)
    if not data or len(data) % 2:
        raise OutOfRange(f"{len(data)} bytes are not a whole number of 16-bit samples", where)
    if len(data) // 2 > borders.samples:
        raise TooLarge(f"{len(data) // 2} samples, at most {borders.samples} are taken", where)
    return np.frombuffer(data, dtype="<i2").astype(np.int16, copy=False)


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


def _status(raw: Mapping[object, object], name: str, quantity: Quantity) -> float | None:
    value = raw.get(name)
    return None if value is None else check_plausible(as_number(value, name), quantity, name)
