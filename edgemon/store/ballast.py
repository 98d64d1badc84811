"""A file that only takes up space: given up when the disk is full, so that journal and alarm states can still be written.

On a full disk SQLite can neither delete nor move its log into the database (measured): something else must give way.
"""

import os
from pathlib import Path

LEAST_BYTES = 1 << 20
"""Space that must be there before the store is believed to work again where there is no ballast. House choice."""


class Ballast:
    """The file, in the folder of the store; its calls may block.

    Parameters
    ----------
    database : Path
        The store; the file lies beside it.
    size_bytes : int
        Zero: there is none, and `make` only looks whether there is room.
    """

    def __init__(self, database: Path, size_bytes: int) -> None:
        self._path = database.with_name(database.name + ".ballast")
        self._size = size_bytes

    def make(self) -> None:
        """Make the file if it is not there. Raises `OSError` where there is no room for it."""
        if self._size and self._path.exists() and self._path.stat().st_size >= self._size:
            return
        trial = self._path.with_name(self._path.name + ".new")
        try:
            file = os.open(trial, os.O_RDWR | os.O_CREAT | os.O_TRUNC | os.O_CLOEXEC, 0o640)
            try:
                os.posix_fallocate(file, 0, self._size or LEAST_BYTES)
                os.fsync(file)
            finally:
                os.close(file)
            if self._size:
                trial.rename(self._path)
        finally:
            trial.unlink(missing_ok=True)

    def give_up(self) -> bool:
        """Free its space; says whether there was any."""
        try:
            self._path.unlink()
        except OSError:
            return False
        return True
