"""From a sensor's capture on a real broker to a spectrum on the terminal, through a real daemon."""

import json
import math
import subprocess
import sys
import time
from pathlib import Path

import pytest

from tests.support.bare_client import BareClient
from tests.support.broker import Mosquitto
from tests.support.captures import capture
from tests.support.daemon import DaemonProcess, Observer, capture_topic, gateway_toml, plant_toml, wait_until

pytestmark = pytest.mark.live
POINT = ("--point", "hp-pump-1/pump-de-h")


def edgemon(folder: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "edgemon", "spectrum", *POINT, "--config", str(folder), *arguments]
    return subprocess.run(command, capture_output=True, text=True, timeout=60, check=False)


def test_a_capture_sent_is_a_spectrum_seen(tmp_path: Path) -> None:
    """A sine of 3 mm/s r.m.s. at 50 Hz: acceleration 2 pi 50 times that (closed form)."""
    folder = tmp_path / "em"
    t = round(time.time() - 5.0, 3)
    with (
        Mosquitto(tmp_path / "broker") as broker,
        Observer(broker.port) as witness,
        BareClient(broker.port) as hand,
        DaemonProcess(folder, plant_toml(1), gateway_toml(broker.url)) as daemon,
    ):
        wait_until(lambda: witness.events("link-changed"))
        hand.publish(capture_topic("s-0001"), capture(t, 3.0, capture_id="first", rpm=3000.0))
        hand.publish(capture_topic("s-0001"), capture(t + 1.0, 1.0, capture_id="second", rpm=3000.0))
        witness.wait_for("machine/hp-pump-1/pump-de-h", lambda state: state["capture"] == "second")
        page = json.loads(edgemon(folder, "--captures", "--json").stdout)
        first = json.loads(edgemon(folder, "--capture", "first", "--json", "--axis", "orders").stdout)
        newest = json.loads(edgemon(folder, "--json", "--quantity", "acceleration", "--detector", "peak").stdout)
        text = edgemon(folder)
        wave = edgemon(folder, "--waveform", "--json")
        envelope = edgemon(folder, "--envelope", "--fmax", "200")
        refused = edgemon(folder, "--lines", "25600")
        assert "Traceback" not in daemon.log
    assert [one["id"] for one in page["captures"]] == ["second", "first"]
    assert first["peaks"][0]["amplitude"] == pytest.approx(3.0, rel=5e-3)
    assert (first["peaks"][0]["x"], first["peaks"][0]["name"]) == (pytest.approx(1.0, abs=0.01), "1x")
    assert newest["peaks"][0]["amplitude"] == pytest.approx(math.sqrt(2.0) * 2.0 * math.pi * 50.0 * 1e-3, rel=5e-3)
    assert "velocity spectrum, mm/s r.m.s." in text.stdout
    assert json.loads(wave.stdout)["rms"] == pytest.approx(2.0 * math.pi * 50.0 * 1e-3, rel=5e-3)
    assert envelope.returncode == 0, envelope.stderr
    assert (refused.returncode, "at most" in refused.stderr) == (1, True)
