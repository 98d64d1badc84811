"""Messages without a usable time of their own keep the time of their first arrival when they are delivered again.

What makes such a message the same one is a checksum of its topic and payload. A sensor may well say the same thing twice
(a battery at 88 %, sent every minute), so that the checksum counts only within half of the sensor's interval after the
first arrival (a minute at most), or, however late, where the broker says that it delivers again. A broker that delivers
again without saying so, later than that, is not recognised: the message is stored a second time, with the later time.
"""

from collections.abc import Iterable
from hashlib import blake2b
from typing import Final

from edgemon.model.alarm import Arrival
from edgemon.model.message import Message

REMEMBERED: Final = 64
"""Arrivals remembered of each sensor: what one sensor may have in two batches that were stored but not acknowledged."""

WITHIN: Final = 0.5
"""Share of the sensor's interval. House choice."""

WITHIN_S: Final = 60.0
"""And never longer: a sensor may say its battery more often than it sends captures. House choice."""


def digest_of(message: Message) -> str:
    """Give the checksum of topic and payload."""
    digest = blake2b(message.topic.encode("utf-8", "surrogatepass") + b"\0", digest_size=8)
    digest.update(message.payload)
    return digest.hexdigest()


def first_arrival(arrivals: Iterable[Arrival], digest: str, message: Message, interval_s: float) -> Arrival | None:
    """Find when a message came first.

    Parameters
    ----------
    arrivals : iterable of Arrival
        What is remembered of its sensor, oldest first.
    digest : str
        `digest_of` the message.
    message : Message
        Brings the time of this arrival, and whether the broker says that it delivers again.
    interval_s : float
        How often the sensor sends.

    Returns
    -------
    Arrival or None
        The newest that it can be a repeat of; None where it is new.
    """
    same = [arrival for arrival in arrivals if arrival.digest == digest]
    if not same:
        return None
    newest = same[-1]
    is_soon = abs(message.received_at - newest.received_at) < min(WITHIN * interval_s, WITHIN_S)
    return newest if message.dup or is_soon else None


def remember(arrivals: tuple[Arrival, ...], new: Iterable[Arrival]) -> tuple[Arrival, ...]:
    """Add to what is remembered; the oldest go."""
    return (*arrivals, *new)[-REMEMBERED:]
