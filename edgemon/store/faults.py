"""Errors of SQLite and of the operating system, turned into the house's own at the edge of the store."""

import errno
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from edgemon.errors import ParameterError, StoreCorrupt, StoreError, StoreFull, StoreRefused

_FULL = frozenset({sqlite3.SQLITE_FULL, sqlite3.SQLITE_IOERR_SHMSIZE})
"""The second one: the index of the log could not grow. Source: SQLite, Result and Error Codes."""
_DAMAGED = frozenset({sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB})
_DENIED = frozenset({sqlite3.SQLITE_READONLY, sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_PERM, sqlite3.SQLITE_AUTH})
_BUSY = frozenset({sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED})
_NO_SPACE = frozenset({errno.ENOSPC, errno.EDQUOT, errno.EFBIG})

_NO_PLACE = frozenset({errno.EEXIST, errno.ENOTDIR, errno.EISDIR, errno.ENAMETOOLONG, errno.ELOOP})
"""No such path can ever be: a mistake in the settings."""

FREE_SPACE = "free space on this disk; what comes in is not acknowledged until then, so the broker keeps it"
RESTORE = "move the file aside and restore a copy, or start with a new one; check the disk"


@contextmanager
def translated(path: Path) -> Iterator[None]:
    """Raise what goes wrong inside as a `StoreError` that names the file and says what to do."""
    try:
        yield
    except sqlite3.Error as error:
        raise of_sqlite(error, path) from error
    except OSError as error:
        raise of_system(error, path) from error
    except (UnicodeEncodeError, OverflowError) as error:
        raise ParameterError(f"a value that cannot be stored: {error}", str(path)) from error


def of_sqlite(error: sqlite3.Error, path: Path) -> StoreError:
    """Give the house's error for one of SQLite's."""
    code = getattr(error, "sqlite_errorcode", 0)
    name = getattr(error, "sqlite_errorname", type(error).__name__)
    what, where = f"{error} [{name}]", str(path)
    if code in _FULL or code & 0xFF in _FULL:
        return StoreFull(what, where, FREE_SPACE)
    if code & 0xFF in _DAMAGED:
        return StoreCorrupt(what, where, RESTORE)
    if code & 0xFF in _DENIED:
        return StoreError(what, where, "the gateway's account needs the right to write this file and its folder")
    if code & 0xFF in _BUSY:
        return StoreError(what, where, "another program holds this file; only one gateway may write it")
    return StoreError(what, where, "nothing of this commit is stored")


def of_system(error: OSError, path: Path) -> StoreError:
    """Give the house's error for one of the operating system's."""
    what = error.strerror or str(error)
    where = str(error.filename or path)
    if error.errno in _NO_SPACE:
        return StoreFull(what, where, FREE_SPACE)
    if error.errno in (errno.EACCES, errno.EPERM, errno.EROFS):
        return StoreError(what, where, "the gateway's account needs the right to write here")
    if error.errno == errno.EIO:
        return StoreError(what, where, "the disk reports errors: replace it")
    kind = StoreRefused if error.errno in _NO_PLACE else StoreError
    return kind(what, where, "check the path of the store in gateway.toml")
