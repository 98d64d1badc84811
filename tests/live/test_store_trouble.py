"""A disk that is full: machines are watched on, people and programs are told, the broker keeps what comes, nothing is lost."""

import resource
import time
from pathlib import Path

import pytest

from tests.support.bare_client import BareClient
from tests.support.broker import Mosquitto
from tests.support.captures import capture
from tests.support.daemon import DaemonProcess, Observer, capture_topic, gateway_toml, plant_toml, wait_until

pytestmark = [pytest.mark.live, pytest.mark.slow]

PLANT = plant_toml(1, stale_after_s=5).replace("interval_s = 60", "interval_s = 1")
UNLIMITED = resource.RLIM_INFINITY


def fill_disk(daemon: DaemonProcess) -> None:
    """No file of the store may grow any more: writing fails with EFBIG."""
    resource.prlimit(daemon.pid, resource.RLIMIT_FSIZE, (daemon.store.stat().st_size, UNLIMITED))


def free_disk(daemon: DaemonProcess) -> None:
    resource.prlimit(daemon.pid, resource.RLIMIT_FSIZE, (UNLIMITED, UNLIMITED))


def wait_for_capture(witness: Observer, seen: str) -> None:
    def shown() -> object:
        return witness.state("machine/hp-pump-1/pump-de-h").get("capture")

    wait_until(lambda: shown() == seen, why=shown)


def test_a_full_disk_is_told_watched_through_and_does_not_hold_up_the_end(tmp_path: Path) -> None:
    with (
        Mosquitto(tmp_path / "broker") as broker,
        Observer(broker.port) as witness,
        DaemonProcess(tmp_path / "em", PLANT, gateway_toml(broker.url)) as daemon,
        BareClient(broker.port) as hand,
    ):
        hand.publish(capture_topic("s-0001"), capture(time.time(), 1.0, capture_id="stored"))
        witness.wait_for("machine/hp-pump-1", lambda state: state["state"] == "normal")
        fill_disk(daemon)
        for number in range(200):
            hand.publish(capture_topic("s-0001"), capture(time.time(), 1.0, capture_id=f"c{number}"))
        witness.wait_for("gateway", lambda state: not state["store_ok"])
        assert "not acknowledged" in daemon.snapshot().gateway.store_detail
        time_of_alarm = time.time()
        hand.publish(capture_topic("s-0001"), capture(time_of_alarm, 9.0, capture_id="alarm"))
        witness.wait_for("machine/hp-pump-1", lambda state: state["state"] == "alarm")
        assert daemon.snapshot().gateway.store_keeps != "everything"
        witness.wait_for("machine/hp-pump-1", lambda state: state["quality"] == "stale")  # silence is told as ever
        code, took_s = daemon.terminate()
        assert code == 0
        assert took_s < 20.0  # what has not ended after 10 s is cut off
        assert "Traceback" not in daemon.log
        stored = daemon.start().gateway.captures
        assert 1 <= stored <= 202
        wait_until(lambda: daemon.snapshot().gateway.captures == 202, 30.0)  # the broker kept the rest
        assert witness.state("machine/hp-pump-1")["state"] == "alarm"

        def changes() -> list[str]:  # published a moment after they are stored
            alarm = [one for one in witness.events("alarm-changed") if one["alarm"].endswith("de-h/velocity_rms")]
            return [one["change"] for one in alarm]

        wait_until(lambda: changes() == ["RAISED"], why=changes)


def test_space_that_comes_back_is_noticed_and_everything_is_there_once(tmp_path: Path) -> None:
    with (
        Mosquitto(tmp_path / "broker") as broker,
        Observer(broker.port) as witness,
        DaemonProcess(tmp_path / "em", plant_toml(1), gateway_toml(broker.url)) as daemon,
        BareClient(broker.port) as hand,
    ):
        began = time.time() - 400.0
        sent = 0

        def send(velocity: float) -> None:
            nonlocal sent
            sent += 1
            hand.publish(capture_topic("s-0001"), capture(began + sent, velocity, capture_id=f"c{sent}"))

        send(1.0)
        witness.wait_for("machine/hp-pump-1/pump-de-h", lambda state: state["levels"])
        fill_disk(daemon)
        for _ in range(40):
            send(1.0)
        witness.wait_for("gateway", lambda state: not state["store_ok"])
        expected = []
        for velocity, state in ((9.0, "alarm"), (1.0, "normal"), (3.5, "alert"), (9.0, "alarm")):
            for _ in range(60):  # more than the broker sends without being acknowledged: the second connection hears it
                send(velocity)
            wait_for_capture(witness, f"c{sent}")
            expected.append(state)
        assert daemon.snapshot().gateway.captures < sent
        free_disk(daemon)
        witness.wait_for("gateway", lambda state: state["store_ok"], 30.0)
        wait_until(lambda: daemon.snapshot().gateway.captures == sent, 60.0, lambda: daemon.snapshot().gateway)
        changes = [one["change"] for one in witness.events("alarm-changed") if one["alarm"].endswith("de-h/velocity_rms")]
        assert changes == ["RAISED", "CLEARED", "RAISED", "LEVEL_UP"], witness.events("alarm-changed")
        assert expected[-1] == "alarm"
        gateway = daemon.snapshot().gateway
        assert (gateway.late, gateway.rejected, gateway.store_ok) == (0, 0, True)
        (works,) = [one for one in witness.events("store-changed") if one.get("since")]
        assert works["late"] >= 3
        assert "Traceback" not in daemon.log
