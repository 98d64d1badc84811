"""What the rest of the house asks of an MQTT link."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

from edgemon.model.instant import Instant
from edgemon.model.message import Message
from edgemon.model.outgoing import Outgoing


@dataclass(frozen=True, slots=True)
class Delivery:
    """A message and how to acknowledge it: packet ids mean something only within one connection (its epoch)."""

    message: Message
    epoch: int
    packet_id: int
    qos: int


@dataclass(frozen=True, slots=True)
class LinkStatus:
    """How the link is."""

    up: bool
    detail: str
    """For people: `connected to 127.0.0.1:1883`, or why not."""
    since: Instant
    waiting: int
    """Deliveries in the queue, not yet taken."""
    connections: int
    """How often a connection was made."""


class Link(Protocol):
    """One link to one broker; keeps itself connected until stopped."""

    async def start(self) -> None:
        """Begin to connect; returns at once."""
        ...

    async def stop(self) -> None:
        """Publish what waits (briefly), disconnect in order."""
        ...

    async def receive(self, at_most: int) -> list[Delivery]:
        """Wait for a message, then take all that have come, up to `at_most`."""
        ...

    def acknowledge(self, deliveries: Sequence[Delivery]) -> None:
        """Acknowledge to the broker; deliveries of an earlier connection are left to come again."""
        ...

    async def renew(self, why: str) -> None:
        """End this connection in order and make another: what is not acknowledged comes again. Returns at once."""
        ...

    async def publish(self, outgoing: Outgoing) -> None:
        """Hand to the broker and wait until it has it (QoS 1). Raises `LinkDown` if the link is or goes down."""
        ...

    @property
    def status(self) -> LinkStatus:
        """How the link is now."""
        ...
