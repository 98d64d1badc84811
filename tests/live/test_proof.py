"""A proof on a real daemon: announced, raised at the sensor's topic, told to a real script, killed, acknowledged, proven."""

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
echo "$EDGEMON_HORN $EDGEMON_TEST $EDGEMON_SIM $EDGEMON_ALARM|$EDGEMON_PROOF" >> {log}
"""
OUTPUTS = """
[[annunciator]]
name = "horn"
command = ["./horn"]

[[annunciator]]
name = "beacon"
topic = "annunciator"
"""
POINT = "hp-pump-1/pump-de-h"
ALARM = f"{POINT}/velocity_rms/sim"


def command(daemon: DaemonProcess, *words: str) -> subprocess.CompletedProcess[str]:
    line = [sys.executable, "-m", "edgemon", *words, "--config", str(daemon.folder)]
    return subprocess.run(line, capture_output=True, text=True, timeout=60, check=False)


def test_a_point_is_proven_through_the_real_path(tmp_path: Path) -> None:
    folder, log = tmp_path / "em", tmp_path / "log"
    folder.mkdir()
    (folder / "horn").write_text(SCRIPT.format(log=log))
    (folder / "horn").chmod(0o755)

    def last() -> str:
        return log.read_text().splitlines()[-1].partition("|")[0].strip() if log.exists() else ""

    with (
        Mosquitto(tmp_path / "broker") as broker,
        Observer(broker.port) as witness,
        BareClient(broker.port) as hand,
        DaemonProcess(folder, plant_toml(1), gateway_toml(broker.url, OUTPUTS)) as daemon,
    ):
        wait_until(lambda: daemon.snapshot().gateway.links[0].up, why=lambda: daemon.log)
        hand.publish(capture_topic("s-0001"), capture(time.time(), 5.0, sim=True))
        wait_until(lambda: daemon.snapshot().machines[0].points[0].alarms)
        assert not daemon.snapshot().gateway.sounding, "without a proof simulated alarms call nobody"

        begun = command(daemon, "proof", "start", "--point", POINT, "--for", "10m", "--reason", "first proof", "--yes")
        assert (begun.returncode, begun.stderr) == (0, "")
        (started,) = wait_until(lambda: witness.events("proof-started"))
        assert (started["machine"], started["point"], started["reason"]) == ("hp-pump-1", "pump-de-h", "first proof")
        witness.wait_for("annunciator", lambda state: state["proof"] and not state["horn"])
        witness.wait_for("gateway", lambda state: state["proof"] and state["proof"]["scope"] == POINT)
        wait_until(lambda: (proof := daemon.snapshot().gateway.proof) is not None and proof.is_open)

        hand.publish(capture_topic("s-0001"), capture(time.time(), 3.5, sim=True))
        wait_until(lambda: [one for one in witness.events("proof-carried") if one["severity"] == "alert"])
        hand.publish(capture_topic("s-0001"), capture(time.time(), 5.0, sim=True))
        wait_until(lambda: last() == f"1 1 1 {ALARM}", why=lambda: daemon.log)
        told = witness.wait_for("annunciator", lambda state: state["horn"])
        assert (told["test"], told["sim"], told["alarm"]) == (True, True, ALARM)
        assert told["text"].startswith("PROOF, no real alarm: High-pressure pump 1")

        daemon.kill()
        daemon.start()
        wait_until(lambda: daemon.snapshot().gateway.sounding)
        proof = daemon.snapshot().gateway.proof
        assert proof is not None
        assert proof.is_open

        hand.publish(capture_topic("s-0001"), capture(time.time(), 5.0))
        wait_until(lambda: last() == f"1 0 0 {POINT}/velocity_rms", why=lambda: log.read_text())
        assert command(daemon, "alarms", "acknowledge", f"{POINT}/velocity_rms").returncode == 0
        wait_until(lambda: last() == f"1 1 1 {ALARM}")
        assert command(daemon, "alarms", "acknowledge", ALARM).returncode == 0

        def report() -> dict[str, object]:
            found: dict[str, object] = json.loads(command(daemon, "proof", "status", "--json").stdout)
            return found

        rows = wait_until(lambda: [row for row in report()["rows"] if not row["lacks"]], why=report)  # type: ignore[attr-defined]
        assert [(row["machine"], row["point"]) for row in rows] == [("hp-pump-1", "pump-de-h")]
        assert {one["to"] for one in rows[0]["shown"]["carried"]} == {"broker", "annunciator horn", "annunciator beacon"}
        assert rows[0]["shown"]["acknowledged"][-1]["tried"] == {"level": "velocity_rms", "severity": "alarm"}
        state = json.loads(command(daemon, "commission", "--json").stdout)
        (checks,) = (row["checks"] for row in state["rows"] if row["point"] == "pump-de-h")
        stands = {check["name"]: check["stand"] for check in checks}
        assert (stands["alarm proven"], stands["sensor heard"], stands["bearing"]) == ("done", "done", "open")
        assert "points complete" in command(daemon, "commission").stdout
        assert command(daemon, "proof", "stop", "--reason", "done").returncode == 0
        wait_until(lambda: witness.events("proof-ended"))
        assert daemon.snapshot().gateway.proof is None
        again = command(daemon, "proof", "stop", "--reason", "done")
        assert again.returncode == 1
        assert "no proof is on" in again.stderr
        assert "Traceback" not in daemon.log
