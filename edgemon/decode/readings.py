"""Resolved SenML records to readings of the contract.

What a record's name means: the text after the last `:` is the name, so that a pack may call its records `velocity_rms`,
`s-0001:velocity_rms` or `urn:dev:mac:0024befffe804ff1:velocity_rms`; the topic alone says which sensor it is. A name
may be led by its axis, as in `x/velocity_rms`; the sensor's own id in that place is left out. A record `sim` that is
true marks the whole pack as simulated. Names that mean nothing here are skipped, and said so.
"""

from collections.abc import Iterable

from edgemon.decode.decoded import Decoded
from edgemon.decode.fields import settle
from edgemon.decode.scaling import value_to_si
from edgemon.decode.senml import Record, read_pack
from edgemon.errors import OutOfRange, UnknownFormat
from edgemon.model.gateway import InputBorders
from edgemon.model.ids import ReadingKey, is_identifier
from edgemon.model.level import LEVEL_KINDS
from edgemon.model.machine import Sensor
from edgemon.model.message import Message
from edgemon.model.reading import Reading
from edgemon.model.text import clean
from edgemon.units import Quantity

NAMES: dict[str, Quantity] = {
    **{name: kind.quantity for name, kind in LEVEL_KINDS.items()},
    "battery": Quantity.CHARGE,
    "rssi": Quantity.SIGNAL,
    "rpm": Quantity.FREQUENCY,
}
"""Names any record may have, and what each measures. Source: message contract, section In."""

_SIMULATED = "sim"


def decode_readings(message: Message, sensor: Sensor, borders: InputBorders) -> Decoded:
    """Decode a message of the topic `reading`.

    Parameters
    ----------
    message : Message
        Payload is a SenML pack, JSON or CBOR.
    sensor : Sensor
        Whose topic it is; without a clock, absolute times count for nothing.
    borders : InputBorders
        Bounds of records and of clocks ahead.

    Returns
    -------
    Decoded
        Readings in the house's units, oldest first, and the names skipped.

    Raises
    ------
    DecodeError
        One of its kinds; it names the record.
    """
    records = read_pack(message.payload, borders.records, message.received_at)
    sim = _is_simulated(records)
    found: dict[ReadingKey, tuple[Reading, float]] = {}
    skipped: list[str] = []
    by_arrival = False
    for record in records:
        axis, name = _meaning(record.name, sensor)
        if (name, axis) == (_SIMULATED, ""):
            continue
        if (name not in NAMES and name not in sensor.levels) or record.value is None:
            skipped.append(clean(record.name))
            continue
        reading = _reading(record, axis, name, message, sensor, borders, sim)
        by_arrival = by_arrival or record.is_relative or reading.taken_at == reading.received_at
        earlier = found.get(reading.key)
        if earlier is not None and earlier[0].value != reading.value:
            if earlier[1] == record.time:
                raise OutOfRange("two values of one name at one time", record.where)
            skipped.append(f"{clean(record.name)} (older, with no usable time)")
        found[reading.key] = (reading, record.time)
    readings = sorted((reading for reading, _ in found.values()), key=lambda reading: reading.taken_at)
    return Decoded(readings=tuple(readings), skipped=tuple(skipped), by_arrival=by_arrival)


def _meaning(full: str, sensor: Sensor) -> tuple[str, str]:
    """Split a record's full name into axis and name; no axis where there is none, and no name where it means nothing."""
    last = full.rpartition(":")[2].removeprefix(f"{sensor.id}/")
    axis, slash, name = last.rpartition("/")
    if slash and not is_identifier(axis):
        return "", ""
    return axis, name


def _is_simulated(records: Iterable[Record]) -> bool:
    sim = False
    for record in records:
        if record.name.rpartition(":")[2] != _SIMULATED:
            continue
        if not isinstance(record.value, bool):
            raise UnknownFormat("must be true or false (vb)", record.where)
        sim = sim or record.value
    return sim


def _reading(
    record: Record, axis: str, name: str, message: Message, sensor: Sensor, borders: InputBorders, sim: bool
) -> Reading:
    quantity = NAMES.get(name) or sensor.levels[name]
    if isinstance(record.value, bool) or not isinstance(record.value, float):
        raise UnknownFormat("must be a number (v)", record.where)
    told = record.time if sensor.clock or record.is_relative else None
    if record.is_relative and message.retained:
        told = None
    return Reading(
        sensor=sensor.id,
        name=name,
        axis=axis,
        taken_at=settle(told, message, borders.future_skew_s, record.where),
        received_at=message.received_at,
        value=value_to_si(record.value, record.unit, quantity, record.where),
        quantity=quantity,
        sim=sim,
    )
