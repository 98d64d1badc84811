"""Settings that cannot be started: those before them go on, and nothing was decided by what was never in force."""

import asyncio
import socket
from pathlib import Path

import pytest

from edgemon.clock import SystemClock
from edgemon.daemon.lives import Lives
from edgemon.daemon.supervisor import Supervisor
from edgemon.engine.signoff import signed_for
from edgemon.model.alarm import AlarmRecord, AlarmState, Condition, PointState
from edgemon.model.event import AlarmChanged
from edgemon.model.gateway_event import SettingsChanged
from edgemon.model.ids import AlarmKey
from edgemon.model.limit import Severity
from edgemon.model.machine import point_key
from edgemon.model.quality import Quality
from edgemon.model.signoff import PointSignedOff, SignOffWithdrawn
from edgemon.store.port import Commit
from edgemon.store.reader import SqliteReader
from edgemon.store.sqlite import SqliteStore
from tests.support.daemon import plant_toml

GATEWAY = '[access]\nsocket = "run.sock"\n[store]\nballast_mib = 0\n'
POINT = point_key("hp-pump-1", "pump-de-h")
LOOPBACK = "127.0.0.1"


def alarm_of(at: float) -> PointState:
    """Give a point whose alarm nobody has acknowledged yet."""
    key = AlarmKey(*POINT, "velocity_rms", False)
    there = Condition(True)
    record = AlarmRecord(key, AlarmState.UNACK, Severity.ALARM, Severity.ALARM, 1, at, at, there, there)
    return PointState(point=POINT, taken_at=at, fit_at=at, heard_at=at, quality=Quality.GOOD, alarms={"velocity_rms": record})


async def logged(caplog: pytest.LogCaptureFixture, text: str, count: int = 1) -> None:
    async with asyncio.timeout(30.0):
        while caplog.text.count(text) < count:
            await asyncio.sleep(0.02)


@pytest.mark.slow
async def test_a_limit_that_only_refused_settings_take_out_calls_on(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    now, database = SystemClock().now(), tmp_path / "state" / "edgemon.sqlite"
    (tmp_path / "plant.toml").write_text(plant_toml(1))
    (tmp_path / "gateway.toml").write_text(GATEWAY)
    lives = Lives(tmp_path, SystemClock(), Supervisor({}))
    plant = lives._settings.plant
    store = await SqliteStore.open(database)
    signed = PointSignedOff(now, POINT, signed_for(plant, POINT), (), "mira", "board", "")
    await store.commit(Commit(now, points=(alarm_of(now),), events=(signed,)))
    await store.close()
    with caplog.at_level("INFO", "edgemon"), socket.create_server((LOOPBACK, 0)) as taken:
        running = asyncio.create_task(lives.run())
        await logged(caplog, "started: 1 machines")
        (tmp_path / "plant.toml").write_text(plant_toml(1).replace("velocity_rms", "acceleration_rms").replace("mm/s", "m/s2"))
        (tmp_path / "gateway.toml").write_text(f"{GATEWAY}[health]\nport = {taken.getsockname()[1]}\n")
        await lives.reload()
        await logged(caplog, "health cannot be served")
        await logged(caplog, "started: 1 machines", 2)
        lives.end()
        await running
    store = await SqliteStore.open(database)
    saved = await store.load()
    await store.close()
    (record,) = [one.alarms["velocity_rms"] for one in saved.points if one.point == POINT]
    assert (record.state, record.occurrence) == (AlarmState.UNACK, 1)
    assert saved.signs == (signed,)
    reader = await SqliteReader.open(database)
    told = [entry.event for entry in await reader.journal(100, after=0)]
    await reader.close()
    assert not [event for event in told if isinstance(event, AlarmChanged | SignOffWithdrawn | SettingsChanged)]
