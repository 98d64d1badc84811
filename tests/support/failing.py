"""A store in memory that fails as disks do: for what takes space, or for everything."""

from edgemon.errors import StoreError, StoreFull
from edgemon.model.event import JournalEntry
from edgemon.store.memory import MemoryStore
from edgemon.store.port import Commit


class FailingStore(MemoryStore):
    """Refuses captures and readings while `is_full`, everything while `is_dead`."""

    is_full = False
    is_dead = False

    async def commit(self, commit: Commit) -> tuple[JournalEntry, ...]:
        """Store everything, or nothing."""
        is_heavy = bool(commit.captures or commit.parts or commit.readings or commit.measurements)
        if self.is_dead:
            raise StoreError("Input/output error", "edgemon.sqlite", "the disk reports errors: replace it")
        if self.is_full and is_heavy:
            raise StoreFull("disk full", "edgemon.sqlite")
        return await super().commit(commit)
