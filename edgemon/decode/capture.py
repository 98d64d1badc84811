"""A message of the topic `capture`: one waveform, or one part of one, CBOR map or JSON object."""

from typing import Final

from edgemon.decode.decoded import Decoded
from edgemon.decode.fields import as_number, as_text
from edgemon.decode.head import Fields
from edgemon.decode.scaling import capture_unit, si_per_count
from edgemon.errors import OutOfRange
from edgemon.model.gateway import InputBorders
from edgemon.model.machine import Sensor
from edgemon.model.message import Message
from edgemon.model.reading import CapturePart

SAMPLE_RATE_HZ: Final = (0.1, 2e6)
"""Sample rates taken, both ends included. Common practice, no source: above it lies no accelerometer."""


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
    fields = Fields(message, "capture", "id, t, fs, u, scale and axes")
    unit = capture_unit(as_text(fields.required("u"), "u"), "u")
    scale = as_number(fields.required("scale"), "scale")
    head = fields.head(sensor, borders)
    part = CapturePart(
        sensor=sensor.id,
        id=head.id,
        taken_at=head.taken_at,
        received_at=message.received_at,
        fs_hz=_sample_rate(fields.required("fs")),
        unit=unit,
        scale=scale,
        si_per_count=si_per_count(scale, unit, sensor, "scale"),
        axes=fields.axes(borders),
        number=head.number,
        count=head.count,
        rpm=head.rpm,
        temperature_c=head.temperature_c,
        battery_pct=head.battery_pct,
        rssi_dbm=head.rssi_dbm,
        sim=head.sim,
    )
    return Decoded(part=part, by_arrival=part.taken_at == part.received_at)


def _sample_rate(value: object) -> float:
    fs_hz = as_number(value, "fs")
    low, high = SAMPLE_RATE_HZ
    if not low <= fs_hz <= high:
        raise OutOfRange(f"{fs_hz:g} Hz is outside {low:g} to {high:g}", "fs")
    return fs_hz
