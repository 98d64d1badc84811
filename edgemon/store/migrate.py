"""Opening the database: is it ours, is it whole, is it of this version; one file in `schema/` for each version."""

import sqlite3
from contextlib import suppress
from pathlib import Path

from edgemon.errors import StoreCorrupt, StoreError, StoreRefused, StoreTooNew
from edgemon.store.connection import BUSY_TIMEOUT_MS
from edgemon.store.faults import RESTORE
from edgemon.store.readonly import open_to_read

SCHEMA = Path(__file__).parent / "schema"
APPLICATION_ID = int.from_bytes(b"EDGE", "big")
LOG_LIMIT_BYTES = 8 << 20
"""The log is cut to this size after it was moved into the database. House choice."""
CACHE_KIB = 16 << 10
"""Each series has one page that grows: a thousand series fit. House choice."""
_HEADER_BYTES = 100
_MAGIC = b"SQLite format 3\x00"
"""First bytes of a database; its user version is big-endian at 60. Source: SQLite, Database File Format, section 1.3."""


def scripts() -> dict[int, Path]:
    """Give the schema file of each version."""
    return {int(path.name[:4]): path for path in sorted(SCHEMA.glob("[0-9][0-9][0-9][0-9]_*.sql"))}


def newest() -> int:
    """Give the version this program writes."""
    return max(scripts())


def refuse_newer(path: Path) -> None:
    """Look at a file without changing a byte of it.

    Raises
    ------
    StoreTooNew
        A newer version wrote it.
    StoreCorrupt
        It is not a database.
    """
    if not path.exists() or path.stat().st_size == 0:
        return
    with path.open("rb") as file:
        header = file.read(_HEADER_BYTES)
    if len(header) < _HEADER_BYTES or not header.startswith(_MAGIC):
        raise StoreCorrupt("this file is not a database", str(path), "is the path of the store in gateway.toml right?")
    version = int.from_bytes(header[60:64], "big")
    log = path.with_name(path.name + "-wal")
    if log.exists() and log.stat().st_size > 0:  # the newest header may still be in the log
        version = max(version, _version_in_log(path))
    if version > newest():
        what = f"the file has version {version}, this program knows {newest()}"
        raise StoreTooNew(what, str(path), "use the newer program; the file was left as it is")


def refuse_newer_or_other(path: Path) -> None:
    """Look at a file that may be damaged, without changing a byte of it.

    Raises
    ------
    StoreTooNew
        A newer version wrote it.
    StoreError
        It is whole enough to say that it belongs to another program.
    """
    with suppress(StoreCorrupt, sqlite3.DatabaseError):
        refuse_newer(path)
    with path.open("rb") as file:
        header = file.read(_HEADER_BYTES)
    if not header.startswith(_MAGIC) or len(header) < _HEADER_BYTES:
        return
    owner = int.from_bytes(header[68:72], "big")
    if owner not in (0, APPLICATION_ID):
        raise StoreRefused("this database belongs to another program", str(path), "give the store a file of its own")


def connect(path: Path) -> sqlite3.Connection:
    """Open for writing, check and bring to the newest version; closes again if that fails."""
    refuse_newer(path)
    connection = sqlite3.connect(path, isolation_level=None, timeout=BUSY_TIMEOUT_MS / 1000)
    try:
        _prepare(connection, path)
    except BaseException:
        connection.close()
        raise
    return connection


def connect_to_nothing() -> sqlite3.Connection:
    """Open an empty store in memory: where there is none, whoever asks is told that nothing is there."""
    connection = sqlite3.connect(":memory:", isolation_level=None)
    for script in scripts().values():
        connection.executescript(script.read_text())
    return connection


def connect_read_only(path: Path) -> sqlite3.Connection:
    """Open for reading beside whoever writes; the file is not changed, and not brought to a newer version either.

    Raises
    ------
    StoreError
        Not there, of an older version, or the database of another program.
    StoreTooNew
        A newer version wrote it.
    """
    if not path.exists():
        raise StoreError("there is no store here", str(path), "has the gateway run with this configuration?")
    connection = open_to_read(path)
    try:
        _check_version(connection, path)
    except BaseException:
        connection.close()
        raise
    return connection


def _check_version(connection: sqlite3.Connection, path: Path) -> None:
    version = connection.execute("PRAGMA user_version").fetchone()[0]
    if version > newest():
        what = f"the file has version {version}, this program knows {newest()}"
        raise StoreTooNew(what, str(path), "use the newer program; the file was left as it is")
    if connection.execute("PRAGMA application_id").fetchone()[0] != APPLICATION_ID:
        raise StoreRefused("this database belongs to another program", str(path), "is the path of the store right?")
    if version < newest():
        what = f"an older version wrote this store: it has version {version}, this program reads {newest()}"
        raise StoreError(what, str(path), "start the daemon once, it brings the store up to date")


def _prepare(connection: sqlite3.Connection, path: Path) -> None:
    empty = connection.execute("SELECT count(*) FROM sqlite_schema").fetchone()[0] == 0
    if empty:
        connection.execute("PRAGMA auto_vacuum = INCREMENTAL")  # no effect once the log or a table is there
    _check(connection, path, empty)
    mode = connection.execute("PRAGMA journal_mode = WAL").fetchone()[0]
    if mode != "wal":
        hint = "keep the store on a local disk: write-ahead logging does not work over a network"
        raise StoreRefused(f"this disk does not allow a write-ahead log (mode is {mode})", str(path), hint)
    connection.execute("PRAGMA synchronous = FULL")  # a commit is durable when it returns; SQLite, PRAGMA synchronous
    connection.execute(f"PRAGMA journal_size_limit = {LOG_LIMIT_BYTES}")
    connection.execute(f"PRAGMA cache_size = -{CACHE_KIB}")
    _migrate(connection)


def _check(connection: sqlite3.Connection, path: Path, empty: bool) -> None:
    verdict = connection.execute("PRAGMA quick_check(1)").fetchone()[0]
    if verdict != "ok":
        raise StoreCorrupt(f"the database is damaged: {verdict}", str(path), RESTORE)
    if not empty and connection.execute("PRAGMA application_id").fetchone()[0] != APPLICATION_ID:
        raise StoreRefused("this database belongs to another program", str(path), "give the store a file of its own")


def _migrate(connection: sqlite3.Connection) -> None:
    version: int = connection.execute("PRAGMA user_version").fetchone()[0]
    pending = [script.read_text() for number, script in scripts().items() if number > version]
    if not pending:
        return
    steps = "\n".join(pending)
    try:
        connection.executescript(f"BEGIN IMMEDIATE;\n{steps}\nPRAGMA user_version = {newest()};\nCOMMIT;")
    finally:
        if connection.in_transaction:
            connection.execute("ROLLBACK")


def _version_in_log(path: Path) -> int:
    reader = open_to_read(path)
    try:
        version: int = reader.execute("PRAGMA user_version").fetchone()[0]
    finally:
        reader.close()
    return version
