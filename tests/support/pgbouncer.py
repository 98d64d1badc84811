"""A real PgBouncer in transaction mode on loopback for tests, between a gateway and a database."""

import os
import shutil
import signal
import socket
import subprocess
import tempfile
import time
from contextlib import suppress
from pathlib import Path

import pytest

from tests.support.broker import LOOPBACK, free_port
from tests.support.postgres import DATABASE, PASSWORD, USER, Postgres, name_of_other, other_user

STARTS_WITHIN_S = 60.0
_CONFIG = """[databases]
{database} = host={host} port={server} dbname={database}
[pgbouncer]
listen_addr = {host}
listen_port = {port}
unix_socket_dir =
auth_type = scram-sha-256
auth_file = {folder}/users
pool_mode = transaction
default_pool_size = 3
server_round_robin = 1
server_login_retry = 1
server_lifetime = 0
"""


def find_pgbouncer() -> str:
    """Find the program, or skip the test and say what to install."""
    program = shutil.which("pgbouncer") or shutil.which("pgbouncer", path="/usr/sbin:/usr/local/sbin")
    if program is None:
        pytest.skip("no pgbouncer here; install the Debian package `pgbouncer`")
    return program


class PgBouncer:
    """One pooler with three connections to the server, taken in turns so that no two transactions get the same one."""

    def __init__(self, server: Postgres) -> None:
        self._program = find_pgbouncer()
        self._as = other_user() if os.getuid() == 0 else []
        self._folder = Path(tempfile.mkdtemp(prefix="edgemon-pgbouncer-"))
        self._port = free_port()
        self._process: subprocess.Popen[bytes] | None = None
        (self._folder / "users").write_text(f'"{USER}" "{PASSWORD}"\n')
        self._write(server)

    def __enter__(self) -> "PgBouncer":
        if self._as:
            for path in (self._folder, *self._folder.iterdir()):
                shutil.chown(path, name_of_other())
        with (self._folder / "log").open("ab") as log:
            command = [*self._as, self._program, str(self._folder / "pgbouncer.ini")]
            self._process = subprocess.Popen(command, stdout=log, stderr=log, cwd=self._folder)
        deadline = time.monotonic() + STARTS_WITHIN_S
        while True:
            with suppress(OSError), socket.create_connection((LOOPBACK, self._port), timeout=1.0):
                return self
            assert self._process.poll() is None, self.log
            assert time.monotonic() < deadline, self.log
            time.sleep(0.02)

    def __exit__(self, *_: object) -> None:
        if self._process is not None:
            self._process.kill()
            self._process.wait(5)
        shutil.rmtree(self._folder, ignore_errors=True)

    @property
    def url(self) -> str:
        """Address for `gateway.toml`."""
        return f"postgresql://{LOOPBACK}:{self._port}/{DATABASE}"

    @property
    def log(self) -> str:
        """What it wrote so far."""
        return (self._folder / "log").read_text(errors="replace")

    def lead_to(self, server: Postgres) -> None:
        """Go over to another server; who is connected stays so."""
        assert self._process is not None
        self._write(server)
        self._process.send_signal(signal.SIGHUP)

    def _write(self, server: Postgres) -> None:
        facts = {"database": DATABASE, "host": LOOPBACK, "server": server.port, "port": self._port, "folder": self._folder}
        (self._folder / "pgbouncer.ini").write_text(_CONFIG.format(**facts))
