"""A real PostgreSQL on loopback for tests: a cluster of its own in a temporary folder, killed, frozen and restarted at will."""

import os
import pwd
import shutil
import signal
import subprocess
import tempfile
import time
from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path

import pytest

from tests.support.broker import LOOPBACK, free_port
from tests.support.certificates import Pair

STARTS_WITHIN_S = 60.0
DATABASE = "plant"
USER = "gateway"
PASSWORD = "salt-and-steam-7"
_USERS = ("postgres", "nobody")
"""It does not run as root."""
_HBA = f"""host replication postgres {LOOPBACK}/32 trust
host all postgres {LOOPBACK}/32 trust
hostssl all certified {LOOPBACK}/32 cert
host all all {LOOPBACK}/32 scram-sha-256
"""


def find_binaries() -> Path:
    """Find the folder of the programs, or skip the test and say what to install."""
    folders = sorted(Path("/usr/lib/postgresql").glob("*/bin"), key=_version, reverse=True)
    config = shutil.which("pg_config")
    if config is not None:
        said = subprocess.run([config, "--bindir"], capture_output=True, text=True, timeout=10, check=False)
        folders.append(Path(said.stdout.strip()))
    on_path = shutil.which("initdb")
    if on_path is not None:
        folders.append(Path(on_path).parent)
    for folder in folders:
        if all((folder / name).is_file() for name in ("initdb", "postgres", "psql")):
            return folder
    pytest.skip("no PostgreSQL server here; install the Debian package `postgresql`")


class Postgres:
    """One cluster; `start` it again on the same port after `kill` or `stop`.

    It has a database `plant`, and a role `gateway` with a password that may make schemas there.

    Parameters
    ----------
    server : Pair, optional
        Certificate and key: TLS is offered.
    client_ca : Pair, optional
        The role `certified` comes in with a certificate signed by it, and with nothing else.
    fsync : bool
        Wait for the disk. What a test kills are processes: the kernel survives, and with it what they wrote.
    """

    def __init__(self, *, server: Pair | None = None, client_ca: Pair | None = None, fsync: bool = False) -> None:
        self._binaries = find_binaries()
        self._as = other_user() if os.getuid() == 0 else []
        self._folder = Path(tempfile.mkdtemp(prefix="edgemon-postgres-"))
        self._data = self._folder / "data"
        self._process: subprocess.Popen[bytes] | None = None
        self.host = LOOPBACK
        self.port = 0
        self._own(self._folder)
        self._initialise()
        self._options = ["-c", f"listen_addresses={LOOPBACK}", "-c", "max_connections=50"]
        self._options += ["-c", f"fsync={'on' if fsync else 'off'}", *self._tls(server, client_ca)]

    def __enter__(self) -> "Postgres":
        self.start()
        self.sql(f"CREATE ROLE {USER} LOGIN PASSWORD '{PASSWORD}'", database="postgres")
        self.sql(f"CREATE DATABASE {DATABASE}", database="postgres")
        self.sql(f"GRANT CREATE ON DATABASE {DATABASE} TO {USER}")
        return self

    def __exit__(self, *_: object) -> None:
        self.stop()
        shutil.rmtree(self._folder, ignore_errors=True)

    @property
    def url(self) -> str:
        """Address for `gateway.toml`."""
        return f"postgresql://{self.host}:{self.port}/{DATABASE}"

    @property
    def log(self) -> str:
        """What the server wrote so far."""
        return (self._folder / "log").read_text(errors="replace")

    def sql(self, text: str, *, database: str = DATABASE) -> list[list[str]]:
        """Ask as the superuser, by `psql`: rows of texts; an error fails the test."""
        command = [str(self._binaries / "psql"), "-XAtq", "-F", "\t", "-v", "ON_ERROR_STOP=1"]
        command += ["-h", self.host, "-p", str(self.port), "-U", "postgres", "-d", database]
        done = subprocess.run(command, input=text, capture_output=True, text=True, timeout=60, check=False)
        assert done.returncode == 0, done.stderr
        return [line.split("\t") for line in done.stdout.splitlines()]

    def start(self) -> None:
        """Start, on the same port as before if there was a before; returns when it answers."""
        for _ in range(1 if self.port else 5):
            port = self.port or free_port()
            if self._start_on(port):
                self.port = port
                return
        raise AssertionError(f"PostgreSQL does not start:\n{self.log}")

    def stop(self) -> None:
        """Ask it to end, cutting connections (a "fast shutdown"); frozen or deaf, it is killed."""
        if self._process is None:
            return
        self.thaw()
        self._process.send_signal(signal.SIGINT)
        with suppress(subprocess.TimeoutExpired):
            self._process.wait(10)
            self._process = None
            return
        self.kill()

    def kill(self) -> None:
        """End it and all it has forked at once (SIGKILL), as a crash of the machine would."""
        assert self._process is not None
        everyone = self._signal(signal.SIGSTOP)  # nobody is forked meanwhile
        for pid in everyone:
            _send(pid, signal.SIGKILL)
        self._process.wait(10)
        self._process = None
        deadline = time.monotonic() + 10.0
        while any(_lives(pid) for pid in everyone):
            assert time.monotonic() < deadline, "a backend outlives its server"
            time.sleep(0.005)

    def freeze(self) -> None:
        """Stop its clock (SIGSTOP): connections stay open, the kernel accepts new ones, and nothing answers."""
        self._signal(signal.SIGSTOP)

    def thaw(self) -> None:
        """Let it go on."""
        self._signal(signal.SIGCONT)

    def _signal(self, number: signal.Signals) -> list[int]:
        assert self._process is not None
        parent = self._process.pid
        _send(parent, number)
        children = Path(f"/proc/{parent}/task/{parent}/children").read_text().split()
        everyone = [parent, *map(int, children)]
        for pid in everyone[1:]:
            _send(pid, number)
        return everyone

    def _start_on(self, port: int) -> bool:
        command: list[str | Path] = [
            *self._as,
            self._binaries / "postgres",
            "-D",
            self._data,
            "-p",
            str(port),
            "-k",
            "",
            *self._options,
        ]
        with (self._folder / "log").open("ab") as log:
            self._process = subprocess.Popen(command, stdout=log, stderr=log, cwd=self._folder)
        ready: list[str | Path] = [self._binaries / "pg_isready", "-q", "-h", LOOPBACK, "-p", str(port), "-t", "1"]
        deadline = time.monotonic() + STARTS_WITHIN_S
        while time.monotonic() < deadline:
            if self._process.poll() is not None:
                self._process = None
                return False
            if subprocess.run(ready, check=False, timeout=10).returncode == 0:
                return True
            time.sleep(0.02)
        self.kill()
        return False

    def _initialise(self) -> None:
        self._run("initdb", "-D", self._data, "-U", "postgres", "--locale=C", "--encoding=UTF8", "--auth=trust", "--no-sync")
        (self._data / "pg_hba.conf").write_text(_HBA)

    def _run(self, program: str, *arguments: str | Path) -> None:
        command: list[str | Path] = [*self._as, self._binaries / program, *arguments]
        done = subprocess.run(command, capture_output=True, text=True, timeout=120, cwd=self._folder, check=False)
        assert done.returncode == 0, done.stdout + done.stderr

    def _tls(self, server: Pair | None, client_ca: Pair | None) -> list[str]:
        options = []
        if server is not None:
            options += ["-c", "ssl=on", "-c", f"ssl_cert_file={self._copy(server.certificate)}"]
            options += ["-c", f"ssl_key_file={self._copy(server.key)}"]
        if client_ca is not None:
            options += ["-c", f"ssl_ca_file={self._copy(client_ca.certificate)}"]
        return options

    def _copy(self, file: Path) -> Path:
        copy = self._folder / file.name
        shutil.copy(file, copy)
        copy.chmod(0o600)
        self._own(copy)
        return copy

    def _own(self, path: Path) -> None:
        if self._as:
            shutil.chown(path, name_of_other(), pwd.getpwnam(name_of_other()).pw_gid)


class Standby(Postgres):
    """A copy of a server that runs, kept up by streaming, which can only be read from until it is promoted."""

    def __init__(self, primary: Postgres) -> None:
        self._primary = primary
        super().__init__()

    def __enter__(self) -> "Standby":
        self.start()
        return self

    def promote(self) -> None:
        """Have it take over; returns when it can be written to."""
        assert self.sql("SELECT pg_promote()", database="postgres") == [["t"]]

    def until_caught_up(self) -> None:
        """Wait until it has all that the primary has now."""
        ((position,),) = self._primary.sql("SELECT pg_current_wal_flush_lsn()")
        has_it = f"SELECT pg_last_wal_replay_lsn() >= '{position}'"
        deadline = time.monotonic() + STARTS_WITHIN_S
        while self.sql(has_it, database="postgres") != [["t"]]:
            assert time.monotonic() < deadline, self.log
            time.sleep(0.02)

    def _initialise(self) -> None:
        place = ("-h", LOOPBACK, "-p", str(self._primary.port), "-U", "postgres")
        self._run("pg_basebackup", "-D", self._data, *place, "--write-recovery-conf", "--checkpoint=fast", "--no-sync")


def _version(folder: Path) -> float:
    with suppress(ValueError):
        return float(folder.parent.name)
    return 0.0


def name_of_other() -> str:
    """Give an account that is not root."""
    known = {one.pw_name for one in pwd.getpwall()}
    return next(name for name in _USERS if name in known)


def other_user() -> Sequence[str]:
    """Give the words before a command that is to run as that account."""
    name = name_of_other()
    program = shutil.which("setpriv")
    if program is None:
        pytest.skip("PostgreSQL does not run as root, and there is no setpriv; install the Debian package `util-linux`")
    one = pwd.getpwnam(name)
    return [program, f"--reuid={one.pw_uid}", f"--regid={one.pw_gid}", "--clear-groups", "--"]


def _send(pid: int, number: signal.Signals) -> None:
    with suppress(ProcessLookupError):
        os.kill(pid, number)


def _lives(pid: int) -> bool:
    with suppress(OSError):
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] != "Z"
    return False
