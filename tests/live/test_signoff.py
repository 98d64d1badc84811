"""A sign-off on a real daemon, by the command line: given, kept over a kill, withdrawn by a changed plant file at a reload."""

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import pytest

from tests.support.bare_client import BareClient
from tests.support.broker import Mosquitto
from tests.support.captures import capture
from tests.support.daemon import DaemonProcess, Observer, capture_topic, gateway_toml, plant_toml, wait_until

pytestmark = pytest.mark.live

POINT = "hp-pump-1/pump-de-h"


def command(daemon: DaemonProcess, *words: str) -> subprocess.CompletedProcess[str]:
    line = [sys.executable, "-m", "edgemon", "commission", *words, "--config", str(daemon.folder)]
    return subprocess.run(line, capture_output=True, text=True, timeout=60, check=False)


def sign_of(daemon: DaemonProcess) -> dict[str, Any]:
    whole = json.loads(command(daemon, "--json").stdout)
    assert (whole["site"], whole["points"]) == ("saltmarsh", 2)
    (row,) = (one for one in whole["rows"] if one["point"] == "pump-de-h")
    assert isinstance(row["sign"], dict)
    return row["sign"]


def test_a_point_is_signed_off_and_a_changed_limit_withdraws_it(tmp_path: Path) -> None:
    plain = plant_toml(1)
    with (
        Mosquitto(tmp_path / "broker") as broker,
        Observer(broker.port) as witness,
        BareClient(broker.port) as hand,
        DaemonProcess(tmp_path / "em", plain, gateway_toml(broker.url)) as daemon,
    ):
        refused = command(daemon, "sign-off", POINT, "--yes", "--remark", "x")
        assert (refused.returncode, refused.stdout) == (1, "")
        assert "nothing real of hp-pump-1/pump-de-h was ever heard" in refused.stderr
        hand.publish(capture_topic("s-0001"), capture(time.time(), 1.0))
        wait_until(lambda: daemon.snapshot().machines[0].points[0].state == "normal", why=lambda: daemon.log)
        assert "say in a remark why" in command(daemon, "sign-off", POINT, "--yes").stderr

        signed = command(daemon, "sign-off", POINT, "--yes", "--remark", "tapped: the right sensor")
        assert (signed.returncode, signed.stderr) == (0, "")
        assert "    - alarm proven: open, " in signed.stdout
        (told,) = wait_until(lambda: witness.events("point-signed-off"))
        assert (told["machine"], told["point"], told["remark"]) == (*POINT.split("/"), "tapped: the right sensor")
        assert told["by"] == daemon.person().name

        daemon.kill()
        daemon.start()
        given = sign_of(daemon)
        assert (given["at"], given["withdrawn_at"], given["by"]) == (told["t"], None, told["by"])
        assert "alarm proven" in given["left_open"]
        assert "sensor: s-0001" in given["signed_for"]
        assert "[x] pump-de-h" in command(daemon, "--handover").stdout

        (daemon.folder / "plant.toml").write_text(plain.replace("alert = 2.8", "alert = 3.0", 1))
        os.kill(daemon.pid, signal.SIGHUP)
        (gone,) = wait_until(lambda: witness.events("sign-off-withdrawn"), why=lambda: daemon.log)
        assert gone["by"] == ""
        assert "limit velocity_rms alert 3 mm/s" in gone["reason"]
        assert "signed for alert 2.8 mm/s" in gone["reason"]
        taken = wait_until(lambda: (now := sign_of(daemon))["withdrawn_at"] and now)
        assert taken["withdrawn_because"] == gone["reason"]
        assert "[ ] pump-de-h" in command(daemon, "--handover").stdout
        assert "Traceback" not in daemon.log
