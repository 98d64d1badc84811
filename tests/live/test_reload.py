"""SIGHUP on a real daemon under a service manager of the test's own: new settings are taken whole, or not at all."""

import os
import re
import signal
import socket
import time
from contextlib import closing
from pathlib import Path

import httpx
import pytest

from tests.support.bare_client import BareClient
from tests.support.broker import LOOPBACK, Mosquitto, free_port
from tests.support.captures import capture
from tests.support.daemon import DaemonProcess, Observer, capture_topic, gateway_toml, plant_toml, wait_until

pytestmark = pytest.mark.live


class Manager:
    """Hears what the daemon tells its service manager."""

    def __init__(self, folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        self._door = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        self._door.bind(str(folder / "notify"))
        self._door.setblocking(False)
        self.heard: list[str] = []
        monkeypatch.setenv("NOTIFY_SOCKET", str(folder / "notify"))
        monkeypatch.setenv("WATCHDOG_USEC", "2000000")

    def hears(self, word: str, times: int = 1) -> bool:
        while True:
            try:
                self.heard += self._door.recv(4096).decode().splitlines()
            except BlockingIOError:
                return sum(said.startswith(word) for said in self.heard) >= times

    def close(self) -> None:
        self._door.close()


def test_settings_are_taken_whole_or_not_at_all(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "m").mkdir()
    health = free_port()
    with (
        Mosquitto(tmp_path / "broker") as broker,  # before the manager: it would tell it of itself
        closing(Manager(tmp_path / "m", monkeypatch)) as manager,
        Observer(broker.port) as witness,
        BareClient(broker.port) as sensor,
        DaemonProcess(tmp_path / "em", plant_toml(1), gateway_toml(broker.url) + f"[health]\nport = {health}\n") as daemon,
    ):
        wait_until(lambda: manager.hears("READY=1"))
        wait_until(lambda: manager.hears("WATCHDOG=1", 2))
        pid = daemon.pid
        assert httpx.get(f"http://{LOOPBACK}:{health}/readyz", trust_env=False).text == "ready"

        sensor.publish(capture_topic("s-0001"), capture(time.time(), 6.0))
        witness.wait_for("machine/hp-pump-1", lambda state: state["state"] == "alarm")

        # wrong: nothing changes, and the log says where
        plant = tmp_path / "em" / "plant.toml"
        plant.write_text(plant_toml(2).replace("alert = 2.8", "alert = 9.9"))
        os.kill(pid, signal.SIGHUP)
        wait_until(lambda: re.search(r"settings not taken.*plant\.toml", daemon.log), why=lambda: daemon.log)
        wait_until(lambda: manager.hears("READY=1", 2))
        assert len(daemon.snapshot().machines) == 1

        # right: the same process goes on with them; what stands, stands, and what comes in between is kept
        plant.write_text(plant_toml(2))
        os.kill(pid, signal.SIGHUP)
        for _ in range(5):
            sensor.publish(capture_topic("s-0001"), capture(time.time(), 6.0))
        wait_until(lambda: manager.hears("READY=1", 3), why=lambda: daemon.log)
        wait_until(lambda: daemon.snapshot().gateway.captures == 6, why=lambda: daemon.snapshot().gateway)
        machine, _ = daemon.snapshot().machines
        assert machine.state == "alarm"
        (alarm,) = (alarm for point in machine.points for alarm in point.alarms if alarm.point == "pump-de-h")
        assert alarm.occurrence == 1
        (changed,) = wait_until(lambda: witness.events("settings-changed"))
        assert "plant.toml: machine[hp-pump-2].rpm: 2975, before not set" in changed["changes"]
        assert httpx.get(f"http://{LOOPBACK}:{health}/health", trust_env=False).json()["machines"] == 2
        wait_until(lambda: manager.hears("STATUS=1 alarm, 1 unknown; broker up; store ok"), why=lambda: manager.heard)

        # what cannot be started (its port is taken) is not taken either
        with socket.create_server((LOOPBACK, 0)) as taken:
            (tmp_path / "em" / "gateway.toml").write_text(
                gateway_toml(broker.url) + f"[health]\nport = {taken.getsockname()[1]}\n"
            )
            os.kill(pid, signal.SIGHUP)
            wait_until(
                lambda: re.search("not started with the new settings.*health cannot be served", daemon.log),
                why=lambda: daemon.log,
            )
            wait_until(lambda: manager.hears("READY=1", 4))
            assert len(daemon.snapshot().machines) == 2
            assert httpx.get(f"http://{LOOPBACK}:{health}/readyz", trust_env=False).text == "ready"
        assert daemon.pid == pid
        assert daemon.terminate()[0] == 0
        assert manager.hears("STOPPING=1")
        assert "Traceback" not in daemon.log


def test_a_limit_changed_while_the_daemon_was_stopped_is_journalled_at_its_next_start(tmp_path: Path) -> None:
    with (
        Mosquitto(tmp_path / "broker") as broker,
        Observer(broker.port) as witness,
        DaemonProcess(tmp_path / "em", plant_toml(1), gateway_toml(broker.url)) as daemon,
    ):
        plant = tmp_path / "em" / "plant.toml"
        before = plant.read_text()
        assert daemon.terminate()[0] == 0
        daemon.start()  # nothing was changed: nothing is said
        daemon.kill()
        plant.write_text(before.replace("alert = 2.8", "alert = 3.1").replace("off_delay = 1", "off_delay = 3"))
        assert plant.read_text() != before
        daemon.start()
        (told,) = wait_until(lambda: witness.events("settings-changed"))
        assert told["found_at_start"] is True
        limits = before.count("alert = 2.8")
        assert sum(change.endswith(".alert: 3.1, before 2.8") for change in told["changes"]) == limits
        assert sum(change.endswith(".off_delay: 3, before 1") for change in told["changes"]) == limits
        assert all(change.startswith("plant.toml: machine[hp-pump-1].point[") for change in told["changes"])
        daemon.kill()
        daemon.start()
        assert daemon.terminate()[0] == 0
        wait_until(lambda: len(witness.events("gateway-stopped")) == 2, why=lambda: daemon.log)
        assert {one["seq"] for one in witness.events("settings-changed")} == {told["seq"]}  # perhaps published twice
