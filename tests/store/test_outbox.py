"""What an upstream is given: everything stored since it was set up, once, in order, whatever happens between."""

import asyncio
import json
from pathlib import Path
from tempfile import TemporaryDirectory

from hypothesis import given, settings
from hypothesis import strategies as st

from edgemon.model.command import Person, Role
from edgemon.model.upstream import Item, Source
from edgemon.store.outbox import Outbox, lowest_needed, parked_in, try_again
from edgemon.store.port import Commit
from edgemon.store.segments import file_of, folder_of
from edgemon.store.sqlite import SqliteStore
from tests.store import builders as make

ENGINEER = Person("engineer on duty", Role.ENGINEER, "local, process 1")
PLACE = "SELECT segment, offset, length FROM captures ORDER BY number LIMIT 1 OFFSET 1"
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
    assert try_again(path, ENGINEER, make.T0, "plant") == 1
    (once_more,) = await outbox.again("plant", 10)
    await outbox.retried("plant", [once_more], (), make.T0)
    assert parked_in(path) == ()


async def test_damaged_samples_keep_nothing_else_waiting(tmp_path: Path) -> None:
    """The record of the second of three captures is overwritten: it is sent as what is left of it, the others whole."""
    path = tmp_path / "edgemon.sqlite"
    store = await SqliteStore.open(path)
    outbox = await Outbox.open(path, store, "saltmarsh/gw-1")
    await outbox.begin(ALL)
    await store.commit(Commit(make.T0, captures=tuple(make.capture(number) for number in (1, 2, 3))))
    segment, offset, length = await store.run(lambda one: one.execute(PLACE).fetchone())
    with file_of(folder_of(path), segment).open("r+b") as file:
        file.seek(offset)
        file.write(b"\xff" * length)
    documents = [json.loads(item.body) for item in await outbox.ahead("plant", Source.CAPTURES, 10)]
    assert [bool(one["axes"]) for one in documents] == [True, False, True]
    assert [f"at byte {offset}" in one.get("damaged", "") for one in documents] == [False, True, False]
    assert [(one["id"], one["fs"]) for one in documents] == [(each.id, each.fs_hz) for each in map(make.capture, (1, 2, 3))]
    await outbox.close()
    await store.close()


OPS = st.lists(st.sampled_from(["keep", "send", "refuse", "overtake", "behind", "reopen"]), max_size=40)


@settings(max_examples=30, deadline=None)
@given(ops=OPS, most=st.integers(1, 5))
def test_whatever_happens_between_everything_is_given_out_once_and_nothing_stays(ops: list[str], most: int) -> None:
    with TemporaryDirectory() as folder:
        asyncio.run(Play(Path(folder) / "edgemon.sqlite", most).run(ops))


class Play:
    """One store, one upstream, and what its server took, by the test's own count."""

    def __init__(self, path: Path, most: int) -> None:
        self.path, self.most = path, most
        self.kept = 0
        self.took: dict[Source, list[str]] = {source: [] for source in Source}

    async def run(self, ops: list[str]) -> None:
        await self.open()
        for op in ops:
            await getattr(self, op)()
        for _ in range(2 * self.kept + 2):
            await self.send()
            await self.behind()
        parked = [one.item for one in parked_in(self.path)]
        for source, each in ((Source.JOURNAL, 2), (Source.CAPTURES, 1), (Source.READINGS, 1), (Source.FINDINGS, 0)):
            got = [*self.took[source], *(item.key for item in parked if item.source is source)]
            assert len(got) == len(set(got)) == each * self.kept, (source, got)
        depth = await self.outbox.depth("plant", list(Source))
        assert (depth.waiting, depth.oldest, depth.parked) == (0, None, len(parked))
        assert await self.store.run(lambda one: one.execute("SELECT count(*) FROM feed").fetchone()[0]) == 0
        assert await self.store.run(lambda one: one.execute("PRAGMA integrity_check").fetchone()[0]) == "ok"
        await self.close()

    async def open(self) -> None:
        self.store = await SqliteStore.open(self.path)
        self.outbox = await Outbox.open(self.path, self.store, "saltmarsh/gw-1")
        await self.outbox.begin(ALL)

    async def close(self) -> None:
        await self.outbox.close()
        await self.store.close()

    async def reopen(self) -> None:
        await self.close()
        await self.open()

    async def keep(self) -> None:
        number = self.kept = self.kept + 1
        reading = make.reading(80.0, taken_at=make.T0 + number)
        events = (make.started(number), make.started(-number))
        await self.store.commit(Commit(make.T0, events=events, captures=(make.capture(number),), readings=(reading,)))

    async def send(self, refusing: bool = False) -> None:
        for source in Source:
            items = await self.outbox.ahead("plant", source, self.most)
            if items:
                await self.outbox.done("plant", source, items[-1].position, self.given(source, items, refusing), make.T0)

    async def refuse(self) -> None:
        await self.send(refusing=True)

    async def overtake(self) -> None:
        for source in Source:
            await self.outbox.overtake("plant", source, 1)

    async def behind(self) -> None:
        for source in await self.outbox.stretches("plant"):
            items = await self.outbox.behind("plant", source, self.most)
            await self.outbox.caught_up("plant", source, items, self.given(source, items, False), make.T0)

    def given(self, source: Source, items: tuple[Item, ...], refusing: bool) -> list[tuple[Item, str]]:
        refused = items[:1] if refusing else ()
        self.took[source] += [item.key for item in items[len(refused) :]]
        return [(item, "not wanted") for item in refused]
