"""What files take on the disk, and giving back what lies in their middle."""

import ctypes
import errno
import os
from collections.abc import Iterable
from pathlib import Path

BLOCK = 4096
"""Space is given back in whole blocks; the usual size of one. A larger one costs space, nothing else."""
SHARE = 0.9
"""Of what the disk has for the store, free space and what the store takes already, it takes so much at most. House choice."""

_KEEP_SIZE, _PUNCH_HOLE = 1, 2
"""Source: fallocate(2), linux/falloc.h."""
_UNABLE = frozenset({errno.EOPNOTSUPP, errno.ENOSYS})


def taken(files: Iterable[Path]) -> int:
    """Give the bytes that files take, holes left out; one that is gone takes none."""
    total = 0
    for file in files:
        try:
            total += file.stat().st_blocks * 512
        except FileNotFoundError:
            continue
    return total


def budget(folder: Path, wanted: int | None, used: int) -> int:
    """Give the most that a store may take here: what is wanted, but never the whole disk."""
    room = os.statvfs(folder)
    most = int(SHARE * (used + room.f_bavail * room.f_frsize))
    return most if wanted is None else min(wanted, most)


def punch(file: int, begin: int, end: int) -> bool:
    """Give back the whole blocks between two places of an open file; what is read there is zeros from then on.

    Returns
    -------
    bool
        False: this file system cannot do that.
    """
    begin, end = -(-begin // BLOCK) * BLOCK, end // BLOCK * BLOCK
    if begin >= end:
        return True
    offset, length = ctypes.c_int64(begin), ctypes.c_int64(end - begin)
    if _fallocate(file, _KEEP_SIZE | _PUNCH_HOLE, offset, length) == 0:
        return True
    error = ctypes.get_errno()
    if error in _UNABLE:
        return False
    raise OSError(error, os.strerror(error))


def _none(*_: object) -> int:
    ctypes.set_errno(errno.ENOSYS)
    return -1


_libc = ctypes.CDLL(None, use_errno=True)
_fallocate = getattr(_libc, "fallocate64", getattr(_libc, "fallocate", _none))
