"""The publisher against a journal that grows under its hands, and a store that fails while schedules are withdrawn."""

import asyncio

from edgemon.clock import ManualClock
from edgemon.daemon.publisher import Publisher
from edgemon.errors import StoreFull
from edgemon.model.ids import SiteId
from edgemon.mqtt.memory import MemoryLink
from edgemon.store.memory import MemoryStore
from edgemon.store.port import Commit
from tests.store import builders as make


async def test_an_entry_seen_before_the_path_tells_of_it_is_published_once_and_nothing_is_left_waiting() -> None:
    """The reader has a connection of its own: it sees a commit before the path, which is woken later."""
    store, clock = MemoryStore(), ManualClock(make.T0)
    link = MemoryLink(clock, ())
    await link.start()
    publisher = Publisher(link, store, store, clock, "edgemon/v1", SiteId("saltmarsh"), lambda _: ())
    await store.commit(Commit(make.T0, events=(make.started(0), make.started(1), make.started(2))))
    publisher.begin(0, 1)
    # without an end to what waits, this never gives the loop back: the runner's own time limit tells
    await publisher.flush(1.0)
    assert publisher.waiting == 0
    task = asyncio.create_task(publisher.run())
    for told in (2, 3):
        publisher.journal_grew(told)
        await asyncio.sleep(0)
        assert publisher.waiting == 0
    await store.commit(Commit(make.T0, events=(make.started(3),)))
    publisher.journal_grew(4)
    while publisher.waiting:
        await asyncio.sleep(0)
    task.cancel()
    assert [one.topic for one in link.published] == ["edgemon/v1/site/saltmarsh/event"] * 4
    assert (await store.load()).published_seq == 4


async def test_what_the_store_cannot_forget_is_withdrawn_at_the_next_start_too() -> None:
    store, clock, topic = MemoryStore(), ManualClock(make.T0), "edgemon/v1/sensor/s-0001/schedule"
    await store.commit(Commit(make.T0, schedules={topic: True}))
    link = MemoryLink(clock, ())
    await link.start()
    for failing, left in ((StoreFull("no space left"), {topic}), (None, set())):
        store.failing = failing
        publisher = Publisher(link, store, store, clock, "edgemon/v1", SiteId("saltmarsh"), lambda _: ())
        publisher.begin(0, 0, schedules=(await store.load()).schedules)
        publisher.again(())
        await publisher.flush(1.0)
        assert (await store.load()).schedules == left
    assert [(one.topic, one.payload, one.retain) for one in link.published] == [(topic, b"", True)] * 2
