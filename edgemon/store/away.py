"""A store that cannot be written yet, at the start: what lies in it is read where that is possible, and nothing is taken."""

from collections.abc import Collection
from pathlib import Path

from edgemon.errors import StoreCorrupt, StoreError, StoreRefused, StoreTooNew
from edgemon.model.event import JournalEntry
from edgemon.model.ids import CaptureKey, ReadingKey
from edgemon.store.connection import Connection, opened
from edgemon.store.disk import taken
from edgemon.store.faults import translated
from edgemon.store.held import known_in, saved_in
from edgemon.store.mend import was_ours
from edgemon.store.migrate import connect_to_nothing, refuse_newer, refuse_newer_or_other
from edgemon.store.port import Commit, Known, Saved
from edgemon.store.reader import SqliteReader
from edgemon.store.segments import files_of


class AwayStore:
    """Fulfils `port.Store` while the real one cannot be opened: every commit fails with the reason. Made by `open`.

    Parameters
    ----------
    error : StoreError
        Why it cannot be opened.
    reader : SqliteReader
        Of what lies in the store, or of nothing; closed with it.
    was_read : bool
        What lies in the store is known; else it is taken for empty.
    """

    def __init__(self, path: Path, error: StoreError, reader: SqliteReader, was_read: bool) -> None:
        self._path = path
        self._error = error
        self.reader = reader
        self.was_read = was_read

    @classmethod
    async def open(cls, path: Path, error: StoreError) -> "AwayStore":
        """Open for reading, and nothing where that fails.

        Raises
        ------
        StoreRefused, StoreTooNew, StoreCorrupt
            It is not for us, as far as can be seen: waiting is no help.
        """
        _refuse(path)
        try:
            reader = await SqliteReader.open(path)
            try:
                await reader.run(lambda connection: saved_in(connection, path))
            except BaseException:
                await reader.close()
                raise
        except (StoreRefused, StoreTooNew):
            raise
        except StoreError:
            nothing = Connection(connect_to_nothing)
            await opened(nothing)
            return cls(path, error, SqliteReader(path, nothing), False)
        return cls(path, error, reader, True)

    async def load(self) -> Saved:
        """Read what the last run left behind."""
        return await self.reader.run(lambda connection: saved_in(connection, self._path))

    async def known(
        self,
        captures: Collection[CaptureKey],
        readings: Collection[ReadingKey],
        parts: Collection[tuple[CaptureKey, int]] = (),
    ) -> Known:
        """Say which keys are stored already."""
        return await self.reader.run(lambda connection: known_in(connection, captures, readings, parts))

    async def commit(self, commit: Commit) -> tuple[JournalEntry, ...]:
        """Store nothing, and raise why."""
        raise type(self._error)(*self._error.args)  # a new one: each raise would lengthen the trace of the same

    async def mark_published(self, seq: int) -> None:
        """Forget it: what was published is published once more."""

    async def size_bytes(self) -> int:
        """Give what the store takes on disk."""
        return taken(files_of(self._path))

    async def close(self) -> None:
        """Close; twice does no harm."""
        await self.reader.close()


def _refuse(path: Path) -> None:
    """Refuse a file that is not for us, as far as it can be looked at."""
    try:
        with translated(path):
            if not path.exists():
                return
            refuse_newer(path)
            refuse_newer_or_other(path)
    except StoreCorrupt:
        if not was_ours(path):
            raise
    except (StoreRefused, StoreTooNew):
        raise
    except StoreError:
        return  # it cannot be looked at
