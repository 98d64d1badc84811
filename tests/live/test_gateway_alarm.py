"""A broker that goes away and comes back: one alarm of the gateway's own, none of every point."""

import time
from pathlib import Path

import pytest

from tests.support.broker import Mosquitto
from tests.support.daemon import DaemonProcess, gateway_toml, plant_toml, wait_until

pytestmark = [pytest.mark.live, pytest.mark.slow]


def test_the_link_lost_calls_once_and_machines_call_only_after_it_is_back(tmp_path: Path) -> None:
    plant = plant_toml(3, stale_after_s=5).replace("interval_s = 60", "interval_s = 1")
    with Mosquitto(tmp_path / "broker") as broker, DaemonProcess(tmp_path / "em", plant, gateway_toml(broker.url)) as daemon:

        def own() -> list[str]:
            return [one.alarm_state for one in daemon.snapshot().gateway.alarms]

        def lost() -> set[str]:
            points = (point for machine in daemon.snapshot().machines for point in machine.points)
            return {one.alarm_state for point in points for one in point.alarms if one.level == "monitoring"}

        wait_until(lambda: daemon.snapshot().gateway.links[0].up)
        stopped = time.monotonic()
        broker.stop()
        wait_until(lambda: own() == ["UNACK"], 60.0)
        assert time.monotonic() - stopped >= 4.0, "not at once"
        assert lost() == {"DSUPR"}
        assert daemon.snapshot().gateway.sounding
        assert daemon.acknowledge("gateway/gateway/monitoring", 1).done
        broker.start()
        wait_until(lambda: own() == [], 60.0)
        assert lost() == set(), "sensors may report first"
        wait_until(lambda: lost() == {"UNACK"}, 60.0)
