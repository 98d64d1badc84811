"""Sensors that send spectra, or levels only, on a real gateway and broker: judged, kept over a kill, recorded and replayed."""

import subprocess
import sys
import time
from pathlib import Path

import pytest

from tests.support.bare_client import BareClient
from tests.support.broker import Mosquitto
from tests.support.daemon import DaemonProcess, Observer, gateway_toml, reading_topic, wait_until
from tests.support.spectra import pack, parts, spectrum

pytestmark = pytest.mark.live

PLANT = """
[site]
id = "saltmarsh"
[[machine]]
id = "hp-pump-1"
severity_class = "iso20816-3/group2/rigid"
rpm = 2975
[[machine.limit]]
level = "velocity_rms"
unit = "mm/s"
on_delay = 1
off_delay = 1
[[machine.point]]
id = "pump-de-h"
sensor = "s-0001"
axis = "x"
direction = "horizontal"
stale_after_s = 3600
[[machine.point]]
id = "motor-de-h"
sensor = "s-0002"
axis = "x"
stale_after_s = 3600
[[sensor]]
id = "s-0001"
sends = "spectrum"
[[sensor]]
id = "s-0002"
sends = "levels"
"""
LINES, LEVELS = "machine/hp-pump-1/pump-de-h", "machine/hp-pump-1/motor-de-h"
TOPIC = "edgemon/v1/sensor/s-0001/spectrum"


def test_both_kinds_are_judged_and_survive_a_kill(tmp_path: Path) -> None:
    begin = time.time() - 60.0
    with (
        Mosquitto(tmp_path / "broker") as broker,
        Observer(broker.port) as witness,
        BareClient(broker.port) as hand,
        DaemonProcess(tmp_path / "em", PLANT, gateway_toml(broker.url)) as daemon,
    ):
        witness.wait_for("gateway", lambda state: state["status"] == "online")
        wait_until(lambda: witness.events("link-changed"))
        hand.publish(TOPIC, spectrum(begin, 2.0))
        hand.publish(reading_topic("s-0002"), pack(begin, velocity_rms=(2.0, "mm/s")))
        state = witness.wait_for(LINES, lambda one: one["state"] == "normal")
        assert state["levels"]["velocity_rms"]["value"] == pytest.approx(2.0, rel=0.01)
        assert (state["sends"], "crest_factor" in state["left_out"]) == ("spectrum", True)
        assert witness.wait_for(LEVELS, lambda one: one["state"] == "normal")["sends"] == "levels"

        first, second = parts(begin + 20.0, 6.0, 2)
        hand.publish(TOPIC, first)
        wait_until(lambda: daemon.snapshot().gateway.open_captures == 1)
        daemon.kill()
        hand.publish_all([(TOPIC, first), (TOPIC, second), (TOPIC, second)])
        hand.publish(reading_topic("s-0002"), pack(begin + 20.0, velocity_rms=(0.2, "in/s")))
        daemon.start()
        assert witness.wait_for(LINES, lambda one: one["state"] == "alarm")["quality"] == "good"
        # 0.2 in/s are 5.08 mm/s
        levels = witness.wait_for(LEVELS, lambda one: one["state"] == "alarm")["levels"]
        assert levels["velocity_rms"]["value"] == pytest.approx(5.08)
        made = wait_until(lambda: len(witness.events("diagnosis-made")) >= 2 and witness.events("diagnosis-made"))
        remarks = {one["point"]: " ".join(one["remarks"]) for one in made}
        assert "envelope" in remarks["pump-de-h"]
        assert "levels only" in remarks["motor-de-h"]
        sensors = {one.id: one for one in daemon.snapshot().sensors}
        assert sensors["s-0001"].captures == 2

        hand.publish(TOPIC, b"rubbish")
        (told,) = wait_until(lambda: witness.events("message-rejected"))
        assert told["cause"] == "unknown-format"
        assert "Traceback" not in daemon.log


def test_a_spectrum_is_recorded_and_replayed_marked(tmp_path: Path) -> None:
    out = tmp_path / "traffic.jsonl"
    with Mosquitto(tmp_path / "broker") as broker, BareClient(broker.port) as hand:
        command = [sys.executable, "-m", "edgemon", "record", "--broker", broker.url, "--out", str(out)]
        recording = subprocess.Popen(command, stderr=subprocess.PIPE)
        wait_until(lambda: "SUBACK to edgemon-record-" in broker.log, 30.0)
        hand.publish(TOPIC, spectrum(time.time() - 5.0, 2.0))
        wait_until(lambda: out.exists() and out.read_text().count("\n") == 2)
        recording.terminate()
        assert recording.communicate(timeout=60)[1] == b""
        with Observer(broker.port, "edgemon/v1/sensor/#") as witness:
            command = [sys.executable, "-m", "edgemon", "replay", str(out), "--broker", broker.url, "--speed", "0"]
            assert subprocess.run(command, capture_output=True, timeout=60, check=False).returncode == 0
            (heard,) = wait_until(lambda: witness.heard)
        assert heard.topic == TOPIC
        assert b"csim\xf5" in heard.payload  # CBOR: text of 3, "sim", true
