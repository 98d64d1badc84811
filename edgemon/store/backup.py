"""A copy of a store, taken beside whoever writes, proven before it counts, and put back.

First the database, as of one instant (SQLite's own backup), then the sample files: rows only ever point at samples that were
durable before them, and nothing is given back of sample files while a copy is made; so whatever the copied rows point at is in
the files copied after them.
"""

import errno
import fcntl
import hashlib
import json
import os
import shutil
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from edgemon.errors import StoreCorrupt, StoreError
from edgemon.model.instant import Instant, format_instant
from edgemon.store.chain import Verdict
from edgemon.store.dropping import copying
from edgemon.store.faults import translated
from edgemon.store.migrate import connect_read_only, refuse_newer
from edgemon.store.segments import Place, file_of, folder_of, read
from edgemon.store.stream import Stream

DATABASE = "edgemon.sqlite"
MANIFEST = "manifest.json"
FORMAT = 1
_BLOCK = 1 << 20
_SEGMENTS = """SELECT number, end_bytes FROM segments WHERE number IN (SELECT segment FROM captures)
    OR number = (SELECT max(number) FROM segments) ORDER BY number"""
"""A segment of which nothing is kept may lack its file."""
_SAMPLES = "SELECT number, segment, offset, length, checksum FROM captures WHERE number > ? ORDER BY number LIMIT 1000"


@dataclass(frozen=True, slots=True)
class File:
    """One file of a backup."""

    name: str
    """Relative to the folder of the backup."""
    bytes: int
    sha256: str


@dataclass(frozen=True, slots=True)
class Manifest:
    """What a backup holds."""

    made_at: str
    captures: int
    journal_seq: int
    journal_hash: str
    """Keep it elsewhere: it proves later that nothing of the journal was written anew."""
    files: tuple[File, ...]
    format: int = FORMAT


def back_up(database: Path, target: Path, now: Instant, progress: Callable[[int], None]) -> Manifest:
    """Copy a store into a new folder, prove the copy, and only then give it its name.

    Parameters
    ----------
    progress : callable
        Told the number of files copied.

    Raises
    ------
    StoreError
        The target is there already, the store cannot be read, or the disk is full.
    StoreCorrupt
        The store itself is damaged; the copy is kept as `<target>.partial` for whoever wants to save what can be saved.
    """
    if target.exists():
        raise StoreError("there is something already", str(target), "a backup goes into a folder of its own")
    partial = target.with_name(target.name + ".partial")
    with translated(partial):
        shutil.rmtree(partial, ignore_errors=True)
        partial.mkdir(parents=True)
        copy = partial / DATABASE
        with copying(folder_of(database)):
            _copy_database(database, copy)
            _copy_samples(database, copy, progress)
        verdict, captures = prove(copy)
        files = tuple(_files(partial))
        manifest = Manifest(format_instant(now), captures, verdict.newest_seq, verdict.newest_hash, files)
        _write(partial / MANIFEST, json.dumps(asdict(manifest), indent=1).encode())
        partial.rename(target)
        sync_folder(target.parent)
    return manifest


def restore(source: Path, database: Path, aside: str, progress: Callable[[int], None]) -> Manifest:
    """Put a backup where the daemon looks for its store; a store that is there is moved aside, never overwritten.

    Parameters
    ----------
    aside : str
        Ending of the names under which the store that is there is kept; empty: a store that is there is refused.

    Raises
    ------
    StoreError
        There is a store and `aside` is empty, a daemon has it open, or the disk is full.
    StoreCorrupt
        The backup is not one, or not as it was made; nothing was touched.
    StoreTooNew
        A newer version wrote it; nothing was touched.
    """
    manifest = check(source)
    refuse_newer(source / DATABASE)
    folder = folder_of(database)
    is_there = database.exists() or folder.exists()
    if is_there and not aside:
        raise StoreError("there is a store already", str(database), "--replace keeps it under another name")
    with translated(database), nobody_writes(folder):
        database.parent.mkdir(parents=True, exist_ok=True)
        fresh = database.with_name(database.name + ".restoring")
        for path in (fresh, folder_of(fresh)):
            shutil.rmtree(path, ignore_errors=True) if path.is_dir() else path.unlink(missing_ok=True)
        for number, file in enumerate(manifest.files, 1):
            name = file.name.replace(DATABASE, fresh.name, 1)
            to = database.parent / name
            to.parent.mkdir(exist_ok=True)
            _copy(source / file.name, to, file.bytes)
            if _sha256(to) != file.sha256:
                raise StoreCorrupt("the copy is not what was copied", str(to), "check the disk")
            progress(number)
        if is_there:
            for path in (database, folder, *(database.with_name(database.name + end) for end in ("-wal", "-shm"))):
                if path.exists():
                    path.rename(path.with_name(path.name + aside))
        if folder_of(fresh).exists():
            folder_of(fresh).rename(folder)
        fresh.rename(database)
        sync_folder(database.parent)
    return manifest


def check(source: Path) -> Manifest:
    """Look whether a backup is as it was made, file by file.

    Raises
    ------
    StoreCorrupt
        It is not; names the file.
    """
    path = source / MANIFEST
    try:
        found: dict[str, Any] = json.loads(path.read_bytes())
        manifest = Manifest(**{**found, "files": tuple(File(**file) for file in found["files"])})
    except (OSError, ValueError, TypeError, KeyError) as error:
        raise StoreCorrupt("this is no backup, or its list is damaged", str(path), "what `edgemon backup` made") from error
    if manifest.format != FORMAT:
        raise StoreCorrupt(f"a backup of format {manifest.format}, this program reads {FORMAT}", str(path), "another version")
    for file in manifest.files:
        if Path(file.name).is_absolute() or ".." in Path(file.name).parts:
            raise StoreCorrupt("the list names a file outside the backup", str(path), file.name)
        copy = source / file.name
        if not copy.is_file():
            raise StoreCorrupt("a file of this backup is gone", str(copy), "take another backup")
        if copy.stat().st_size != file.bytes or _sha256(copy) != file.sha256:
            raise StoreCorrupt("a file of this backup is not as it was made", str(copy), "take another backup")
    return manifest


def prove(database: Path) -> tuple[Verdict, int]:
    """Look through a whole copy: pages, journal, samples of every capture; gives the journal's verdict and the captures.

    Raises
    ------
    StoreCorrupt
        Something is not whole.
    """
    with closing(connect_read_only(database)) as connection:
        verdict = connection.execute("PRAGMA integrity_check(1)").fetchone()[0]
        if verdict != "ok":
            raise StoreCorrupt(f"the database is damaged: {verdict}", str(database), "the store itself may be: edgemon doctor")
        captures = _prove_samples(connection, folder_of(database))
    with Stream(database) as stream:
        journal = stream.verify({}, lambda _: None)
    if not journal.is_whole:
        first = journal.breaks[0]
        raise StoreCorrupt(f"journal entry {first.seq} {first.what}", str(database), "edgemon journal verify")
    return journal, captures


def _prove_samples(connection: sqlite3.Connection, folder: Path) -> int:
    last = count = 0
    while rows := connection.execute(_SAMPLES, (last,)).fetchall():
        for _, segment, offset, length, checksum in rows:
            read(folder, Place(segment, offset, length), checksum)
        count, last = count + len(rows), rows[-1][0]
    return count


def _copy_database(database: Path, copy: Path) -> None:
    with closing(connect_read_only(database)) as source, closing(sqlite3.connect(copy, isolation_level=None)) as target:
        source.backup(target)  # one step: readers do not hold the writer up, and it is of one instant
        target.execute("PRAGMA journal_mode = DELETE")  # one file, without a log beside it
    _sync(copy)


def _copy_samples(database: Path, copy: Path, progress: Callable[[int], None]) -> None:
    with closing(sqlite3.connect(f"{copy.absolute().as_uri()}?mode=ro", uri=True)) as connection:
        segments = connection.execute(_SEGMENTS).fetchall()
    if segments:
        folder_of(copy).mkdir()
    for count, (number, end) in enumerate(segments, 1):
        _copy(file_of(folder_of(database), number), file_of(folder_of(copy), number), end)
        progress(count)


def _copy(source: Path, to: Path, length: int) -> None:
    """Copy the first bytes of a file, durably; a hole stays a hole."""
    with source.open("rb") as file, to.open("wb") as out:
        left = length - os.fstat(file.fileno()).st_size
        for begin, end in _data(file.fileno(), length):
            file.seek(begin)
            out.seek(begin)
            while begin < end and (block := file.read(min(_BLOCK, end - begin))):
                out.write(block)
                begin += len(block)
        out.truncate(length)
        out.flush()
        os.fsync(out.fileno())
    if left > 0:
        raise StoreCorrupt(f"this file ends {left} bytes too early", str(source), "its last captures are lost; check the disk")


def _data(file: int, length: int) -> Iterator[tuple[int, int]]:
    """Give where the first bytes of a file are no holes. Source: lseek(2), SEEK_DATA and SEEK_HOLE."""
    end = 0
    while end < length:
        try:
            begin = os.lseek(file, end, os.SEEK_DATA)
        except OSError as error:
            if error.errno == errno.ENXIO:  # holes only, up to its end
                return
            raise
        end = min(length, os.lseek(file, begin, os.SEEK_HOLE))
        if begin < end:
            yield begin, end


def _files(folder: Path) -> Iterator[File]:
    for path in sorted(path for path in folder.rglob("*") if path.is_file()):
        yield File(str(path.relative_to(folder)), path.stat().st_size, _sha256(path))


def _sha256(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _write(path: Path, content: bytes) -> None:
    path.write_bytes(content)
    _sync(path)


def _sync(path: Path) -> None:
    with path.open("rb") as file:
        os.fsync(file.fileno())


def sync_folder(folder: Path) -> None:
    """Make the names in a folder durable."""
    door = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    try:
        os.fsync(door)
    finally:
        os.close(door)


@contextmanager
def nobody_writes(folder: Path) -> Iterator[None]:
    """Hold the lock that a daemon holds while it has the store open."""
    if not folder.exists():
        yield
        return
    lock = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    try:
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError as error:
            raise StoreError("a daemon has this store open", str(folder), "stop it first") from error
        yield
    finally:
        os.close(lock)
