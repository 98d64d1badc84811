"""Messages with QoS 0 that came while the store failed: no broker delivers them again, so they are kept here, bounded.

Once the store works they go through the path again, as if the broker had delivered them twice: stored then, and not judged a
second time. Source: MQTT 5.0, section 4.3.1, at most once.
"""

from collections import deque
from collections.abc import Iterable
from dataclasses import replace

from edgemon.model.message import Message
from edgemon.mqtt.port import Delivery

MOST_BYTES = 16 << 20
MOST = 20_000
"""Messages. House choices: some 170 captures of 3 x 16,384 samples, or hours of readings; a gateway has the memory."""
EPOCH = -2
"""Of what is delivered again from here: no connection of the gateway's own has it, so it is never acknowledged there."""


class Unrepeated:
    """What is kept, oldest first; what does not fit is counted, for it is lost.

    Parameters
    ----------
    most_bytes : int
        Payloads together.
    most : int
        Messages.
    """

    def __init__(self, most_bytes: int = MOST_BYTES, most: int = MOST) -> None:
        self._most_bytes = most_bytes
        self._most = most
        self._kept: deque[Message] = deque()
        self._bytes = 0
        self._lost = 0

    @property
    def lost(self) -> int:
        """Give how many did not fit, as far as that was not told yet."""
        return self._lost

    def __len__(self) -> int:
        return len(self._kept)

    @property
    def messages(self) -> tuple[Message, ...]:
        """Give all that is kept."""
        return tuple(self._kept)

    def keep(self, deliveries: Iterable[Delivery]) -> None:
        """Keep those that nobody delivers again: QoS 0, and heard on the gateway's own connection or kept before."""
        for one in deliveries:
            if one.qos == 0 and (one.epoch >= 0 or one.epoch == EPOCH):
                self._add(one.message)

    def restore(self, messages: Iterable[Message], lost: int) -> None:
        """Keep what another run kept, and what it had to count as lost."""
        self._lost += lost
        for message in messages:
            self._add(message)

    def take(self, at_most: int) -> list[Delivery]:
        """Give the oldest, to be delivered again; they are kept no longer."""
        some = [self._kept.popleft() for _ in range(min(at_most, len(self._kept)))]
        self._bytes -= sum(len(message.payload) for message in some)
        return [Delivery(replace(message, dup=True), EPOCH, 0, 0) for message in some]

    def told(self) -> str:
        """Say what is kept and what did not fit; that is told once."""
        kept = [f"{len(self._kept)} messages with QoS 0, which no broker repeats, were kept and are stored now"]
        lost = [f"{self._lost} more did not fit into memory and are not stored"]
        told = "; ".join((kept if self._kept else []) + (lost if self._lost else []))
        self._lost = 0
        return told

    def _add(self, message: Message) -> None:
        if len(self._kept) >= self._most or self._bytes + len(message.payload) > self._most_bytes:
            self._lost += 1
            return
        self._bytes += len(message.payload)
        self._kept.append(message)
