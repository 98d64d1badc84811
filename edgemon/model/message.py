"""The MQTT message as it came."""

from dataclasses import dataclass

from edgemon.model.instant import Instant


@dataclass(frozen=True, slots=True)
class Message:
    """One message, untouched: nothing in it has been looked at yet."""

    topic: str
    payload: bytes
    received_at: Instant
    retained: bool = False
    dup: bool = False
    """The broker says that it delivers again; some brokers do so without saying it. Source: MQTT 5.0, section 3.3.1.1."""


@dataclass(frozen=True, slots=True)
class Quarantined:
    """A message that could not be used, kept for inspection: its first bytes, and why."""

    topic: str
    head: bytes
    size: int
    received_at: Instant
    cause: str
    detail: str
