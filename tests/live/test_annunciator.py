"""Horn and beacon of a real daemon: a real script, a real broker, a daemon killed in the middle, a test by command."""

import json
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

SCRIPT = """#!/bin/sh
echo "$EDGEMON_HORN $EDGEMON_BEACON $EDGEMON_TEST $EDGEMON_ALARM" >> {log}
"""
OUTPUTS = """
[[annunciator]]
name = "horn"
command = ["./horn"]

[[annunciator]]
name = "stuck"
command = ["/bin/sh", "-c", "sleep 600"]
timeout_s = 0.5

[[annunciator]]
name = "beacon"
topic = "annunciator"
"""


def command(daemon: DaemonProcess, *words: str) -> subprocess.CompletedProcess[str]:
    line = [sys.executable, "-m", "edgemon", "alarms", *words, "--config", str(daemon.folder)]
    return subprocess.run(line, capture_output=True, text=True, timeout=60, check=False)


def test_horn_and_beacon_from_the_sensor_to_the_script_across_a_kill(tmp_path: Path) -> None:
    folder, log = tmp_path / "em", tmp_path / "log"
    folder.mkdir()
    (folder / "horn").write_text(SCRIPT.format(log=log))
    (folder / "horn").chmod(0o755)
    plant = plant_toml(1) + "\n[alarms]\nsilence_s = 0\n"

    def last() -> str:
        return log.read_text().splitlines()[-1].strip() if log.exists() else ""

    with (
        Mosquitto(tmp_path / "broker") as broker,
        Observer(broker.port) as witness,
        BareClient(broker.port) as hand,
        DaemonProcess(folder, plant, gateway_toml(broker.url, OUTPUTS)) as daemon,
    ):
        wait_until(lambda: last() == "0 off 0", why=lambda: daemon.log)
        witness.wait_for("annunciator", lambda state: state["horn"] is False and state["beacon"] == "off")
        stuck = wait_until(lambda: [one for one in daemon.snapshot().gateway.links if "stuck" in one.name and not one.up])
        assert "longer than 0.5 s" in stuck[0].detail
        wait_until(lambda: [one for one in witness.events("link-changed") if "stuck" in one["link"]])

        hand.publish(capture_topic("s-0001"), capture(time.time(), 5.0))
        alarm = "hp-pump-1/pump-de-h/velocity_rms"
        wait_until(lambda: last() == f"1 alarm 0 {alarm}", why=lambda: daemon.log)
        told = witness.wait_for("annunciator", lambda state: state["horn"])
        assert (told["beacon"], told["test"], told["alarm"], told["severity"]) == ("alarm", False, alarm, "alarm")
        assert "High-pressure pump 1" in told["text"]

        silenced = command(daemon, "silence")
        assert (silenced.returncode, silenced.stderr) == (0, "")
        wait_until(lambda: last() == "0 alarm 0")
        witness.wait_for("annunciator", lambda state: not state["horn"] and state["beacon"] == "alarm")
        assert witness.events("alarms-silenced")[0]["alarms"] == [alarm]

        daemon.kill()
        daemon.start()
        wait_until(lambda: log.read_text().splitlines()[-2:] == ["0 alarm 0 "] * 2)
        assert not daemon.snapshot().gateway.sounding

        assert command(daemon, "lamp-test").returncode == 0
        wait_until(lambda: last() == "1 alarm 1")
        witness.wait_for("annunciator", lambda state: state["test"] and state["horn"] and state["alarm"] is None)
        assert daemon.snapshot().gateway.test_until is not None
        wait_until(lambda: last() == "0 alarm 0")
        assert witness.events("outputs-tested")

        listed = json.loads(command(daemon, "--json").stdout)
        (standing,) = (one for one in listed if one["id"] == alarm)
        assert standing["silenced_at"].endswith("Z")
        assert command(daemon, "acknowledge", alarm).returncode == 0
        wait_until(lambda: last() == "0 off 0")
        again = command(daemon, "acknowledge", alarm)
        assert again.returncode == 1
        assert "nothing to acknowledge" in again.stderr
        assert command(daemon, "shelve", alarm, "--for", "9h", "--reason", "await part").returncode == 1
        assert command(daemon, "shelve", alarm, "--for", "20m", "--reason", "await part").returncode == 0
        assert command(daemon, "unshelve", alarm).returncode == 0
        assert command(daemon, "out-of-service", alarm, "--reason", "sensor swap").returncode == 0
        assert command(daemon, "return-to-service", alarm).returncode == 0
        unknown = command(daemon, "acknowledge", "hp-pump-1/pump-de-h/velocity_rsm")
        assert unknown.returncode == 1
        assert f'did you mean "{alarm}"' in unknown.stderr
        assert "Traceback" not in daemon.log
