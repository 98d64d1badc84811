"""A SQLite connection on a thread of its own, on which whole functions are run.

aiosqlite runs single statements, at 40 to 55 microseconds for each awaited call (measured, Python 3.11): too dear for a
transaction of hundreds of rows, and a task cancelled between two calls leaves the transaction open. So a transaction is one
function, queued once. aiosqlite has no public method for that; `_execute`, through which each of its own public methods goes,
is used by this subclass, in this one place. Its version is held to 0.22 in pyproject.toml for that reason.
"""

import asyncio
import sqlite3
from collections.abc import Awaitable, Callable, Iterator
from contextlib import contextmanager
from typing import TypeVar

import aiosqlite

from edgemon.errors import StoreError

ENGINE = f"SQLite {sqlite3.sqlite_version}"
"""What keeps the store."""

T = TypeVar("T")
BUSY_TIMEOUT_MS = 5000
"""How long to wait for a lock of another connection. Common practice, no source."""


class Connection(aiosqlite.Connection):
    """aiosqlite's thread and queue, with one function per hop.

    Parameters
    ----------
    connector : Callable[[], sqlite3.Connection]
        Run on the thread; whatever it raises is raised by `opened`.
    """

    def __init__(self, connector: Callable[[], sqlite3.Connection]) -> None:
        super().__init__(connector, iter_chunk_size=64)
        self._closing: asyncio.Task[None] | None = None

    @property
    def is_closed(self) -> bool:
        """Say whether nothing may be asked any more."""
        return self._connection is None

    async def close(self) -> None:
        """Close after what is queued; whoever asks again waits for the same end, for the thread answers only once."""
        if self._closing is None:
            self._closing = asyncio.ensure_future(super().close())
        await to_its_end(self._closing)

    def join(self) -> None:
        """Wait for a thread that was told to stop: one that outlives the event loop ends in a traceback."""
        self._thread.join()

    async def run(self, work: Callable[[sqlite3.Connection], T]) -> T:
        """Run `work` on the connection's thread, to its end even if the caller is cancelled meanwhile."""
        connection = self._connection
        if connection is None:
            raise StoreError("the store is closed")
        result: T = await to_its_end(self._execute(work, connection))  # type: ignore[no-untyped-call]
        return result


@contextmanager
def transaction(connection: sqlite3.Connection) -> Iterator[None]:
    """BEGIN IMMEDIATE to COMMIT, or ROLLBACK."""
    if connection.in_transaction:
        connection.execute("ROLLBACK")
    connection.execute("BEGIN IMMEDIATE")
    try:
        yield
        connection.execute("COMMIT")
    finally:
        if connection.in_transaction:
            connection.execute("ROLLBACK")


async def opened(connection: Connection) -> None:
    """Open; if that fails, or the caller is cancelled meanwhile, nothing is left open."""
    try:
        await to_its_end(connection)
    except BaseException:
        if connection.is_closed:
            connection.join()
        else:
            await connection.close()
        raise


async def to_its_end(work: Awaitable[T]) -> T:
    """Wait until `work` has ended; a cancellation is raised only then.

    What the thread does cannot be called back: whoever goes on before it has ended finds the transaction half done.
    """
    task = asyncio.ensure_future(work)
    interruption: asyncio.CancelledError | None = None
    while not task.done():
        try:
            await asyncio.wait({task})
        except asyncio.CancelledError as error:
            interruption = error
    if interruption is not None:
        if not task.cancelled():
            task.exception()  # seen: the caller has other worries
        raise interruption
    return task.result()
