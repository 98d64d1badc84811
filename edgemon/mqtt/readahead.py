"""Fewer system calls: what the socket has is read at once and handed out in the small pieces a parser asks for."""

from collections.abc import Callable

READ_BYTES = 64 * 1024


class ReadAhead:
    """Stands in for a non-blocking `recv`.

    Parameters
    ----------
    receive : callable
        Reads at most so many bytes, or raises `BlockingIOError` when there are none.
    """

    def __init__(self, receive: Callable[[int], bytes]) -> None:
        self._receive = receive
        self._bytes = b""
        self._at = 0
        self.paused = False
        """While set, there seems to be nothing to read: a parser stops even in the middle of what was read ahead."""
        self.error: OSError | None = None
        """What ended the reading; parsers tend to keep it to themselves."""

    @property
    def pending(self) -> int:
        """Bytes read from the socket and not yet handed out: no readiness of the socket will tell of them."""
        return len(self._bytes) - self._at

    def receive(self, size: int) -> bytes:
        """Give at most `size` bytes; empty at the end of the stream."""
        if self.paused:
            raise BlockingIOError
        if self._at == len(self._bytes):
            if size >= READ_BYTES:
                return self._read(size)
            self._bytes, self._at = self._read(READ_BYTES), 0
        piece = self._bytes[self._at : self._at + size]
        self._at += len(piece)
        return piece

    def _read(self, size: int) -> bytes:
        try:
            return self._receive(size)
        except BlockingIOError:
            raise
        except OSError as error:
            self.error = error
            raise
