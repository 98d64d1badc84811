"""A real daemon on a config directory of the test's own, and a witness on its broker that never meets its code."""

import asyncio
import json
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Awaitable, Callable
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol, TypeVar

from paho.mqtt.client import Client, MQTTMessage
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion

from edgemon.api.client import Daemon
from edgemon.clock import SystemClock
from edgemon.errors import EdgemonError, LinkDown
from edgemon.model.command import Person
from edgemon.model.snapshot import Outcome, Snapshot

T = TypeVar("T")

STARTS_WITHIN_S = 60.0
ENDS_WITHIN_S = 60.0
WITHIN_S = 60.0
"""Instead of for ever, on a busy machine: nothing is proved by them."""
SITE = "edgemon/v1/site/saltmarsh"


def wait_until(holds: Callable[[], Any], within_s: float = WITHIN_S, why: Callable[[], object] = lambda: "") -> Any:
    """Poll until something is true and give it, or fail; a daemon too busy to answer is asked again."""
    deadline = time.monotonic() + within_s
    while True:
        found, silent = None, ""
        try:
            found = holds()
        except LinkDown as error:
            silent = str(error)
        if found:
            return found
        assert time.monotonic() < deadline, f"not within {within_s} s: {silent or why()}"
        time.sleep(0.01)


def capture_topic(sensor: str) -> str:
    return f"edgemon/v1/sensor/{sensor}/capture"


def reading_topic(sensor: str) -> str:
    return f"edgemon/v1/sensor/{sensor}/reading"


def plant_toml(pumps: int, on_delay: int = 1, stale_after_s: int = 3600) -> str:
    """Pumps hp-pump-1 ... with one sensor s-0001 ... each, on x and z; ISO 20816-3 group 2 rigid, limits written out."""
    lines = ["[site]", 'id = "saltmarsh"', 'name = "Saltmarsh Desalination Works"']
    for number in range(1, pumps + 1):
        lines += [
            "[[machine]]",
            f'id = "hp-pump-{number}"',
            f'name = "High-pressure pump {number}"',
            'area = "ro-hall"',
            "rpm = 2975",
            'criticality = "critical"',
        ]
        for point, axis in (("pump-de-h", "x"), ("pump-de-a", "z")):
            lines += [
                "[[machine.point]]",
                f'id = "{point}"',
                f'sensor = "s-{number:04d}"',
                f'axis = "{axis}"',
                f"stale_after_s = {stale_after_s}",
                "[[machine.point.limit]]",
                'level = "velocity_rms"',
                'unit = "mm/s"',
                "alert = 2.8",
                "alarm = 4.5",
                "deadband = 0.28",
                f"on_delay = {on_delay}",
                "off_delay = 1",
            ]
        lines += ["[[sensor]]", f'id = "s-{number:04d}"', "interval_s = 60"]
    return "\n".join(lines) + "\n"


def gateway_toml(url: str, broker: str = "", client_id: str = "edgemonlive") -> str:
    return f'[broker]\nurl = "{url}"\nclient_id = "{client_id}"\n{broker}'


class Child(Protocol):
    """A process, as far as it is needed here."""

    @property
    def pid(self) -> int: ...

    def poll(self) -> int | None: ...

    def wait(self, timeout: float) -> int: ...

    def send_signal(self, number: int) -> None: ...

    def kill(self) -> None: ...


class DaemonProcess:
    """`python -m edgemon run` on a folder; start it again after `terminate` or `kill`.

    Parameters
    ----------
    folder : Path
        The config directory, with `plant.toml` and `gateway.toml`; made where texts are given.
    plant, gateway : str
        Their contents; empty: they are there already.
    """

    def __init__(self, folder: Path, plant: str = "", gateway: str = "") -> None:
        folder.mkdir(parents=True, exist_ok=True)
        if plant:
            (folder / "plant.toml").write_text(plant)
        if gateway:
            (folder / "gateway.toml").write_text(gateway)
        self.folder = folder
        self.socket = folder / "state" / "edgemon.sock"
        self.store = folder / "state" / "edgemon.sqlite"
        self._log = folder / "daemon.log"
        self._process: Child | None = None

    def __enter__(self) -> "DaemonProcess":
        self.start()
        # what is published before its first subscription, no broker keeps for it
        wait_until(lambda: (link := self.snapshot().gateway.links[0]).up or link.detail, why=lambda: self.log)
        return self

    def __exit__(self, *_: object) -> None:
        if self._process is not None:
            self._process.kill()
            self._process.wait(ENDS_WITHIN_S)
            self._process = None

    @property
    def log(self) -> str:
        """What all its processes wrote to standard error so far."""
        return self._log.read_text(errors="replace")

    def start(self) -> Snapshot:
        """Start, wait until it answers, and give its first answer."""
        self._process = self._born()
        deadline = time.monotonic() + STARTS_WITHIN_S
        while True:
            if self.socket.exists():  # asking where nobody listens costs what a daemon that starts needs itself
                with suppress(EdgemonError):
                    return self.snapshot()
            assert self._process.poll() is None, f"the daemon ended:\n{self.log}"
            assert time.monotonic() < deadline, f"the daemon does not answer:\n{self.log}"
            time.sleep(0.02)

    def _born(self) -> Child:
        with self._log.open("ab") as log:
            command = [sys.executable, "-m", "edgemon", "run", "--config", str(self.folder)]
            return subprocess.Popen(command, stdout=log, stderr=log)

    @property
    def pid(self) -> int:
        """Its process."""
        assert self._process is not None
        return self._process.pid

    def terminate(self, within_s: float = ENDS_WITHIN_S) -> tuple[int, float]:
        """Send SIGTERM; gives the exit code and how long it took, s."""
        assert self._process is not None
        began = time.monotonic()
        self._process.send_signal(signal.SIGTERM)
        code = self._process.wait(within_s)
        self._process = None
        return code, time.monotonic() - began

    def kill(self) -> None:
        """End it at once (SIGKILL)."""
        assert self._process is not None
        self._process.kill()
        self._process.wait(ENDS_WITHIN_S)
        self._process = None

    def freeze(self) -> None:
        """Stop its clock (SIGSTOP): connections stay open and nothing answers."""
        assert self._process is not None
        self._process.send_signal(signal.SIGSTOP)

    def thaw(self) -> None:
        """Let it go on."""
        assert self._process is not None
        self._process.send_signal(signal.SIGCONT)

    def snapshot(self) -> Snapshot:
        """Ask for everything, as `edgemon status` does. Raises `LinkDown` where nobody answers."""

        async def ask(daemon: Daemon) -> Snapshot:
            return await daemon.snapshot()

        return self._asked(ask)

    def acknowledge(self, alarm: str, occurrence: int) -> Outcome:
        """Acknowledge an alarm, as the board does."""

        async def ask(daemon: Daemon) -> Outcome:
            return await daemon.acknowledge(alarm, occurrence)

        return self._asked(ask)

    def person(self) -> Person:
        """Say whom the daemon takes this test for."""

        async def ask(daemon: Daemon) -> Person:
            return await daemon.whoami()

        return self._asked(ask)

    def _asked(self, ask: Callable[[Daemon], Awaitable[T]]) -> T:
        async def asked() -> T:
            daemon = Daemon(self.socket, SystemClock())
            try:
                return await ask(daemon)
            finally:
                await daemon.close()

        return asyncio.run(asked())


@dataclass(frozen=True)
class Heard:
    """One message as the broker gave it to the witness."""

    topic: str
    payload: bytes
    qos: int
    retained: bool
    """Flag of the message as it came: set only where it was kept from before the subscription."""
    at: float
    """Monotonic, s."""

    @property
    def document(self) -> dict[str, Any]:
        found: dict[str, Any] = json.loads(self.payload)
        return found


class Observer:
    """Hears everything the gateway publishes; connects again by itself.

    Parameters
    ----------
    port : int
        Of the broker, on loopback.
    subscription : str
        A topic filter.
    client_id : str
        With a name the broker keeps for it what comes while it is away.
    """

    def __init__(self, port: int, subscription: str = "edgemon/v1/site/#", client_id: str = "") -> None:
        self._lock = threading.Lock()
        self._heard: list[Heard] = []
        self._subscribed = threading.Event()
        self._client = Client(
            CallbackAPIVersion.VERSION2, client_id, clean_session=not client_id, protocol=MQTTProtocolVersion.MQTTv311
        )
        self._client.reconnect_delay_set(1, 1)
        self._client.on_connect = lambda client, *_: client.subscribe(subscription, 1)
        self._client.on_subscribe = lambda *_: self._subscribed.set()
        self._client.on_message = self._note
        self._client.connect("127.0.0.1", port)
        self._client.loop_start()
        assert self._subscribed.wait(WITHIN_S), "no SUBACK"

    def __enter__(self) -> "Observer":
        return self

    def __exit__(self, *_: object) -> None:
        self._client.disconnect()
        self._client.loop_stop()

    @property
    def heard(self) -> list[Heard]:
        """All that came so far."""
        with self._lock:
            return list(self._heard)

    @property
    def newest(self) -> dict[str, Heard]:
        """The last message of each topic."""
        return {one.topic: one for one in self.heard}

    def state(self, path: str) -> dict[str, Any]:
        """Give the newest document of `gateway`, `machine/M` or `machine/M/P`; empty where none came."""
        one = self.newest.get(f"{SITE}/{path}")
        return one.document if one else {}

    def events(self, kind: str = "") -> list[dict[str, Any]]:
        """Give the journal as published."""
        entries = [one.document for one in self.heard if one.topic == f"{SITE}/event"]
        return [entry for entry in entries if kind in ("", entry["kind"])]

    def wait_for(self, path: str, holds: Callable[[dict[str, Any]], Any], within_s: float = WITHIN_S) -> dict[str, Any]:
        """Wait until the newest document of a state is as wanted, and give it."""
        wait_until(lambda: (state := self.state(path)) and holds(state), within_s, lambda: self.state(path))
        return self.state(path)

    def _note(self, client: Client, userdata: object, message: MQTTMessage) -> None:
        one = Heard(message.topic, bytes(message.payload), message.qos, message.retain, time.monotonic())
        with self._lock:
            self._heard.append(one)
