"""Real errors of SQLite and of the system, and what the house makes of them.

Source: SQLite, Result and Error Codes; errno(3).
"""

import errno
import os
import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest

from edgemon.errors import ParameterError, StoreCorrupt, StoreError, StoreFull, StoreRefused
from edgemon.store.faults import translated


def overfill(path: Path) -> None:
    with closing(sqlite3.connect(path)) as base:
        base.execute("PRAGMA max_page_count = 2")
        base.execute("CREATE TABLE a (b BLOB)")
        base.execute("INSERT INTO a VALUES (zeroblob(100000))")


def open_garbage(path: Path) -> None:
    path.write_bytes(b"garbage" * 1000)
    with closing(sqlite3.connect(path)) as base:
        base.execute("PRAGMA user_version")


def write_read_only(path: Path) -> None:
    path.touch()
    with closing(sqlite3.connect(f"file:{path}?mode=ro", uri=True)) as base:
        base.execute("CREATE TABLE a (b)")


def open_nothing(path: Path) -> None:
    with closing(sqlite3.connect(path / "no" / "such")) as base:
        base.execute("PRAGMA user_version")


def write_twice(path: Path) -> None:
    with closing(sqlite3.connect(path)) as one, closing(sqlite3.connect(path, timeout=0)) as two:
        one.execute("BEGIN IMMEDIATE")
        two.execute("BEGIN IMMEDIATE")


def break_rule(path: Path) -> None:
    with closing(sqlite3.connect(path)) as base:
        base.execute("CREATE TABLE a (b INTEGER NOT NULL)")
        base.execute("INSERT INTO a VALUES (NULL)")


def store_too_large(path: Path) -> None:
    with closing(sqlite3.connect(path)) as base:
        base.execute("SELECT ?", (2**64,))


def use_closed(path: Path) -> None:
    base = sqlite3.connect(path)
    base.close()
    base.execute("SELECT 1")


CASES: dict[str, tuple[Callable[[Path], None], type[Exception], str]] = {
    "full": (overfill, StoreFull, "free space"),
    "garbage": (open_garbage, StoreCorrupt, "restore a copy"),
    "read-only": (write_read_only, StoreError, "right to write"),
    "missing": (open_nothing, StoreError, "right to write"),
    "busy": (write_twice, StoreError, "another program"),
    "rule": (break_rule, StoreError, "nothing of this commit"),
    "closed": (use_closed, StoreError, "nothing of this commit"),
    "too large": (store_too_large, ParameterError, "cannot be stored"),
}


@pytest.mark.parametrize("name", CASES)
def test_what_sqlite_says_becomes_the_houses_error_with_file_and_hint(tmp_path: Path, name: str) -> None:
    provoke, kind, words = CASES[name]
    path = tmp_path / "some.sqlite"
    with pytest.raises(kind, match=words) as caught, translated(path):
        provoke(path)
    assert type(caught.value) is kind
    assert str(path) in str(caught.value)


@pytest.mark.parametrize(
    ("number", "kind", "words"),
    [
        (errno.ENOSPC, StoreFull, "free space"),
        (errno.EDQUOT, StoreFull, "free space"),
        (errno.EACCES, StoreError, "right to write"),
        (errno.EROFS, StoreError, "right to write"),
        (errno.EIO, StoreError, "replace it"),
        (errno.ENOTDIR, StoreRefused, "gateway.toml"),
    ],
)
def test_what_the_system_says_becomes_the_houses_error(number: int, kind: type[StoreError], words: str) -> None:
    with pytest.raises(kind, match=words) as caught, translated(Path("state/edgemon.sqlite")):
        raise OSError(number, os.strerror(number))
    assert type(caught.value) is kind
    assert "state/edgemon.sqlite" in str(caught.value)
