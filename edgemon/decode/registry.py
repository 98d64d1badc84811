"""Which function decodes what, and the one entrance: a message in, what it says out, or a `DecodeError`."""

from collections.abc import Callable, Mapping

from edgemon.decode.capture import decode_capture
from edgemon.decode.decoded import Decoded
from edgemon.decode.note import decode_note
from edgemon.decode.readings import decode_readings
from edgemon.decode.spectrum import decode_spectrum
from edgemon.decode.topics import Kind, read_topic
from edgemon.errors import DecodeError, TooLarge, UnknownSensor
from edgemon.model.gateway import InputBorders
from edgemon.model.ids import SensorId
from edgemon.model.machine import Sensor
from edgemon.model.message import Message, Quarantined
from edgemon.model.text import clean

__all__ = ["FORMATS", "FORMAT_OF_TOPIC", "Decoded", "Decoder", "decode", "quarantine"]

Decoder = Callable[[Message, Sensor, InputBorders], Decoded]
"""Decodes the payload of one sensor's message; raises kinds of `DecodeError` only, whatever the bytes are."""

FORMATS: dict[str, Decoder] = {
    "senml": decode_readings,
    "capture": decode_capture,
    "spectrum": decode_spectrum,
}
"""Every payload format, by name; a new one is one more line, and a folder of payloads for the tests."""

FORMAT_OF_TOPIC: dict[Kind, str] = {
    Kind.READING: "senml",
    Kind.CAPTURE: "capture",
    Kind.SPECTRUM: "spectrum",
}
"""The format a sensor's topic carries. Source: message contract, section In."""

HEAD_BYTES = 512
"""Bytes of a refused message that are kept."""
_TOPIC_KEPT = 256
_DETAIL_KEPT = 400


def decode(message: Message, root: str, sensors: Mapping[SensorId, Sensor], borders: InputBorders) -> Decoded:
    """Decode one message as it came.

    Parameters
    ----------
    message : Message
        Any topic, any bytes.
    root : str
        Topic root of the contract.
    sensors : Mapping
        The sensors that the plant file names.
    borders : InputBorders
        What is accepted at most.

    Returns
    -------
    Decoded
        What the message says, in the house's units.

    Raises
    ------
    DecodeError
        One of its kinds, for anything that cannot be used; nothing else is ever raised.
    """
    topic = read_topic(message.topic, root)
    if len(message.payload) > borders.message_bytes:
        raise TooLarge(f"{len(message.payload)} bytes, at most {borders.message_bytes} are taken", message.topic)
    if topic.sensor is None:
        return decode_note(message, borders)
    sensor = sensors.get(topic.sensor)
    if sensor is None:
        raise UnknownSensor(f"sensor {topic.sensor} is not in plant.toml", message.topic, "add it, or correct its topic")
    return FORMATS[FORMAT_OF_TOPIC[topic.kind]](message, sensor, borders)


def quarantine(message: Message, error: DecodeError) -> Quarantined:
    """Keep of a refused message what a person needs to find its sender: cleaned texts, and the first bytes as they came."""
    return Quarantined(
        topic=clean(message.topic, _TOPIC_KEPT),
        head=message.payload[:HEAD_BYTES],
        size=len(message.payload),
        received_at=message.received_at,
        cause=error.cause,
        detail=clean(str(error), _DETAIL_KEPT),
    )
