"""A daemon whose settings name a cluster of streams: what went in and what came out, counted by key, over several bad days."""

import asyncio
from pathlib import Path

import pytest

from tests.support.bare_client import BareClient
from tests.support.broker import Mosquitto
from tests.support.daemon import DaemonProcess, gateway_toml, plant_toml, wait_until
from tests.support.held import held
from tests.support.measuring import measure
from tests.support.nats_server import NatsServer
from tests.support.streams import kept

pytestmark = pytest.mark.live
UPSTREAM = """[gateway]
id = "gateway-1"
{more}
[[upstream]]
name = "company"
url = "{url}"
what = ["readings", "captures", "journal"]
into = "PLANT"
username = "edgemon"
password_file = "password"
"""
PASSWORD = "heron-on-the-marsh"


def came(server: NatsServer) -> list[str]:
    url = server.url.replace("nats://", f"nats://edgemon:{PASSWORD}@")
    return [one.id for one in asyncio.run(kept(url, "PLANT"))]


def test_everything_is_in_the_stream_once_whatever_happens(tmp_path: Path) -> None:
    (tmp_path / "em").mkdir()
    (tmp_path / "em" / "password").write_text(PASSWORD)
    (tmp_path / "em" / "password").chmod(0o600)
    with Mosquitto(tmp_path / "plant") as broker, NatsServer(tmp_path / "company", users={"edgemon": PASSWORD}) as company:
        gateway = UPSTREAM.format(url=company.url, more=gateway_toml(broker.url))
        with DaemonProcess(tmp_path / "em", plant_toml(2), gateway) as daemon:
            sensor = BareClient(broker.port)

            def all_sent() -> bool:
                (one,) = daemon.snapshot().gateway.upstreams
                return one.up and one.waiting == 0 and len(came(company)) >= sum(held(daemon.store))

            measure(sensor, 0, 6, daemon)
            wait_until(all_sent, 30.0)
            company.kill()
            measure(sensor, 6, 20, daemon)
            daemon.kill()
            daemon.start()
            company.start()
            measure(sensor, 20, 30, daemon)
            daemon.kill()
            daemon.start()
            wait_until(all_sent, 60.0)
            keys = came(company)
            assert len(keys) == len(set(keys)) == sum(held(daemon.store))
            assert PASSWORD not in daemon.log
            for words in ("Traceback", "CRITICAL", "never retrieved", "was destroyed"):
                assert words not in daemon.log
