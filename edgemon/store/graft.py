"""A database with a damaged list of tables is lent that of a new one: the same steps put tables on the same pages.

Source of offsets and page types: SQLite, Database File Format, sections 1.3, 1.6 and 2.6.
"""

import shutil
import sqlite3
from contextlib import closing
from pathlib import Path

from edgemon.store.migrate import connect
from edgemon.store.segments import folder_of

_HEADER = 100
_LEAF = 13
"""Type of a page of a table that points to no others."""


def open_damaged(path: Path) -> sqlite3.Connection:
    """Open for reading, whatever state it is in."""
    return sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True, isolation_level=None)


def grafted(database: Path, copy: Path) -> Path | None:
    """Give a copy with a list of tables that can be read, or None where the database's own can be.

    Raises
    ------
    OSError
        There is no room for a copy.
    """
    if _knows_its_tables(database):
        return None
    clear(copy)
    with closing(connect(copy)) as plain:
        plain.execute("PRAGMA journal_mode = DELETE")
        size = plain.execute("PRAGMA page_size").fetchone()[0]
    fresh = copy.read_bytes()
    shutil.copyfile(database, copy)
    pages = -(-copy.stat().st_size // size)
    first, leaves = _schema(fresh, size, pages)
    with copy.open("r+b") as file:
        file.write(first)
        file.seek(18)
        file.write(b"\x02\x02")  # read with its log
        file.seek(28)
        file.write((pages + len(leaves)).to_bytes(4, "big"))
        file.seek(pages * size)
        file.write(b"".join(leaves))
    log = database.with_name(database.name + "-wal")
    if log.exists():
        shutil.copyfile(log, copy.with_name(copy.name + "-wal"))
    return copy


def clear(path: Path) -> None:
    """Remove a database of ours that was never in use, with all that belongs to it."""
    for end in ("", "-journal", "-wal", "-shm"):
        path.with_name(path.name + end).unlink(missing_ok=True)
    if folder_of(path).exists():
        shutil.rmtree(folder_of(path))


def _knows_its_tables(database: Path) -> bool:
    try:
        with closing(open_damaged(database)) as source:
            source.execute("SELECT count(*) FROM sqlite_schema").fetchone()
            found = {name for (name,) in source.execute("SELECT name FROM sqlite_schema")}
            return "journal" in found
    except sqlite3.DatabaseError:
        return False


def _schema(fresh: bytes, size: int, pages: int) -> tuple[bytes, list[bytes]]:
    """Give the first page of a new database, and the pages it points to, which are to be put behind the last page."""
    first = bytearray(fresh[:size])
    if first[_HEADER] == _LEAF:
        return bytes(first), []
    cells = int.from_bytes(first[_HEADER + 3 : _HEADER + 5], "big")
    places = [int.from_bytes(first[at : at + 2], "big") for at in range(_HEADER + 12, _HEADER + 12 + 2 * cells, 2)]
    leaves = []
    for place in (*places, _HEADER + 8):  # the last one: the page to the right of all cells
        number = int.from_bytes(first[place : place + 4], "big")
        leaves.append(fresh[(number - 1) * size : number * size])
        first[place : place + 4] = (pages + len(leaves)).to_bytes(4, "big")
    return bytes(first), leaves
