"""One upstream's task against a server in memory: counts in and out by key, refusals parked, repeats known by key."""

from pathlib import Path

import pytest

from edgemon.clock import ManualClock
from edgemon.daemon.upstream import Feeder
from edgemon.errors import LinkDown
from edgemon.model.command import Person, Role
from edgemon.model.upstream import Server, Source, Upstream, UpstreamKind
from edgemon.store.outbox import Outbox, parked_in, try_again
from edgemon.store.port import Commit
from edgemon.store.sqlite import SqliteStore
from edgemon.upstream.memory import MemoryTransport
from tests.store import builders as make

ENGINEER = Person("engineer on duty", Role.ENGINEER, "local, process 1")


async def test_a_lost_confirmation_repeats_and_a_refusal_stands_aside(tmp_path: Path) -> None:
    path, server = tmp_path / "edgemon.sqlite", MemoryTransport()
    store = await SqliteStore.open(path)
    outbox = await Outbox.open(path, store, "saltmarsh/gw-1")
    upstream = Upstream("plant", UpstreamKind.MQTT, tuple(Source), Server(("mqtt://nowhere",)), "edgemon", batch=3)
    await outbox.begin([("plant", source) for source in upstream.what])
    await store.commit(Commit(make.T0, events=tuple(make.started(k) for k in range(10)), captures=(make.capture(1),)))
    wanted = [item.key for item in await outbox.ahead("plant", Source.JOURNAL, 10)]
    feeder = Feeder(upstream, outbox, server, ManualClock())
    server.refusing, server.deaf = {wanted[4]}, 2
    for _ in range(2):
        with pytest.raises(LinkDown):
            await feeder.step()
    while await feeder.step():
        pass
    came = list(dict.fromkeys(item.key for item in server.taken if item.source is Source.JOURNAL))
    assert came == [key for key in wanted if key != wanted[4]]
    assert len(server.taken) > len({item.key for item in server.taken}) == 10
    assert [one.item.key for one in parked_in(path)] == [wanted[4]]
    server.refusing = set()
    assert try_again(path, ENGINEER, make.T0) == 1
    while await feeder.step():
        pass
    assert wanted[4] in {item.key for item in server.taken}
    assert ((await feeder.view()).waiting, parked_in(path)) == (0, ())
    await outbox.close()
    await store.close()


async def test_what_comes_now_overtakes_a_long_outage_and_nothing_is_left_behind(tmp_path: Path) -> None:
    path, server, clock = tmp_path / "edgemon.sqlite", MemoryTransport(), ManualClock()
    store = await SqliteStore.open(path)
    outbox = await Outbox.open(path, store, "saltmarsh/gw-1")
    upstream = Upstream(
        "plant", UpstreamKind.MQTT, (Source.JOURNAL,), Server(("mqtt://nowhere",)), "edgemon", batch=4, newest_first=True
    )
    await outbox.begin([("plant", Source.JOURNAL)])
    await store.commit(Commit(make.T0, events=tuple(make.started(k) for k in range(60))))  # an outage of 15 batches
    feeder = Feeder(upstream, outbox, server, clock)
    assert await feeder.step() == 8  # what may be there already in its old order, then some of what was overtaken
    await store.commit(Commit(make.T0, events=(make.started(99),)))
    await feeder.step()
    came = [item.position for item in server.taken]
    assert came == [*range(1, 9), 61, *range(9, 13)]
    assert [item.position for item in server.taken if item.late] == [*range(5, 9), *range(9, 13)]
    while await feeder.step():
        pass
    assert sorted(item.position for item in server.taken) == list(range(1, 62))
    assert (await feeder.view()).waiting == 0
    await outbox.close()
    await store.close()
