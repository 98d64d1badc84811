"""Sign-offs come back from the file: of each point what happened last, however old it is."""

from dataclasses import replace
from pathlib import Path

from edgemon.model.ids import PointId
from edgemon.model.retention import DAY_S, Retention
from edgemon.model.signoff import PointSignedOff, SignOffWithdrawn
from edgemon.store.port import Commit
from edgemon.store.sqlite import SqliteStore
from edgemon.store.tending import Tender
from tests.store import builders as make

OTHER = make.POINT._replace(point=PointId("pump-nde-v"))
SIGNED = PointSignedOff(
    *(make.T0, make.POINT, ("sensor: s-0001", "axis: x"), ("baseline",), "a.lund", "desk", "tapped: the right sensor")
)
WITHDRAWN = SignOffWithdrawn(make.T0 + 1.0, OTHER, make.T0, "a.lund", "the plant file no longer has the point")


async def test_what_happened_last_comes_back_and_outlives_the_age_of_the_journal(tmp_path: Path) -> None:
    path = tmp_path / "edgemon.sqlite"
    store = await SqliteStore.open(path)
    try:
        await store.commit(Commit(make.T0, events=(SIGNED, replace(SIGNED, point=OTHER))))
        await store.commit(Commit(make.T0 + 1.0, events=(WITHDRAWN,)))
        for day in range(1, 100):
            await store.commit(Commit(make.T0 + day * DAY_S, events=(make.started(day),)))
        await store.mark_published(102)
        now = make.T0 + 100 * DAY_S
        await store.commit(Commit(now, counters={"x": 1}))
        tender = Tender(path, store, Retention(journal_s=30 * DAY_S), {make.POINT: make.SENSOR})
        assert (await tender.tend(now)).forgotten > 60
    finally:
        await store.close()
    again = await SqliteStore.open(path)
    try:
        assert (await again.load()).signs == (SIGNED, WITHDRAWN)
    finally:
        await again.close()
