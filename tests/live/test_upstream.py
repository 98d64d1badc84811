"""The way upstream to a real broker of the company: what went in and what came out, counted by key, over several bad days."""

from pathlib import Path

import pytest

from tests.support.bare_client import BareClient
from tests.support.broker import Mosquitto
from tests.support.daemon import DaemonProcess, Observer, gateway_toml, plant_toml, wait_until
from tests.support.held import held
from tests.support.measuring import measure

pytestmark = pytest.mark.live


WHAT = 'what = ["readings", "captures", "journal", "findings"]'


def upstream(broker: Mosquitto, more: str = "") -> str:
    return f'[[upstream]]\nname = "company"\nurl = "{broker.url}"\n{WHAT}\n{more}\n'


def came(far: Observer) -> list[str]:
    """Give the keys that came, in order, repeats left out."""
    return list(dict.fromkeys(one.document["key"] for one in far.heard if one.document["what"] != "findings"))


@pytest.mark.parametrize("more", ["", "newest_first = true\nbatch = 5"])
def test_everything_reaches_the_company_once_whatever_happens(tmp_path: Path, more: str) -> None:
    gateway = '[gateway]\nid = "gateway-1"\n'
    with (
        Mosquitto(tmp_path / "plant") as broker,
        Mosquitto(tmp_path / "company", persistence=True) as company,
        Observer(company.port, "edgemon/v1/upstream/#", "witness") as far,
        DaemonProcess(tmp_path / "em", plant_toml(2), gateway + gateway_toml(broker.url) + upstream(company, more)) as daemon,
    ):
        sensor = BareClient(broker.port)

        def all_came() -> bool:
            return len(came(far)) == sum(held(daemon.store))

        measure(sensor, 0, 6, daemon)
        wait_until(all_came, 30.0, lambda: (len(came(far)), sum(held(daemon.store))))
        company.stop()
        measure(sensor, 6, 40, daemon)
        wait_until(lambda: not daemon.snapshot().gateway.upstreams[0].up)
        daemon.kill()
        daemon.start()
        measure(sensor, 40, 60, daemon)
        assert not all_came()
        company.start()
        wait_until(all_came, 60.0, lambda: (len(came(far)), sum(held(daemon.store))))
        company.freeze()
        measure(sensor, 60, 70, daemon)
        daemon.kill()
        company.thaw()
        daemon.start()
        wait_until(all_came, 60.0, lambda: (len(came(far)), sum(held(daemon.store))))
        (shown,) = wait_until(lambda: (one := daemon.snapshot().gateway.upstreams) and one[0].waiting == 0 and one)
        assert (shown.up, shown.parked) == (True, 0)
        documents = {one.document["key"]: one.document for one in far.heard}
        assert {(one["site"], one["gateway"]) for one in documents.values()} == {("saltmarsh", "gateway-1")}
        if not more:  # in order, for each point; captures of one sensor likewise
            ordered = [
                key
                for key in came(far)
                if key.startswith("saltmarsh/gateway-1/reading/point/hp-pump-1/pump-de-h/velocity_rms/")
            ]
            assert ordered == sorted(ordered, key=lambda key: float(key.split("/")[-1]))
        for words in ("Traceback", "CRITICAL", "never retrieved"):
            assert words not in daemon.log
