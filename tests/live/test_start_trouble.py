"""A start on a disk that lets nothing be written: watched and told, and everything is there once when it can be."""

import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from tests.support.bare_client import BareClient
from tests.support.broker import Mosquitto
from tests.support.captures import capture
from tests.support.daemon import DaemonProcess, Observer, capture_topic, gateway_toml, plant_toml, wait_until
from tests.support.small_disk import DaemonOnDisk, SmallDisk

pytestmark = [pytest.mark.live, pytest.mark.slow]

GATEWAY = '[access]\nsocket = "run.sock"\n[store]\nballast_mib = 0\n'


class Stage:
    """A sensor that sends, and what becomes of it."""

    def __init__(self, hand: BareClient, witness: Observer, daemon: DaemonProcess) -> None:
        self._hand, self.witness, self.daemon = hand, witness, daemon
        self._began = time.time() - 400.0
        self.sent = 0

    def send(self, *velocities: float, qos: int = 1) -> None:
        for velocity in velocities:
            self.sent += 1
            payload = capture(self._began + self.sent, velocity, capture_id=f"c{self.sent}")
            self._hand.publish(capture_topic("s-0001"), payload, qos)

    def shown(self) -> None:
        """Wait until the newest capture is."""
        point = "machine/hp-pump-1/pump-de-h"
        wait_until(lambda: self.witness.state(point).get("capture") == f"c{self.sent}", 30.0, lambda: self.daemon.log)

    def alarm_state(self) -> str:
        alarms = self.daemon.snapshot().machines[0].points[0].alarms
        return next((one.alarm_state for one in alarms if one.level == "velocity_rms"), "NORM")

    def diagnoses(self) -> int:
        return len({one["seq"] for one in self.witness.events("diagnosis-made") if one["point"] == "pump-de-h"})

    def changes(self) -> list[str]:
        told = {one["seq"]: one for one in self.witness.events("alarm-changed")}  # the last before a kill are told once more
        return [one["change"] for _, one in sorted(told.items()) if one["alarm"].endswith("de-h/velocity_rms")]


def begun_on_an_unwritable_disk(stage: Stage, disk: SmallDisk, free: Callable[[], None]) -> None:
    """Whatever is the matter with the disk: from the start on it to the day after."""
    daemon, witness = stage.daemon, stage.witness
    gateway = daemon.start().gateway
    assert not gateway.store_ok
    assert gateway.store_keeps == "nothing"
    assert stage.alarm_state() == "ACKED", "states are as they were stored last"
    wait_until(lambda: not witness.state("gateway").get("store_ok", True))
    before = gateway.captures
    stage.send(*[9.0] * 60)  # more than a broker sends without being acknowledged
    stage.shown()
    stage.send(*[1.0] * 60, 9.0)
    stage.shown()  # what has QoS 0 may overtake what has QoS 1, and would make it late
    stage.send(9.0, qos=0)  # no broker delivers that again
    stage.shown()
    assert stage.alarm_state() == "UNACK"
    alarm = next(one for one in daemon.snapshot().machines[0].points[0].alarms if one.level == "velocity_rms")
    assert daemon.acknowledge(alarm.id, alarm.occurrence).done
    assert daemon.snapshot().gateway.captures == before, "nothing of it is stored"
    free()
    wait_until(lambda: daemon.snapshot().gateway.store_ok, 60.0, lambda: daemon.log)
    wait_until(lambda: daemon.snapshot().gateway.captures == stage.sent, 60.0, lambda: daemon.snapshot().gateway)
    assert stage.alarm_state() == "ACKED", "what a person did meanwhile holds"
    stage.send(1.0)
    stage.shown()
    wait_until(lambda: stage.changes()[-1:] == ["CLEARED"], why=stage.changes)
    assert stage.changes() == ["RAISED", "ACK", "CLEARED", "RAISED", "ACK", "CLEARED"]
    works = [one for one in witness.events("store-changed") if one.get("since")]
    assert len(works) == 1
    assert works[0]["late"] >= 5
    assert "1 messages with QoS 0" in works[0]["detail"]
    wait_until(lambda: stage.diagnoses() >= 2, why=lambda: witness.events("diagnosis-made"))
    out = exported(disk, daemon)
    assert len(out) == len(set(out)) == stage.sent
    assert (daemon.snapshot().gateway.late, daemon.snapshot().gateway.rejected) == (0, 0)
    assert "Traceback" not in daemon.log
    assert "left unwritten" not in daemon.log, "all of it was handed on"
    assert daemon.terminate()[0] == 0


def exported(disk: SmallDisk, daemon: DaemonProcess) -> list[str]:
    """Name the captures that are stored, by way of the command."""
    text = disk.run(sys.executable, "-m", "edgemon", "export", "captures", "--config", str(daemon.folder), "--format", "csv")
    return [line.split(",")[1] for line in text.splitlines()[1:]]


@contextmanager
def stage_on(disk_of: Path) -> Iterator[tuple[Stage, SmallDisk]]:
    """Set everything up, with an alarm that stands and is acknowledged."""
    folder = disk_of / "em"
    with (
        Mosquitto(disk_of / "broker") as broker,
        Observer(broker.port) as witness,
        SmallDisk(folder / "state") as disk,
        DaemonOnDisk(disk, folder, plant_toml(1), gateway_toml(broker.url) + GATEWAY) as daemon,
        BareClient(broker.port) as hand,
    ):
        stage = Stage(hand, witness, daemon)
        stage.send(9.0)
        stage.shown()
        alarm = next(one for one in daemon.snapshot().machines[0].points[0].alarms if one.level == "velocity_rms")
        assert daemon.acknowledge(alarm.id, alarm.occurrence).done
        yield stage, disk


def test_a_file_system_that_is_read_only_after_an_orderly_stop(tmp_path: Path) -> None:
    with stage_on(tmp_path) as (stage, disk):
        stage.daemon.terminate()
        disk.allow_writing(False)
        begun_on_an_unwritable_disk(stage, disk, lambda: disk.allow_writing(True))


def test_a_file_system_that_is_read_only_after_a_crash(tmp_path: Path) -> None:
    with stage_on(tmp_path) as (stage, disk):
        stage.daemon.kill()
        disk.allow_writing(False)
        begun_on_an_unwritable_disk(stage, disk, lambda: disk.allow_writing(True))


def test_a_full_disk(tmp_path: Path) -> None:
    with stage_on(tmp_path) as (stage, disk):
        stage.daemon.terminate()
        disk.fill()
        begun_on_an_unwritable_disk(stage, disk, disk.empty)


def test_a_damaged_store_on_a_read_only_file_system(tmp_path: Path) -> None:
    """Nothing can be read, nothing be mended: watched from nothing; later the alarm stands that stood, and all is there."""
    with stage_on(tmp_path) as (stage, disk):
        stage.daemon.terminate()
        disk.run("dd", "if=/dev/urandom", f"of={stage.daemon.store}", "bs=100", "count=1", "conv=notrunc")
        disk.allow_writing(False)
        gateway = stage.daemon.start().gateway
        assert not gateway.store_ok
        assert stage.alarm_state() == "NORM"
        stage.send(9.0)
        stage.shown()
        assert stage.alarm_state() == "UNACK"
        disk.allow_writing(True)
        wait_until(lambda: stage.daemon.snapshot().gateway.store_ok, 60.0, lambda: stage.daemon.log)
        wait_until(lambda: stage.daemon.snapshot().gateway.captures == 2, 60.0, lambda: stage.daemon.snapshot().gateway)
        assert stage.alarm_state() == "ACKED", "it never went"
        assert stage.changes()[:2] == ["RAISED", "ACK"]
        assert "damaged store set aside" in stage.daemon.snapshot().gateway.store_remark
        assert sorted(exported(disk, stage.daemon)) == ["c1", "c2"]
        assert "Traceback" not in stage.daemon.log
