"""Topics of the message contract that come in, and what they name; everything else is refused."""

from dataclasses import dataclass
from enum import StrEnum

from edgemon.errors import UnknownTopic
from edgemon.model.ids import SensorId, is_identifier
from edgemon.model.text import clean

_TOPIC_SHOWN = 200
"""Characters of a refused topic that are shown; MQTT allows 65,535 bytes."""


class Kind(StrEnum):
    """What a topic carries; the value is its last level."""

    READING = "reading"
    CAPTURE = "capture"
    SPECTRUM = "spectrum"
    SIMULATION = "simulation"


@dataclass(frozen=True, slots=True)
class Topic:
    """The parts of a topic below the root."""

    kind: Kind
    sensor: SensorId | None = None
    """None for the one topic that belongs to no sensor."""


_OF_SENSOR = {kind.value: kind for kind in (Kind.READING, Kind.CAPTURE, Kind.SPECTRUM)}


def subscriptions(root: str) -> tuple[str, ...]:
    """Give the filters that together match every topic that comes in, each exactly once."""
    return (*(f"{root}/sensor/+/{name}" for name in _OF_SENSOR), f"{root}/{Kind.SIMULATION}")


def read_topic(text: str, root: str) -> Topic:
    """Take a topic apart.

    Raises
    ------
    UnknownTopic
        Not below the root, not one of the four forms, or an identifier outside the contract's alphabet.
    """
    if not text.startswith(f"{root}/"):
        raise UnknownTopic(f"not below {root}/", clean(text, _TOPIC_SHOWN))
    levels = text[len(root) + 1 :].split("/")
    if levels == [Kind.SIMULATION.value]:
        return Topic(Kind.SIMULATION)
    if len(levels) != 3 or levels[0] != "sensor" or levels[2] not in _OF_SENSOR:
        hint = f"sensors publish to {root}/sensor/<sensor>/reading, .../capture and .../spectrum"
        raise UnknownTopic("not a topic of the message contract", clean(text, _TOPIC_SHOWN), hint)
    if not is_identifier(levels[1]):
        hint = "identifiers are [a-z0-9][a-z0-9_-]{0,62}"
        raise UnknownTopic(f"{clean(levels[1])!r} is not an identifier", clean(text, _TOPIC_SHOWN), hint)
    return Topic(_OF_SENSOR[levels[2]], SensorId(levels[1]))
