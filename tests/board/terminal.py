"""A real terminal for a child process: a pty of a given size, what is typed into it and every byte that comes out."""

import fcntl
import os
import pty
import select
import struct
import subprocess
import termios
import time
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager


class Terminal:
    """The near end of a pty."""

    def __init__(self, fd: int, child: "subprocess.Popen[bytes]") -> None:
        self.fd, self.child = fd, child
        self.seen = b""

    def type(self, keys: str) -> None:
        os.write(self.fd, keys.encode())

    def wait_for(self, *words: str, within: float = 30.0) -> bool:
        """Read until every word has come out; False if the time or the child ends before."""
        wanted = [word.encode() for word in words]
        deadline = time.monotonic() + within
        while not all(word in self.seen for word in wanted):
            if not self._read(deadline - time.monotonic()):
                return False
        return True

    def settle(self, quiet: float = 0.25) -> None:
        """Read until nothing has come out for a while."""
        while self._read(quiet):
            pass

    def _read(self, within: float) -> bool:
        if within <= 0.0 or not select.select([self.fd], [], [], within)[0]:
            return False
        try:
            got = os.read(self.fd, 65536)
        except OSError:  # the child has closed its end
            return False
        self.seen += got
        return bool(got)


@contextmanager
def terminal(command: Sequence[str], size: tuple[int, int], env: Mapping[str, str]) -> Iterator[Terminal]:
    """Run a command in a terminal of `size` columns and rows; it is ended with the context."""
    near, far = pty.openpty()
    fcntl.ioctl(far, termios.TIOCSWINSZ, struct.pack("HHHH", size[1], size[0], 0, 0))
    child = subprocess.Popen(command, stdin=far, stdout=far, stderr=far, start_new_session=True, env={**os.environ, **env})
    os.close(far)
    try:
        yield Terminal(near, child)
    finally:
        child.kill()
        child.wait()
        os.close(near)
