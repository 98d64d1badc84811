"""Samples of a capture as bytes and back: what lies in a segment file, and in the row of a part that waits.

A record is a header (magic, number of axes, length of the body), a checksum, and a body (for each axis: length of its name,
number of samples, name, little-endian int16 samples). Nothing is compressed: see `segments`.
"""

import struct
import zlib
from collections.abc import Mapping

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


def pack(axes: Mapping[str, Counts]) -> tuple[bytes, int]:
    """Write the axes of a capture as a record.

    Returns
    -------
    tuple[bytes, int]
        The record and its checksum.
    """
    pieces: list[bytes] = []
    for name, counts in axes.items():
        word = name.encode()
        pieces += (AXIS.pack(len(word), 0, len(counts)), word, counts.astype("<i2", copy=False).tobytes())
    body = b"".join(pieces)
    header = HEADER.pack(MAGIC, len(axes), 0, len(body))
    checksum = zlib.crc32(body, zlib.crc32(header))
    return b"".join((header, CHECKSUM.pack(checksum), body)), checksum


def unpack(record: bytes, where: str, checksum: int | None = None) -> dict[str, Counts]:
    """Read a record back.

    Parameters
    ----------
    record : bytes
        What `pack` gave.
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
