"""Thirty days without an upstream while the disk's budget is reached, and the return of a server that is slow and picky.

Two upstreams: the historian wants captures and is away, the other one takes all the time. Counted by key: what went in against
what each took.
"""

from pathlib import Path

import pytest

from edgemon.clock import ManualClock
from edgemon.daemon.upstream import Feeder
from edgemon.errors import LinkDown
from edgemon.model.command import Person, Role
from edgemon.model.instant import Instant
from edgemon.model.retention import Retention
from edgemon.model.upstream import Server, Source, Upstream, UpstreamKind
from edgemon.store.migrate import LOG_LIMIT_BYTES
from edgemon.store.outbox import Outbox, parked_in, try_again
from edgemon.store.port import Commit
from edgemon.store.sqlite import SqliteStore
from edgemon.store.tending import Tender
from edgemon.upstream import plan
from edgemon.upstream.memory import MemoryTransport
from tests.store import builders as make

ENGINEER = Person("engineer on duty", Role.ENGINEER, "local, process 1")
DAYS, A_DAY, DAY_S = 30, 24, 86_400.0
SAMPLES = 4096
RECORD_BYTES = 3 * 2 * SAMPLES
KEPT_DAYS = 10
WANTED = DAYS * A_DAY


async def one_day(store: SqliteStore, day: int, clock: ManualClock) -> None:
    """Keep an hour's capture, reading and journal entry, for a day."""
    for hour in range(A_DAY):
        number = day * A_DAY + hour + 1
        at = make.T0 + day * DAY_S + 3600.0 * hour
        capture = make.capture(number, taken_at=at, samples=SAMPLES)
        reading = make.reading(80.0 - day, taken_at=at)
        await store.commit(Commit(at, captures=(capture,), readings=(reading,), events=(make.started(number),)))
    await clock.advance(DAY_S)


async def tend(tender: Tender, now: Instant) -> int:
    """Tend until there is nothing to do; gives by how much the store is beyond its budget."""
    while not (tended := await tender.tend(now)).is_done:
        pass
    return tended.short_bytes


async def drain(feeder: Feeder) -> None:
    while await feeder.step():
        pass


def feeder_of(name: str, what: tuple[Source, ...], outbox: Outbox, server: MemoryTransport, clock: ManualClock) -> Feeder:
    upstream = Upstream(name, UpstreamKind.MQTT, what, Server(("mqtt://nowhere",)), "edgemon", per_second=100.0, batch=20)
    return Feeder(upstream, outbox, server, clock)


@pytest.mark.slow
async def test_thirty_days_away_with_the_budget_reached_lose_nothing_and_hold_nobody_up(tmp_path: Path) -> None:
    path, clock = tmp_path / "edgemon.sqlite", ManualClock(make.T0)
    store = await SqliteStore.open(path, roll_bytes=1 << 20)
    outbox = await Outbox.open(path, store, "saltmarsh/gateway-1")
    everything, journal = (Source.READINGS, Source.CAPTURES, Source.JOURNAL), (Source.JOURNAL,)
    await outbox.begin([*(("historian", source) for source in everything), ("company", Source.JOURNAL)])
    budget = LOG_LIMIT_BYTES + KEPT_DAYS * A_DAY * RECORD_BYTES
    tender = Tender(path, store, Retention(budget_bytes=budget, around_s=0.0), {make.POINT: make.SENSOR})
    historian, company = MemoryTransport(), MemoryTransport()
    away = feeder_of("historian", everything, outbox, historian, clock)
    near = feeder_of("company", journal, outbox, company, clock)
    historian.down = True
    shortest = 0
    for day in range(DAYS):
        await one_day(store, day, clock)
        with pytest.raises(LinkDown):
            await away.step()
        await drain(near)
        shortest = await tend(tender, clock.now())
    assert len({item.key for item in company.taken}) == WANTED  # nobody waited for the other
    view = await away.view()
    assert (view.waiting, view.oldest_unsent) == (3 * WANTED, make.T0)
    assert view.behind_s(clock.now()) == DAYS * DAY_S
    assert shortest > 0  # beyond its budget, and says so: what is unsent may not go

    historian.down = False
    refused = {item.key for source in everything for item in (await outbox.ahead("historian", source, 3))[::2]}
    historian.refusing = set(refused)
    sent = await away.step()
    assert plan.rest(sent, 0.0, 100.0) == sent / 100.0  # catching up leaves the line room
    await drain(away)
    taken = {source: [item.key for item in historian.taken if item.source is source] for source in everything}
    assert [len(set(taken[source])) for source in everything] == [WANTED - 2] * 3
    assert {one.item.key for one in parked_in(path)} == refused
    assert len(historian.taken) == len({item.key for item in historian.taken})
    for source in everything:  # in order, though it comes late
        positions = [item.position for item in historian.taken if item.source is source]
        assert positions == sorted(positions)
    assert await tend(tender, clock.now()) == 0  # what is sent may go: the budget is held again

    historian.refusing = set()
    assert try_again(path, ENGINEER, clock.now(), "historian") == len(refused)
    await drain(away)
    ordered = {Source.JOURNAL: 1}  # the order to try again stands in the journal, too
    for source in everything:
        count = len({item.key for item in historian.taken if item.source is source})
        assert count == WANTED + ordered.get(source, 0)
    assert ((await away.view()).waiting, parked_in(path)) == (0, ())
    await outbox.close()
    await store.close()
