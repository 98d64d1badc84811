"""Samples of a capture as bytes and back: what lies in a segment file, and in the row of a part that waits.

A record is a header (magic, number of axes, length of the body), a checksum, and a body (for each axis: length of its name,
number of samples, name, little-endian int16 samples). Nothing is compressed: see `segments`.
"""

import struct
import zlib
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from edgemon.errors import StoreCorrupt
from edgemon.model.reading import Counts

MAGIC = b"EDG1"
HEADER = struct.Struct("<4sHHI")
"""Magic, number of axes, reserved, bytes of the body; then the checksum, then the body."""
CHECKSUM = struct.Struct("<I")
"""CRC-32 of header and body."""
BODY_AT = HEADER.size + CHECKSUM.size
AXIS = struct.Struct("<HHI")
"""Bytes of the name, reserved, number of samples."""


@dataclass(frozen=True, slots=True)
class Record:
    """A record in pieces, as they lie in memory: samples are not copied before they are written."""

    pieces: tuple[bytes | memoryview, ...]
    length: int
    checksum: int

    def joined(self) -> bytes:
        """Give the record in one piece."""
        return b"".join(self.pieces)


def pack(axes: Mapping[str, Counts]) -> Record:
    """Write the axes of a capture as a record."""
    body: list[bytes | memoryview] = []
    length = 0
    for name, counts in axes.items():
        word = name.encode()
        samples = np.ascontiguousarray(counts, dtype="<i2").view(np.uint8).data
        body += (AXIS.pack(len(word), 0, len(counts)) + word, samples)
        length += AXIS.size + len(word) + samples.nbytes
    header = HEADER.pack(MAGIC, len(axes), 0, length)
    checksum = zlib.crc32(header)
    for piece in body:
        checksum = zlib.crc32(piece, checksum)
    return Record((header + CHECKSUM.pack(checksum), *body), BODY_AT + length, checksum)


def is_record(header: bytes, length: int) -> bool:
    """Say whether these bytes begin a record of this length."""
    if len(header) < HEADER.size:
        return False
    magic, _, _, body = HEADER.unpack_from(header)
    return bool(magic == MAGIC and body == length - BODY_AT)


def unpack(record: bytes, where: str, checksum: int | None = None) -> dict[str, Counts]:
    """Read a record back.

    Parameters
    ----------
    record : bytes
        What `pack` gave, in one piece.
    where : str
        File and offset, or table and row, for the message.
    checksum : int, optional
        What the database remembers; the header's own is checked in any case.

    Raises
    ------
    StoreCorrupt
        The record is cut, or its bytes are not the ones written.
    """
    if len(record) < BODY_AT:
        raise _damaged("the samples end too early", where)
    magic, count, _, length = HEADER.unpack_from(record)
    if magic != MAGIC or length != len(record) - BODY_AT:
        raise _damaged("no record of samples begins here, or it is cut", where)
    own = CHECKSUM.unpack_from(record, HEADER.size)[0]
    found = zlib.crc32(memoryview(record)[BODY_AT:], zlib.crc32(record[: HEADER.size]))
    if found != own or checksum not in (None, found):
        raise _damaged("the checksum of the samples is wrong", where)
    axes: dict[str, Counts] = {}
    at = BODY_AT
    for _ in range(count):
        name_bytes, _, samples = AXIS.unpack_from(record, at)
        at += AXIS.size
        name = record[at : at + name_bytes].decode()
        at += name_bytes
        axes[name] = np.frombuffer(record, "<i2", samples, at).astype(np.int16, copy=False)
        at += 2 * samples
    return axes


def _damaged(what: str, where: str) -> StoreCorrupt:
    return StoreCorrupt(what, where, "this capture is lost, the others are not; check the disk")
