"""What an upstream is given: everything stored since it was set up, once, in order, whatever happens between."""

import json
from pathlib import Path

from edgemon.model.upstream import Item, Source
from edgemon.store.outbox import Outbox, lowest_needed, parked_in, try_again
from edgemon.store.port import Commit
from edgemon.store.sqlite import SqliteStore
from tests.store import builders as make

ALL = [("plant", source) for source in Source]


async def test_what_is_stored_after_the_beginning_is_ahead_until_it_is_done(tmp_path: Path) -> None:
    path = tmp_path / "edgemon.sqlite"
    store = await SqliteStore.open(path)
    await store.commit(Commit(make.T0, events=(make.started(0),), captures=(make.capture(1),)))
    outbox = await Outbox.open(path, store, "saltmarsh/gw-1")
    assert await outbox.begin(ALL) == ()
    assert [await outbox.ahead("plant", source, 10) for source in Source] == [(), (), (), ()]
    await store.commit(Commit(make.T0, events=(make.started(1), make.started(2)), captures=(make.capture(2),)))
    first, second = await outbox.ahead("plant", Source.JOURNAL, 10)
    assert (first.position, second.position) == (2, 3)
    assert json.loads(first.body)["key"] == first.key
    assert first.key.startswith("saltmarsh/gw-1/journal/2/")
    (capture,) = await outbox.ahead("plant", Source.CAPTURES, 10)
    assert (await outbox.depth("plant", list(Source))).waiting == 3
    await outbox.done("plant", Source.JOURNAL, first.position, (), make.T0)
    assert await outbox.ahead("plant", Source.JOURNAL, 10) == (second,)
    assert await store.run(lambda connection: lowest_needed(connection, Source.JOURNAL)) == 2
    await parks(outbox, path, capture)
    assert await outbox.begin([]) == tuple(sorted(f"plant ({source})" for source in Source))
    assert await store.run(lambda connection: lowest_needed(connection, Source.JOURNAL)) is None
    await outbox.close()
    await store.close()


async def parks(outbox: Outbox, path: Path, item: Item) -> None:
    await outbox.done("plant", Source.CAPTURES, item.position, [(item, "too large")], make.T0)
    (parked,) = parked_in(path)
    assert (parked.item.key, parked.why, parked.again) == (item.key, "too large", False)
    assert await outbox.again("plant", 10) == ()
    assert try_again(path, "plant") == 1
    (once_more,) = await outbox.again("plant", 10)
    await outbox.retried("plant", [once_more], (), make.T0)
    assert parked_in(path) == ()
