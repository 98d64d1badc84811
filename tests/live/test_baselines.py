"""A baseline on a real gateway: learnt over MQTT, approved by command, in force at once and after the daemon was killed."""

import json
import subprocess
import sys
import time
from pathlib import Path

import pytest

from tests.support.bare_client import BareClient
from tests.support.broker import Mosquitto
from tests.support.daemon import DaemonProcess, Observer, gateway_toml, reading_topic, wait_until

pytestmark = pytest.mark.live

PLANT = """
[site]
id = "saltmarsh"
[[machine]]
id = "hp-pump-1"
severity_class = "iso20816-3/group2/rigid"
rpm = 2975
baseline = { captures = 8 }
[[machine.point]]
id = "pump-de-h"
sensor = "s-0001"
axis = "x"
stale_after_s = 3600
"""
WHERE = ("hp-pump-1", "pump-de-h", "velocity_rms")
STATE = "machine/hp-pump-1/pump-de-h"


def edgemon(folder: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "edgemon", *arguments, "--config", str(folder)]
    return subprocess.run(command, capture_output=True, text=True, timeout=60, check=False)


def alert(state: dict[str, object]) -> object:
    levels = state["levels"]
    assert isinstance(levels, dict)
    return levels["velocity_rms"]["alert"]


def test_learnt_approved_killed_and_still_in_force_then_retired(tmp_path: Path) -> None:
    folder = tmp_path / "em"
    with (
        Mosquitto(tmp_path / "broker") as broker,
        Observer(broker.port) as witness,
        BareClient(broker.port) as hand,
        DaemonProcess(folder, PLANT, gateway_toml(broker.url)) as daemon,
    ):
        witness.wait_for("gateway", lambda state: state["status"] == "online")
        wait_until(lambda: witness.events("link-changed"))
        begin = time.time() - 600.0
        for number, value in enumerate((1.20, 1.22, 1.18, 1.21, 1.19, 1.20, 1.23, 1.17)):
            t = begin + 20.0 * number
            pack = [{"n": "rpm", "u": "r/min", "v": 2975, "t": t}, {"n": "x/velocity_rms", "u": "mm/s", "v": value, "t": t}]
            hand.publish(reading_topic("s-0001"), json.dumps(pack).encode())
        (proposed,) = wait_until(lambda: witness.events("baseline-proposed"), why=lambda: daemon.log)
        assert (proposed["median"], proposed["count"]) == (pytest.approx(1.20), 8)
        assert alert(witness.state(STATE)) == 2.8
        listed = json.loads(edgemon(folder, "baseline", "--json").stdout)
        assert [(one["state"], one["alert_follows"]) for one in listed] == [("proposed", pytest.approx(1.9))]
        done = edgemon(folder, "baseline", "approve", *WHERE, "--reason", "quiet week")
        assert (done.returncode, done.stderr) == (0, "")
        # ISO 10816-3:2009 5.4.1: 1.20 mm/s + 25 % of B/C, 2.8 mm/s
        assert witness.wait_for(STATE, lambda state: alert(state) != 2.8)["levels"]["velocity_rms"]["alert"] == 1.9
        daemon.kill()
        snapshot = daemon.start()
        (level,) = snapshot.machines[0].points[0].levels
        assert level.alert == 1.9
        assert "approved by" in level.origin
        for number in range(2):  # on-delay 2
            pack = [{"n": "x/velocity_rms", "u": "mm/s", "v": 2.3, "t": begin + 200.0 + number}]
            hand.publish(reading_topic("s-0001"), json.dumps(pack).encode())
        witness.wait_for(STATE, lambda state: state["state"] == "alert")
        again = edgemon(folder, "baseline", "approve", *WHERE, "--reason", "quiet week")
        assert (again.returncode, "approved already" in again.stderr) == (1, True)
        assert edgemon(folder, "baseline", "retire", *WHERE, "--reason", "bearing replaced").returncode == 0
        witness.wait_for(STATE, lambda state: alert(state) == 2.8)
        told = edgemon(folder, "forecast")
        assert told.returncode == 0
        assert "alert 2.8 mm/s: no forecast: too few values" in told.stdout
        assert "Traceback" not in daemon.log
