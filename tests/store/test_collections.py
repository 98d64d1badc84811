"""What is on of fast collections comes back from the file: by sensor, the newest, and nothing that ended."""

from pathlib import Path

from edgemon.model.collection import FastCollectionEnded, FastCollectionStarted
from edgemon.model.ids import MachineId, SensorId
from edgemon.store.port import Commit
from edgemon.store.sqlite import SqliteStore

NOW = 1_760_000_000.0
PUMP = MachineId("hp-pump-1")


def started(sensor: str, at: float = NOW) -> FastCollectionStarted:
    cost = 96, 1.92
    return FastCollectionStarted(at, at + 7200.0, SensorId(sensor), PUMP, 60.0, 300.0, *cost, "engineer", "desk", "rising")


async def test_what_is_on_comes_back_and_what_ended_does_not(tmp_path: Path) -> None:
    path = tmp_path / "edgemon.sqlite"
    store = await SqliteStore.open(path)
    await store.commit(Commit(NOW, events=(started("s-0001"), started("s-0002"))))
    await store.commit(Commit(NOW + 1.0, events=(FastCollectionEnded(NOW + 1.0, SensorId("s-0001"), PUMP, "enough"),)))
    await store.commit(Commit(NOW + 2.0, events=(started("s-0003", NOW + 2.0),)))
    await store.close()
    again = await SqliteStore.open(path)
    try:
        assert (await again.load()).fast == (started("s-0002"), started("s-0003", NOW + 2.0))
    finally:
        await again.close()
