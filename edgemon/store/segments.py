"""Files of capture samples beside the database: append-only, so that each sample is written once and not twice.

SQLite writes a blob to its log and again to the table. Here the samples go to `<database>.segments/000001.seg`, are made
durable, and only then does the database commit the row that points at them. Bytes past the end that the database knows belong
to no capture: they are overwritten, and cut off at the next start. Nothing is compressed: zlib at level 1 takes 2.3 to 3.4 ms
for 96 KiB of vibration (crc32: 0.05 to 0.08 ms) and makes it 1.2 to 1.7 times smaller, for noise does not compress (measured).
"""

import fcntl
import os
import sqlite3
from dataclasses import dataclass
from pathlib import Path

from edgemon.errors import StoreCorrupt, StoreError, StoreRefused
from edgemon.model.reading import Counts
from edgemon.store.samples import Record, unpack

ROLL_BYTES = 64 << 20
"""A segment is full at this size; the unit in which old samples can be dropped. House choice."""
COPYING = "copying.lock"
"""In the folder; held by whoever copies the store: nothing is given back to the disk meanwhile."""
_MOST_PIECES = 1024
"""IOV_MAX of Linux. Source: writev(2)."""


@dataclass(frozen=True, slots=True)
class Place:
    """Where the record of a capture lies."""

    segment: int
    offset: int
    length: int


def folder_of(database: Path) -> Path:
    """Give the folder of a database's segments."""
    return database.with_name(database.name + ".segments")


def file_of(folder: Path, segment: int) -> Path:
    """Give the file of a segment."""
    return folder / f"{segment:06d}.seg"


def files_of(database: Path) -> list[Path]:
    """Give the files of a store, there or not."""
    return [*(database.with_name(database.name + end) for end in ("", "-wal", "-shm")), *folder_of(database).glob("*.seg")]


def read(folder: Path, place: Place, checksum: int) -> dict[str, Counts]:
    """Read the samples of one capture.

    Raises
    ------
    StoreCorrupt
        File gone, cut or damaged; names file and offset.
    """
    return unpack(read_bytes(folder, place), f"{file_of(folder, place.segment)} at byte {place.offset}", checksum)


def read_bytes(folder: Path, place: Place) -> bytes:
    """Read the record of one capture as it lies; StoreCorrupt if its file is gone."""
    path = file_of(folder, place.segment)
    try:
        with path.open("rb") as file:
            return os.pread(file.fileno(), place.length, place.offset)
    except FileNotFoundError as error:
        raise StoreCorrupt(
            "the file of these samples is gone", str(path), "copy segments together with the database"
        ) from error


class Segments:
    """The one writer of the segment files; lives on the connection's thread.

    Parameters
    ----------
    folder : Path
        Made if it is not there; locked, so that no second gateway writes beside us.
    roll_bytes : int
        Size at which the next segment is begun.
    """

    def __init__(self, folder: Path, roll_bytes: int = ROLL_BYTES) -> None:
        self._folder = folder
        self._roll_bytes = roll_bytes
        self._file: int | None = None
        self.segment = 0
        self.end = 0
        self.appended = 0
        """Bytes counted since the start."""
        self.remark = ""
        """What was found damaged at the start, empty if nothing was."""
        folder.mkdir(parents=True, exist_ok=True)
        (folder / COPYING).touch(0o640)
        self._lock = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
        try:
            fcntl.flock(self._lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError as error:
            os.close(self._lock)
            hint = "only one gateway may write it: stop the other one"
            raise StoreRefused("another gateway has this store open", str(folder), hint) from error

    def resume(self, connection: sqlite3.Connection) -> None:
        """Go on where the database says the samples end; cut off what a crash left behind."""
        known = connection.execute("SELECT number, end_bytes FROM segments ORDER BY number DESC LIMIT 1").fetchone()
        if known is None:
            return
        path = file_of(self._folder, known[0])
        size = path.stat().st_size if path.exists() else 0
        if size < known[1]:
            self.remark = f"{path} ends at byte {size}, the database knows {known[1]}: those captures are lost"
            self.segment = known[0]  # never written to again: the next capture begins a new one
            return
        self._file = os.open(path, os.O_RDWR | os.O_CLOEXEC)
        self.segment, self.end = known
        if size > self.end:
            os.ftruncate(self._file, self.end)

    def append(self, records: list[Record]) -> list[Place]:
        """Write records behind one another and make them durable; they count once `keep` is called."""
        if self._file is None or self.end >= self._roll_bytes:
            self._roll()
        places = []
        offset = self.end
        for record in records:
            places.append(Place(self.segment, offset, record.length))
            offset += record.length
        self._write([piece for record in records for piece in record.pieces])
        return places

    def keep(self, places: list[Place]) -> None:
        """Count what was appended: the database has committed the rows that point at it."""
        if places:
            self.end = places[-1].offset + places[-1].length
            self.appended += sum(place.length for place in places)

    def forget(self) -> None:
        """Cut off what was appended, for the transaction was rolled back; gives its space back."""
        if self._file is not None:
            os.ftruncate(self._file, self.end)

    def close(self) -> None:
        """Let go of file and lock; twice does no harm."""
        if self._file is not None:
            os.close(self._file)
            self._file = None
        if self._lock >= 0:
            os.close(self._lock)
            self._lock = -1

    def _write(self, pieces: list[bytes | memoryview]) -> None:
        if self._file is None:
            raise StoreError("no segment is open", str(self._folder))
        offset = self.end
        for first in range(0, len(pieces), _MOST_PIECES):
            some = pieces[first : first + _MOST_PIECES]
            written = os.pwritev(self._file, some, offset)
            rest = memoryview(b"".join(some))[written:] if written < sum(map(len, some)) else memoryview(b"")
            offset += written
            while rest:  # a disk nearly full takes less than it is given, and says so only when asked again
                written = os.pwrite(self._file, rest, offset)
                rest = rest[written:]
                offset += written
        os.fdatasync(self._file)

    def _roll(self) -> None:
        """Begin the next segment; never one whose file exists, for another database may know it."""
        numbers = [int(path.stem) for path in self._folder.glob("*.seg") if path.stem.isdigit()]
        segment = max([self.segment, *numbers]) + 1
        file = os.open(file_of(self._folder, segment), os.O_RDWR | os.O_CREAT | os.O_EXCL | os.O_CLOEXEC, 0o640)
        os.fsync(self._lock)  # the folder: the file's name must survive, too
        if self._file is not None:
            os.close(self._file)
        self._file, self.segment, self.end = file, segment, 0
