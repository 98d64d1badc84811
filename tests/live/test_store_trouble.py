"""A disk that is full: what people and programs are told, and that the daemon ends all the same."""

import resource
import time
from pathlib import Path

import pytest

from tests.support.bare_client import BareClient
from tests.support.broker import Mosquitto
from tests.support.captures import capture
from tests.support.daemon import DaemonProcess, Observer, capture_topic, gateway_toml, plant_toml, wait_until

pytestmark = [pytest.mark.live, pytest.mark.slow]

PLANT = plant_toml(1, stale_after_s=3).replace("interval_s = 60", "interval_s = 1")


def test_a_full_disk_is_told_and_does_not_hold_up_the_end(tmp_path: Path) -> None:
    with (
        Mosquitto(tmp_path / "broker") as broker,
        Observer(broker.port) as witness,
        DaemonProcess(tmp_path / "em", PLANT, gateway_toml(broker.url)) as daemon,
        BareClient(broker.port) as hand,
    ):
        hand.publish(capture_topic("s-0001"), capture(time.time(), 1.0, capture_id="stored"))
        witness.wait_for("machine/hp-pump-1", lambda state: state["state"] == "normal")
        limit = daemon.store.stat().st_size  # no file of the store may grow: writing fails with EFBIG
        resource.prlimit(daemon.pid, resource.RLIMIT_FSIZE, (limit, limit))
        for number in range(200):
            hand.publish(capture_topic("s-0001"), capture(time.time(), 1.0, capture_id=f"c{number}"))
        witness.wait_for("gateway", lambda state: not state["store_ok"])
        witness.wait_for("machine/hp-pump-1", lambda state: (state["state"], state["quality"]) == ("unknown", "stale"))
        assert "not acknowledged" in daemon.snapshot().gateway.store_detail
        code, took_s = daemon.terminate(within_s=30.0)
        assert code == 0
        assert took_s < 20.0
        assert "Traceback" not in daemon.log
        stored = daemon.start().gateway.captures
        assert 1 <= stored <= 201
        wait_until(lambda: daemon.snapshot().gateway.captures == 201, 30.0)  # the broker kept the rest
