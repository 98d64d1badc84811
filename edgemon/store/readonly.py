"""Opening a database for reading, also on a disk on which nothing can be written: full, or read-only.

Beside a log SQLite keeps an index of it in a file, which even a reader makes if it is not there. Where that is not possible the
index is kept in memory instead, which needs that nobody writes: our lock on the samples' folder tells (SQLite, Write-Ahead
Logging, sections 7 and 8; which way works on a read-only mount was tried for each case).
"""

import fcntl
import os
import sqlite3
from pathlib import Path

from edgemon.store.connection import BUSY_TIMEOUT_MS
from edgemon.store.segments import folder_of

_NO_INDEX = frozenset({sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_FULL, sqlite3.SQLITE_READONLY})
_NO_INDEX_EXTENDED = frozenset({sqlite3.SQLITE_IOERR_SHMSIZE, sqlite3.SQLITE_IOERR_SHMOPEN, sqlite3.SQLITE_IOERR_SHMMAP})


def open_to_read(path: Path) -> sqlite3.Connection:
    """Open a database that is there, of whatever version and owner; raises SQLite's own errors."""
    if not _lies_read_only(path) or _is_written(path):
        try:
            return _opened(path, "mode=ro")
        except sqlite3.Error as error:
            code = getattr(error, "sqlite_errorcode", 0)
            if (code & 0xFF not in _NO_INDEX and code not in _NO_INDEX_EXTENDED) or _is_written(path):
                raise
    log = path.with_name(path.name + "-wal")
    if log.exists() and log.stat().st_size:
        return _opened(path, "mode=ro&vfs=unix-none", "PRAGMA locking_mode = EXCLUSIVE")
    return _opened(path, "mode=ro&immutable=1")


def _opened(path: Path, how: str, before: str = "") -> sqlite3.Connection:
    uri = f"{path.absolute().as_uri()}?{how}"
    connection = sqlite3.connect(uri, uri=True, isolation_level=None, timeout=BUSY_TIMEOUT_MS / 1000)
    try:
        if before:
            connection.execute(before)
        connection.execute("PRAGMA query_only = ON")
        connection.execute("PRAGMA user_version").fetchone()  # the first look at the file
    except BaseException:
        connection.close()
        raise
    return connection


def _lies_read_only(path: Path) -> bool:
    """Say whether the file system is read-only. An index left there would be opened for reading by all of this process.

    Who opens the store for writing later, while whoever reads is still there, would be refused although the disk lets it:
    SQLite opens the index once for each process.
    """
    try:
        return bool(os.statvfs(path).f_flag & os.ST_RDONLY)
    except OSError:
        return False


def _is_written(path: Path) -> bool:
    """Say whether a gateway has the store open; also true where that cannot be told."""
    folder = folder_of(path)
    try:
        door = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    except FileNotFoundError:
        return False
    except OSError:
        return True
    try:
        fcntl.flock(door, fcntl.LOCK_SH | fcntl.LOCK_NB)
    except OSError:
        return True
    finally:
        os.close(door)
    return False
