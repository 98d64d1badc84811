"""The bounded queue between the socket and the path."""

import asyncio
from collections import deque

from edgemon.errors import ParameterError
from edgemon.mqtt.plan import water_marks
from edgemon.mqtt.port import Delivery


class Inbox:
    """Deliveries that have come and are not yet taken.

    It never refuses one: whoever fills it stops reading while `is_full`, and reads again once `is_low`.

    Parameters
    ----------
    queue : int
        Messages held at most, if the filler heeds `is_full`.
    """

    def __init__(self, queue: int) -> None:
        self._marks = water_marks(queue)
        self._waiting: deque[Delivery] = deque()
        self._filled = asyncio.Event()

    def __len__(self) -> int:
        return len(self._waiting)

    @property
    def is_full(self) -> bool:
        """Say whether the high-water mark is reached."""
        return len(self._waiting) >= self._marks.high

    @property
    def is_low(self) -> bool:
        """Say whether the low-water mark is reached."""
        return len(self._waiting) <= self._marks.low

    def put(self, delivery: Delivery) -> None:
        """Add one, waking whoever waits."""
        self._waiting.append(delivery)
        self._filled.set()

    async def take(self, at_most: int) -> list[Delivery]:
        """Wait until there is one, then take all there are, oldest first, up to `at_most`."""
        if at_most < 1:
            raise ParameterError(f"asked for at most {at_most} messages")
        while not self._waiting:
            self._filled.clear()
            await self._filled.wait()
        return [self._waiting.popleft() for _ in range(min(at_most, len(self._waiting)))]
