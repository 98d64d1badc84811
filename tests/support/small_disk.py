"""A file system of the test's own, which can really be full or read-only, also for root; needs the right to mount.

It lives in a user and mount namespace that a process holds, so that nothing of it is left behind. What is to see it runs
through `nsenter`. Source: namespaces(7), tmpfs(5), mount(8).
"""

import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path

import pytest

from tests.support.daemon import Child, DaemonProcess

_HOLD = 'mount -t tmpfs -o "size=$2" edgemon "$1" && echo mounted && exec cat'


class SmallDisk:
    """A file system on a folder; skips the test where none may be mounted.

    Parameters
    ----------
    folder : Path
        Where it is mounted; made if it is not there.
    size : str
        As `mount` reads it.
    """

    def __init__(self, folder: Path, size: str = "8m") -> None:
        folder.mkdir(parents=True, exist_ok=True)
        self._folder = folder
        command = ["unshare", "--user", "--map-root-user", "--mount", "sh", "-c", _HOLD, "sh", str(folder), size]
        self._holder = subprocess.Popen(
            command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
        )
        assert self._holder.stdout is not None
        if self._holder.stdout.readline() != "mounted\n":
            _, why = self._holder.communicate()
            pytest.skip(f"no right to mount a file system here: {why.strip()}")

    def __enter__(self) -> "SmallDisk":
        return self

    def __exit__(self, *_: object) -> None:
        self._holder.communicate()

    @property
    def inside(self) -> Sequence[str]:
        """What to put before a command that is to see it."""
        return ["nsenter", f"--target={self._holder.pid}", "--user", "--preserve-credentials", "--mount", f"--wd={Path.cwd()}"]

    def run(self, *command: str) -> str:
        """Run something that sees it, and give what it says."""
        done = subprocess.run([*self.inside, *command], capture_output=True, text=True, check=False)
        assert done.returncode == 0, done.stderr
        return done.stdout

    def allow_writing(self, allowed: bool) -> None:
        """Make it read-only, or writable again."""
        self.run("mount", "-o", f"remount,{'rw' if allowed else 'ro'}", str(self._folder))

    def fill(self) -> None:
        """Leave no room on it."""
        subprocess.run([*self.inside, "dd", "if=/dev/zero", f"of={self._folder}/filler"], capture_output=True, check=False)

    def empty(self) -> None:
        """Give the room back."""
        self.run("rm", f"{self._folder}/filler")


class DaemonOnDisk(DaemonProcess):
    """A daemon that sees such a file system."""

    def __init__(self, disk: SmallDisk, folder: Path, plant: str, gateway: str) -> None:
        super().__init__(folder, plant, gateway)
        self._disk = disk
        self.socket = folder / "run.sock"

    def _born(self) -> Child:
        with self._log.open("ab") as log:
            command = [*self._disk.inside, sys.executable, "-m", "edgemon", "run", "--config", str(self.folder)]
            return subprocess.Popen(command, stdout=log, stderr=log)
