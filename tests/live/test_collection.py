"""Fast collection on a real daemon and broker: killed in the middle it goes on, ends by itself, and leaves nothing behind."""

import json
import re
import subprocess
import sys
import time
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest

from tests.support.broker import Mosquitto
from tests.support.daemon import DaemonProcess, Observer, gateway_toml, plant_toml, wait_until

pytestmark = [pytest.mark.live, pytest.mark.slow]

TOPIC = "edgemon/v1/sensor/s-0001/schedule"
ROUTINE = {"interval_s": 60.0, "fs": 6400.0, "samples": 8192, "axes": ["x", "z"]}
LASTS_S = 45.0
"""Long enough for a start on a busy machine."""


def command(daemon: DaemonProcess, *words: str) -> subprocess.CompletedProcess[str]:
    line = [sys.executable, "-m", "edgemon", "collect", *words, "--config", str(daemon.folder)]
    return subprocess.run(line, capture_output=True, text=True, timeout=60, check=False)


def kept(port: int, site: str = "edgemon/v1/site/saltmarsh/gateway") -> dict[str, Any] | None:
    """What the broker gives whoever subscribes only now; None: it keeps no schedule, as far as it has told its other states."""
    with Observer(port, "edgemon/v1/#") as late:
        wait_until(lambda: any(one.topic == site and one.retained for one in late.heard))
        found = [one for one in late.heard if one.topic == TOPIC and one.retained]
        assert all(one.qos == 1 for one in found)
        return found[-1].document if found else None


def test_it_outlives_a_kill_ends_by_itself_and_is_withdrawn_with_its_settings(tmp_path: Path) -> None:
    plain = plant_toml(1)
    with (
        Mosquitto(tmp_path / "broker") as broker,
        Observer(broker.port, TOPIC) as witness,
        DaemonProcess(tmp_path / "em", plain + "fs_hz = 6400\nsamples = 8192\n", gateway_toml(broker.url)) as daemon,
    ):
        wait_until(lambda: [one.document for one in witness.heard] == [ROUTINE], why=lambda: daemon.log)
        wait_until(lambda: kept(broker.port) == ROUTINE)

        refused = command(daemon, "start", "s-0001", "--every", "600s", "--for", "1h", "--reason", "rising", "--yes")
        assert (refused.returncode, refused.stdout) == (1, "")
        assert "not faster than the routine" in refused.stderr
        order = ("--every", "10s", "--for", f"{LASTS_S:g}s", "--reason", "rising")
        earliest = time.time() + LASTS_S
        begun = command(daemon, "start", "hp-pump-1/pump-de-h", *order, "--yes")
        latest = time.time() + LASTS_S
        assert (begun.returncode, begun.stderr) == (0, "")
        assert "cost: 4 more captures" in begun.stdout  # 45/10 - 45/60 = 3.75, rounded up
        fast = wait_until(lambda: (newest := witness.heard[-1].document) != ROUTINE and newest)
        until = datetime.fromisoformat(fast["until"]).timestamp()
        assert fast == {**ROUTINE, "interval_s": 10.0, "until": fast["until"]}
        assert earliest - 0.001 <= until <= latest

        daemon.kill()
        assert kept(broker.port) == fast
        count = len(witness.heard)
        daemon.start()
        wait_until(lambda: len(witness.heard) > count, why=lambda: daemon.log)
        assert time.time() < until, "too busy a machine: it started only after the end"
        assert witness.heard[count].document == fast
        status = json.loads(command(daemon, "status", "--json").stdout)
        assert status["sensors"][0]["collection"]["fast"]["until"] == fast["until"]

        ended = wait_until(lambda: witness.heard[-1].document == ROUTINE and witness.heard[-1], LASTS_S + 15.0)
        assert time.time() - (time.monotonic() - ended.at) >= until
        assert kept(broker.port) == ROUTINE

        assert daemon.terminate()[0] == 0
        (daemon.folder / "plant.toml").write_text(plain)
        daemon.start()
        wait_until(lambda: witness.heard[-1].payload == b"", why=lambda: daemon.log)
        wait_until(lambda: kept(broker.port) is None)
        assert "Traceback" not in daemon.log
        sent = re.findall(rf"Received PUBLISH from edgemonlive \(d\d, (q\d, r\d), m\d+, '{TOPIC}'", broker.log)
        assert len(sent) >= 5
        assert set(sent) == {"q1, r1"}
        assert {one.qos for one in witness.heard} == {1}
