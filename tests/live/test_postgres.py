"""Two gateways into one real database: what their stores hold and what stands in the tables, over several bad days."""

import subprocess
import sys
from pathlib import Path

import pytest

from edgemon.errors import LinkDown
from edgemon.model.snapshot import GatewayView
from tests.support.bare_client import BareClient
from tests.support.broker import Mosquitto
from tests.support.daemon import DaemonProcess, gateway_toml, plant_toml, wait_until
from tests.support.held import held
from tests.support.measuring import measure
from tests.support.postgres import PASSWORD, USER, Postgres

pytestmark = pytest.mark.live
TABLES = ("readings", "captures", "journal")


def gateway(number: int, broker: Mosquitto, database: Postgres, folder: Path) -> DaemonProcess:
    folder.mkdir()
    (folder / "password").write_text(PASSWORD)
    (folder / "password").chmod(0o600)
    upstream = f"""[[upstream]]
        name = "historian"
        url = "{database.url}"
        what = ["readings", "captures", "journal"]
        username = "{USER}"
        password_file = "password"
        batch = 20
        """
    mine = gateway_toml(broker.url, client_id=f"gw{number}")
    return DaemonProcess(folder, plant_toml(2), f'[gateway]\nid = "gateway-{number}"\n{mine}{upstream}')


def stand(database: Postgres, number: int) -> list[int]:
    """Count what stands in the tables of a gateway; the tables themselves keep each key once."""
    counts = [f"SELECT count(*) FROM edgemon.{table} WHERE gateway = 'gateway-{number}'" for table in TABLES]
    return [int(count) for (count,) in database.sql(" UNION ALL ".join(counts))]


def test_everything_stands_in_the_tables_once_whatever_happens(tmp_path: Path) -> None:
    with (
        Mosquitto(tmp_path / "plant") as broker,
        Postgres() as database,
        gateway(1, broker, database, tmp_path / "em1") as first,
        gateway(2, broker, database, tmp_path / "em2") as second,
    ):
        sensor = BareClient(broker.port)
        both = ((1, first), (2, second))

        def all_stand() -> bool:
            return all(stand(database, number) == held(one.store) for number, one in both)

        def counts() -> object:
            return [(stand(database, number), held(one.store)) for number, one in both]

        measure(sensor, 0, 4, first, second)
        wait_until(all_stand, 30.0, counts)
        database.kill()
        measure(sensor, 4, 16, first, second)
        first.kill()
        first.start()
        database.start()
        measure(sensor, 16, 22, first, second)
        database.freeze()
        measure(sensor, 22, 28, first, second)
        second.kill()
        database.thaw()
        second.start()
        wait_until(all_stand, 60.0, counts)
        # a rule of the administrator's forbids some rows: they stand aside, and come when it has gone and somebody says so
        database.sql(
            "ALTER TABLE edgemon.readings ADD CONSTRAINT calm CHECK (value < 0.004 OR name <> 'velocity_rms') NOT VALID"
        )
        measure(sensor, 28, 34, first, second)
        wait_until(lambda: all(parked(one) == 2 for _, one in both), 30.0)  # two captures in alarm
        assert not all_stand()
        assert 'violates check constraint "calm"' in edgemon("upstream", "parked", "--config", str(first.folder))
        database.sql("ALTER TABLE edgemon.readings DROP CONSTRAINT calm")
        for _, one in both:
            assert edgemon("upstream", "retry", "--config", str(one.folder)).startswith("2 ")
        wait_until(all_stand, 60.0, counts)
        wait_until(lambda: all((seen := view(one)) and not seen.upstreams[0].waiting for _, one in both))
        for _, one in both:
            for words in ("Traceback", "CRITICAL", "never retrieved", PASSWORD):
                assert words not in one.log
        same = "SELECT count(DISTINCT (machine, point, name, t)) FROM edgemon.readings"
        assert database.sql(same) == [[str(stand(database, 1)[0])]]  # both heard the same sensors


def parked(daemon: DaemonProcess) -> int:
    seen = view(daemon)
    return 0 if seen is None else seen.upstreams[0].parked


def view(daemon: DaemonProcess) -> GatewayView | None:
    """Look at a daemon; None where it has no time to answer, for three servers share this machine."""
    try:
        return daemon.snapshot().gateway
    except LinkDown:
        return None


def edgemon(*arguments: str) -> str:
    done = subprocess.run([sys.executable, "-m", "edgemon", *arguments], capture_output=True, text=True, timeout=60, check=True)
    return done.stdout
