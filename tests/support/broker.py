"""A real Mosquitto on loopback for tests, and a cable to it that can be pulled."""

import asyncio
import getpass
import math
import shutil
import signal
import socket
import subprocess
import time
from collections.abc import Callable, Mapping
from contextlib import suppress
from pathlib import Path

import pytest

from edgemon.mqtt.embedded import stop_listening
from tests.support.certificates import Pair

LOOPBACK = "127.0.0.1"
STARTS_WITHIN_S = 60.0


def find_mosquitto() -> str:
    """Find the program, or skip the test and say what to install."""
    program = shutil.which("mosquitto") or shutil.which("mosquitto", path="/usr/sbin:/usr/local/sbin")
    if program is None:
        pytest.skip("no mosquitto here; install the Debian package `mosquitto`")
    return program


def free_port() -> int:
    """Find a port of loopback that is free now."""
    with socket.socket() as probe:
        probe.bind((LOOPBACK, 0))
        port: int = probe.getsockname()[1]
        return port


class Mosquitto:
    """One broker process; `start` it again on the same port after `kill` or `stop`.

    Parameters
    ----------
    folder : Path
        Configuration, log and persistence; the test's own.
    persistence : bool
        Keep sessions and queues on disk, as they change (all of it after every change).
    autosave : bool
        False: only when it is asked to end; much faster where a queue is long.
    users : mapping
        Name to password; nobody else is let in. Empty: anyone is.
    server : Pair, optional
        Certificate and key: the listener speaks TLS.
    client_ca : Pair, optional
        Clients must show a certificate signed by it.
    max_queued, max_inflight : int, optional
        `max_queued_messages` and `max_inflight_messages`; Mosquitto's own defaults are 1000 and 20.
    max_packet : int, optional
        `max_packet_size`: larger ones are refused.
    acl : str
        Text of an access list; empty: everything is allowed.
    quiet : bool
        Log errors only; a broker that logs every packet is a slow one.
    """

    def __init__(
        self,
        folder: Path,
        *,
        persistence: bool = False,
        autosave: bool = True,
        users: Mapping[str, str] | None = None,
        server: Pair | None = None,
        client_ca: Pair | None = None,
        max_queued: int | None = 100_000,
        max_inflight: int | None = None,
        max_packet: int | None = None,
        acl: str = "",
        quiet: bool = False,
    ) -> None:
        self._program = find_mosquitto()
        self._folder = folder
        folder.mkdir(parents=True, exist_ok=True)
        self._options = _options(folder, persistence, server, client_ca, max_queued, max_inflight)
        if not autosave:
            self._options = [option for option in self._options if not option.startswith("autosave")]
        self._options += [] if max_packet is None else [f"max_packet_size {max_packet}"]
        self._options += ["log_type error"] if quiet else ["log_type all"]
        if users:
            self._options += ["allow_anonymous false", f"password_file {_password_file(folder, users)}"]
        else:
            self._options += ["allow_anonymous true"]
        if acl:
            (folder / "acl").write_text(acl)
            self._options += [f"acl_file {folder / 'acl'}"]
        self._process: subprocess.Popen[bytes] | None = None
        self.host = LOOPBACK
        self.port = 0

    def __enter__(self) -> "Mosquitto":
        self.start()
        return self

    def __exit__(self, *_: object) -> None:
        self.stop()

    @property
    def url(self) -> str:
        """Address for `gateway.toml`."""
        return f"mqtt://{self.host}:{self.port}"

    @property
    def log(self) -> str:
        """What the broker wrote so far."""
        return (self._folder / "mosquitto.log").read_text(errors="replace")

    @property
    def pid(self) -> int:
        """Process id."""
        assert self._process is not None
        return self._process.pid

    def start(self) -> None:
        """Start, on the same port as before if there was a before; returns when it listens."""
        tries = 1 if self.port else 5
        for _ in range(tries):
            port = self.port or free_port()
            if self._start_on(port):
                self.port = port
                return
        raise AssertionError(f"mosquitto does not start:\n{self.log}")

    def stop(self) -> None:
        """Ask it to end (SIGTERM); frozen or deaf, it is killed."""
        if self._process is None:
            return
        process = self._process
        self.thaw()
        for _ in range(5):  # one that has just begun to listen does not heed the first signal
            process.terminate()
            with suppress(subprocess.TimeoutExpired):
                process.wait(1)
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

    def _start_on(self, port: int) -> bool:
        config = self._folder / "mosquitto.conf"
        config.write_text("\n".join([f"listener {port} {LOOPBACK}", *self._options, ""]))
        with (self._folder / "mosquitto.log").open("ab") as log:
            self._process = subprocess.Popen([self._program, "-c", str(config)], stdout=log, stderr=log)
        deadline = time.monotonic() + STARTS_WITHIN_S
        while time.monotonic() < deadline:
            if self._process.poll() is not None:
                self._process = None
                return False
            with suppress(OSError), socket.create_connection((LOOPBACK, port), timeout=1.0):
                return True
            time.sleep(0.01)
        self.stop()
        return False


def _options(
    folder: Path,
    persistence: bool,
    server: Pair | None,
    client_ca: Pair | None,
    max_queued: int | None,
    max_inflight: int | None,
) -> list[str]:
    options = [f"user {getpass.getuser()}", "log_dest stderr", "set_tcp_nodelay true"]
    if server is not None:
        options += [f"certfile {server.certificate}", f"keyfile {server.key}"]
    if client_ca is not None:
        options += [f"cafile {client_ca.certificate}", "require_certificate true"]
    if persistence:
        options += ["persistence true", f"persistence_location {folder}/", "autosave_on_changes true", "autosave_interval 1"]
    if max_queued is not None:
        options += [f"max_queued_messages {max_queued}"]
    if max_inflight is not None:
        options += [f"max_inflight_messages {max_inflight}"]
    return options


def _password_file(folder: Path, users: Mapping[str, str]) -> Path:
    program = shutil.which("mosquitto_passwd")
    if program is None:
        pytest.skip("no mosquitto_passwd here; install the Debian package `mosquitto`")
    file = folder / "passwords"
    file.touch(mode=0o600)
    for name, password in users.items():
        subprocess.run([program, "-b", str(file), name, password], check=True, capture_output=True, timeout=20)
    return file


class Cable:
    """A TCP relay on loopback between a link and its broker, to pull and to plug in again.

    Parameters
    ----------
    port : int
        The broker's port.

    Attributes
    ----------
    answers : bool
        False: what the broker says is lost on the way.
    bytes_per_s : float
        How fast a connection is in each direction.
    """

    def __init__(self, port: int) -> None:
        self.answers = True
        self.bytes_per_s = math.inf
        self._far = port
        self._server: asyncio.Server | None = None
        self._ends: set[asyncio.StreamWriter] = set()
        self._pumps: set[asyncio.Task[None]] = set()
        self.port = 0

    async def plug(self) -> None:
        """Accept connections, on the same port as before."""
        self._server = await asyncio.start_server(self._relay, LOOPBACK, self.port)
        self.port = self._server.sockets[0].getsockname()[1]

    async def pull(self) -> None:
        """Cut every connection and accept none."""
        if self._server is not None:
            await stop_listening(self._server)
            await self._server.wait_closed()
            self._server = None
            for _ in range(5):  # a connection accepted last is served only some turns of the loop later
                await asyncio.sleep(0)
        for end in list(self._ends):
            end.transport.abort()
        if self._pumps:
            await asyncio.wait(list(self._pumps))

    async def _relay(self, near_in: asyncio.StreamReader, near_out: asyncio.StreamWriter) -> None:
        task = asyncio.current_task()
        assert task is not None
        self._pumps.add(task)
        self._ends.add(near_out)
        try:
            far_in, far_out = await asyncio.open_connection(LOOPBACK, self._far)
            self._ends.add(far_out)
            await asyncio.gather(self._pump(near_in, far_out, lambda: True), self._pump(far_in, near_out, lambda: self.answers))
            self._ends.discard(far_out)
        except OSError:
            near_out.transport.abort()
        finally:
            self._ends.discard(near_out)
            self._pumps.discard(task)

    async def _pump(self, source: asyncio.StreamReader, sink: asyncio.StreamWriter, passes: Callable[[], bool]) -> None:
        with suppress(OSError):
            while data := await source.read(65_536):
                await asyncio.sleep(len(data) / self.bytes_per_s)
                if passes():
                    sink.write(data)
                    await sink.drain()
        sink.close()


async def until(holds: Callable[[], bool], within_s: float = 60.0) -> None:
    """Poll until something holds, or fail."""
    deadline = time.monotonic() + within_s
    while not holds():
        assert time.monotonic() < deadline, f"not within {within_s} s"
        await asyncio.sleep(0.01)
