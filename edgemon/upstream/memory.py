"""A server in memory, for tests: takes, refuses and fails as told."""

from collections.abc import Sequence

from edgemon.errors import LinkDown
from edgemon.model.upstream import Item
from edgemon.upstream.port import Refused


class MemoryTransport:
    """Fulfils `port.Transport`.

    Attributes
    ----------
    taken : list[Item]
        All that came, repeats included.
    refusing : set[str]
        Keys that are refused.
    down : bool
        Nothing can be sent.
    deaf : int
        So many batches are taken without being confirmed.
    server : str
        Who it is.
    """

    def __init__(self) -> None:
        self.taken: list[Item] = []
        self.refusing: set[str] = set()
        self.down = False
        self.deaf = 0
        self.server = "memory"

    async def connect(self) -> None:
        """Connect, if the server is there."""
        if self.down:
            raise LinkDown("the server is away")

    async def send(self, items: Sequence[Item]) -> tuple[Refused, ...]:
        """Take all but what is to be refused."""
        await self.connect()
        self.taken += [item for item in items if item.key not in self.refusing]
        if self.deaf:
            self.deaf -= 1
            raise LinkDown("the confirmation was lost")
        return tuple(Refused(item, "not wanted") for item in items if item.key in self.refusing)

    async def close(self) -> None:
        """Let go."""
