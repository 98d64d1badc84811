"""What the rest of the house asks of a transport."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

from edgemon.model.upstream import Item


@dataclass(frozen=True, slots=True)
class Refused:
    """An item that the server does not take, now or later, and why."""

    item: Item
    why: str


class Transport(Protocol):
    """One connection to one server. Raises `LinkDown` wherever nothing can be said of what became of a batch."""

    @property
    def server(self) -> str:
        """Say which of those that may take each other's place answered last; another one may lack what this one confirmed."""
        ...

    async def connect(self) -> None:
        """Connect, or do nothing if connected."""
        ...

    async def send(self, items: Sequence[Item]) -> tuple[Refused, ...]:
        """Send in order; when it returns, the server has durably all that is not named as refused.

        After `LinkDown` all of them may be sent again: the far end knows them by their keys. Sending none makes sure that
        a server answers, where `server` is ever another.
        """
        ...

    async def close(self) -> None:
        """Let go of the connection, whatever state it is in; `connect` makes a new one."""
        ...
