"""A store that is damaged, before the start and while the daemon runs: it is mended, alarms stand, nothing crash-loops."""

import os
import sqlite3
import time
from contextlib import closing
from pathlib import Path

import pytest

from tests.support.bare_client import BareClient
from tests.support.broker import Mosquitto
from tests.support.captures import capture
from tests.support.daemon import DaemonProcess, Observer, capture_topic, gateway_toml, plant_toml, wait_until

pytestmark = [pytest.mark.live, pytest.mark.slow]

PAGE = 4096


def noise(path: Path, first: int, last: int) -> None:
    """Fill pages of a file with noise, in place; page 1 is the first."""
    with path.open("r+b") as file:
        for page in range(first, last + 1):
            file.seek((page - 1) * PAGE)
            file.write(os.urandom(PAGE))
        file.flush()
        os.fsync(file.fileno())


def test_before_the_start_and_while_it_runs(tmp_path: Path) -> None:
    began = time.time() - 300.0
    with (
        Mosquitto(tmp_path / "broker") as broker,
        Observer(broker.port) as witness,
        DaemonProcess(tmp_path / "em", plant_toml(1), gateway_toml(broker.url)) as daemon,
        BareClient(broker.port) as hand,
    ):
        sent = 0

        def send(velocity: float) -> None:
            nonlocal sent
            sent += 1
            hand.publish(capture_topic("s-0001"), capture(began + sent, velocity, capture_id=f"c{sent}"))

        def shows(name: str) -> bool:
            return bool(witness.state("machine/hp-pump-1/pump-de-h").get("capture") == name)

        for _ in range(100):
            send(9.0)
        wait_until(lambda: shows("c100"))
        alarm = next(one for one in daemon.snapshot().machines[0].points[0].alarms if one.level == "velocity_rms")
        assert daemon.acknowledge(alarm.id, alarm.occurrence).done
        code, _ = daemon.terminate()
        assert code == 0

        pages = daemon.store.stat().st_size // PAGE
        noise(daemon.store, pages - 6, pages - 3)
        gateway = daemon.start().gateway
        assert gateway.store_ok
        assert "damaged store set aside" in gateway.store_remark
        (aside,) = daemon.store.parent.glob("*.damaged-*Z")
        assert aside.stat().st_size >= pages * PAGE
        after = next(one for one in daemon.snapshot().machines[0].points[0].alarms if one.level == "velocity_rms")
        assert (after.alarm_state, after.occurrence) == ("ACKED", alarm.occurrence), "it stands as it stood"
        send(9.0)
        wait_until(lambda: shows(f"c{sent}"))
        wait_until(lambda: witness.events("store-mended"))

        wait_until(lambda: daemon.snapshot().gateway.links[0].up)
        pid = daemon.pid
        with closing(sqlite3.connect(daemon.store, timeout=10.0)) as other, other:
            other.execute("INSERT INTO counters VALUES ('noted', 1)")  # so that the daemon reads its pages again
        daemon_files = [daemon.store.with_name(daemon.store.name + end) for end in ("", "-wal")]
        for file in daemon_files:  # while it runs: every page but the first, and whatever the log still holds
            if file.exists() and file.stat().st_size > PAGE:
                noise(file, 2, file.stat().st_size // PAGE)
        for _ in range(200):
            send(1.0)
        wait_until(lambda: shows(f"c{sent}"), 60.0, lambda: daemon.log[-3000:])
        wait_until(lambda: len(list(daemon.store.parent.glob("*.damaged-*Z"))) == 2, 60.0, lambda: daemon.log[-3000:])
        wait_until(lambda: daemon.snapshot().gateway.store_ok, 60.0, lambda: daemon.log[-3000:])
        assert daemon.pid == pid, "the process went on"
        point = daemon.snapshot().machines[0].points[0]
        assert point.state == "normal"
        send(9.0)
        wait_until(lambda: daemon.snapshot().machines[0].points[0].state == "alarm", 30.0, lambda: daemon.log[-3000:])
        wait_until(lambda: shows(f"c{sent}"))
        code, _ = daemon.terminate()
        assert code == 0
        assert "Traceback" not in daemon.log
        wait_until(lambda: daemon.start().gateway.store_ok)
