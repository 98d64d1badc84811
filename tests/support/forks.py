"""Daemons born quickly: a process that has loaded everything forks one after the other, so that hundreds can be killed.

`python -m tests.support.forks` is that process; it reads `start FOLDER LOG`, `code PID`, and ends with its input.
"""

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

from tests.support.daemon import ENDS_WITHIN_S, DaemonProcess


class Nursery:
    """The process that forks."""

    def __init__(self) -> None:
        self._process = subprocess.Popen(
            [sys.executable, "-m", "tests.support.forks"], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, bufsize=1
        )

    def __enter__(self) -> "Nursery":
        return self

    def __exit__(self, *_: object) -> None:
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        self._process.stdin.close()
        self._process.stdout.close()
        self._process.wait(ENDS_WITHIN_S)

    def ask(self, line: str) -> int:
        """Give its answer to a line."""
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        print(line, file=self._process.stdin)
        return int(self._process.stdout.readline())


class Fork:
    """One daemon, as far as a test needs `subprocess.Popen` of it."""

    def __init__(self, nursery: Nursery, folder: Path, log: Path) -> None:
        self._nursery = nursery
        self._code: int | None = None
        self.pid = nursery.ask(f"start {folder} {log}")

    def poll(self) -> int | None:
        if self._code is None:
            answer = self._nursery.ask(f"code {self.pid}")
            self._code = None if answer == RUNS else answer
        return self._code

    def wait(self, timeout: float) -> int:
        deadline = time.monotonic() + timeout
        while (code := self.poll()) is None:
            if time.monotonic() > deadline:
                raise subprocess.TimeoutExpired(f"daemon {self.pid}", timeout)
            time.sleep(0.002)
        return code

    def send_signal(self, number: int) -> None:
        os.kill(self.pid, number)

    def kill(self) -> None:
        self.send_signal(signal.SIGKILL)


class ForkedDaemon(DaemonProcess):
    """`DaemonProcess` born of a nursery."""

    def __init__(self, nursery: Nursery, folder: Path, plant: str, gateway: str) -> None:
        super().__init__(folder, plant, gateway)
        self._nursery = nursery

    def _born(self) -> Fork:
        return Fork(self._nursery, self.folder, self._log)


RUNS = 1000


def _serve() -> None:
    import edgemon.cli.run
    import edgemon.daemon.service  # noqa: F401

    for line in sys.stdin:
        what, *words = line.split()
        if what == "start":
            pid = os.fork()
            if pid == 0:
                _live(*words)
            print(pid, flush=True)
        else:
            found, status = os.waitpid(int(words[0]), os.WNOHANG)
            print(os.waitstatus_to_exitcode(status) if found else RUNS, flush=True)


def _live(folder: str, log: str) -> None:
    from edgemon.cli.main import main

    out = os.open(log, os.O_WRONLY | os.O_CREAT | os.O_APPEND)
    nothing = os.open(os.devnull, os.O_RDONLY)
    for source, target in ((nothing, 0), (out, 1), (out, 2)):
        os.dup2(source, target)
    code = 70
    try:
        code = main(["run", "--config", folder])
    finally:
        os._exit(code)


if __name__ == "__main__":
    _serve()
