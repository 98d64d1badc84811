"""What goes out on MQTT after a commit."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Outgoing:
    """One message to publish, QoS 1."""

    topic: str
    payload: bytes
    retain: bool
