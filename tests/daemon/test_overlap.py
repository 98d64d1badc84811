"""A server that takes another's place is sent what that one confirmed lately: counts by key, on a clock driven by hand."""

import dataclasses
from collections.abc import AsyncIterator
from pathlib import Path

import pytest

from edgemon.clock import ManualClock
from edgemon.daemon.upstream import Feeder
from edgemon.model.command import Person, Role
from edgemon.model.upstream import Server, Source, Upstream, UpstreamKind
from edgemon.store.outbox import Outbox, lowest_needed, parked_in, try_again
from edgemon.store.port import Commit
from edgemon.store.sqlite import SqliteStore
from edgemon.upstream.memory import MemoryTransport
from tests.store import builders as make

SPAN_S = 60.0
ENGINEER = Person("engineer on duty", Role.ENGINEER, "local, process 1")
WHAT = (Source.JOURNAL, Source.CAPTURES)


class Line:
    """A store, and an upstream of it with what it takes to drive it."""

    def __init__(self, path: Path, store: SqliteStore, outbox: Outbox) -> None:
        urls = ("postgresql://a/plant", "postgresql://b/plant")
        self.upstream = Upstream("plant", UpstreamKind.POSTGRESQL, WHAT, Server(urls), "edgemon", batch=3, overlap_s=SPAN_S)
        self.path, self.store, self.outbox = path, store, outbox
        self.server, self.clock = MemoryTransport(), ManualClock()
        self.feeder = self.started()
        self.number = 0

    def started(self) -> Feeder:
        return Feeder(self.upstream, self.outbox, self.server, self.clock)

    async def write(self, count: int) -> None:
        for _ in range(count):
            self.number += 1
            await self.store.commit(Commit(make.T0, events=(make.started(self.number),)))

    async def sent(self) -> list[int]:
        """Give the positions that came, until nothing is left to send."""
        before = len(self.server.taken)
        while await self.feeder.step():
            pass
        return [item.position for item in self.server.taken[before:]]

    async def measure(self, number: int) -> None:
        await self.store.commit(Commit(make.T0, captures=(make.capture(number),)))

    async def parks(self, count: int) -> list[str]:
        """Have captures refused, long ago, and order that they are tried once more; gives their keys."""
        for number in range(count):
            await self.measure(1000 + number)
        keys = [item.key for item in await self.outbox.ahead("plant", Source.CAPTURES, count)]
        self.server.refusing = set(keys)
        assert await self.sent() == []
        assert (await self.feeder.view()).parked == count
        await self.clock.advance(SPAN_S)
        assert await self.sent() == []
        self.server.refusing = set()
        assert try_again(self.path, ENGINEER, make.T0) == count
        self.number += 1  # an order is journalled, and goes upstream
        return keys

    async def retried(self) -> list[str]:
        """Give the keys that came of what was refused once, until nothing is left to send."""
        before = len(self.server.taken)
        await self.sent()
        return [item.key for item in self.server.taken[before:] if not item.position]

    async def kept(self) -> int:
        """Count what the store keeps of what was refused, listed or not."""
        return int(await self.store.run(lambda one: one.execute("SELECT count(*) FROM upstream_parked").fetchone()[0]))

    async def cursor(self) -> int:
        (first, *_) = (*await self.outbox.ahead("plant", Source.JOURNAL, 1), None)
        return self.number if first is None else first.position - 1


@pytest.fixture
async def line(tmp_path: Path) -> AsyncIterator[Line]:
    path = tmp_path / "edgemon.sqlite"
    store = await SqliteStore.open(path)
    outbox = await Outbox.open(path, store, "saltmarsh/gw-1")
    await outbox.begin([("plant", source) for source in WHAT])
    yield Line(path, store, outbox)
    await outbox.close()
    await store.close()


async def test_what_was_confirmed_lately_is_sent_again_to_another_server_and_nothing_else_is(line: Line) -> None:
    await line.write(4)
    assert await line.sent() == [1, 2, 3, 4]
    await line.clock.advance(SPAN_S - 1.0)
    await line.write(2)
    assert await line.sent() == [5, 6]
    assert (await line.feeder.view()).waiting == 0  # nobody waits for them
    await line.clock.advance(1.0)
    assert await line.sent() == []  # the first four are settled: the server still answers
    assert await line.cursor() == 4
    line.server.server = "the standby"
    await line.write(1)
    assert await line.sent() == [5, 6, 7]
    await line.clock.advance(SPAN_S)
    assert await line.sent() == []
    assert await line.cursor() == 7


async def test_another_server_met_in_the_middle_of_a_batch_settles_nothing_that_the_former_one_confirmed(line: Line) -> None:
    await line.write(3)
    await line.sent()
    await line.write(3)
    await line.clock.advance(10.0 * SPAN_S)
    connect = line.server.connect

    async def fail_over() -> None:
        line.server.server = "the standby"
        await connect()

    line.server.connect = fail_over  # type: ignore[method-assign]
    assert await line.sent() == [4, 5, 6, 1, 2, 3, 4, 5, 6]


async def test_a_server_that_answers_no_more_settles_nothing_and_is_not_asked_before_it_is_time(line: Line) -> None:
    await line.write(3)
    await line.sent()
    line.server.down = True
    await line.clock.advance(SPAN_S - 1.0)
    assert await line.feeder.step() == 0  # not asked
    await line.clock.advance(1.0)
    with pytest.raises(Exception, match="away"):
        await line.feeder.step()
    assert await line.cursor() == 0
    line.server.down, line.server.server = False, "the standby"
    assert await line.sent() == [1, 2, 3]


async def test_an_answer_that_was_long_on_its_way_settles_only_what_was_due_when_it_was_asked_for(line: Line) -> None:
    await line.write(3)
    await line.sent()
    await line.clock.advance(SPAN_S - 5.0)
    connect = line.server.connect

    async def answer_late() -> None:
        await line.clock.advance(10.0)
        await connect()

    line.server.connect = answer_late  # type: ignore[method-assign]
    await line.write(1)
    assert (await line.feeder.step(), await line.cursor()) == (1, 0)
    assert (await line.feeder.step(), await line.cursor()) == (0, 3)
    await line.clock.advance(SPAN_S - 11.0)  # the fourth was confirmed when the answer was there
    assert (await line.feeder.step(), await line.cursor()) == (0, 3)
    await line.clock.advance(1.0)
    assert (await line.feeder.step(), await line.cursor()) == (0, 4)


async def test_a_restart_of_the_gateway_sends_again_what_is_held_back(line: Line) -> None:
    await line.write(5)
    await line.sent()
    line.feeder = line.started()
    assert await line.sent() == [1, 2, 3, 4, 5]


async def test_what_was_refused_and_taken_at_last_is_sent_again_to_another_server_within_the_span(line: Line) -> None:
    keys = await line.parks(3)
    assert await line.retried() == keys
    assert ((await line.feeder.view()).parked, parked_in(line.path)) == (0, ())  # nobody waits for them
    assert try_again(line.path, ENGINEER, make.T0) == 0
    await line.clock.advance(SPAN_S - 1.0)
    assert await line.retried() == []
    line.server.server = "the standby"
    assert await line.retried() == keys
    await line.clock.advance(SPAN_S - 1.0)
    assert (await line.retried(), await line.kept()) == ([], 3)
    await line.clock.advance(1.0)
    assert (await line.retried(), await line.kept()) == ([], 0)
    line.server.server = "a third"
    assert await line.retried() == []


async def test_the_log_says_so_where_nothing_else_than_what_was_refused_is_sent_again(
    line: Line, caplog: pytest.LogCaptureFixture
) -> None:
    line.upstream = dataclasses.replace(line.upstream, what=(Source.CAPTURES,))
    line.feeder = line.started()
    await line.parks(3)
    await line.retried()
    line.server.server = "the standby"
    await line.feeder.step()
    assert "the standby answers, not memory; what it may lack is sent again" in caplog.text


async def test_a_server_that_refuses_what_another_one_took_parks_it_once_more(line: Line) -> None:
    keys = await line.parks(3)
    assert await line.retried() == keys
    line.server.server, line.server.refusing = "the standby", {keys[1]}
    assert await line.retried() == [keys[0], keys[2]]
    (parked,) = parked_in(line.path)
    assert (parked.item.key, parked.again) == (keys[1], False)
    await line.clock.advance(SPAN_S)
    assert (await line.retried(), await line.kept()) == ([], 1)


async def test_another_server_met_while_trying_once_more_gets_it_once_more(line: Line) -> None:
    (key,) = await line.parks(1)
    connect = line.server.connect

    async def fail_over() -> None:
        line.server.server = "the standby"
        await connect()

    line.server.connect = fail_over  # type: ignore[method-assign]
    assert set(await line.retried()) == {key}
    await line.clock.advance(SPAN_S)
    assert (await line.retried(), await line.kept(), await line.cursor()) == ([], 0, 1)


async def test_a_restart_of_the_gateway_tries_once_more_what_may_not_stay(line: Line) -> None:
    keys = await line.parks(3)
    assert await line.retried() == keys
    await line.outbox.begin([("plant", source) for source in WHAT])
    assert [one.again for one in parked_in(line.path)] == [True] * 3
    line.feeder = line.started()
    assert await line.retried() == keys


async def test_a_quiet_source_is_settled_while_another_one_is_busy(line: Line) -> None:
    await line.write(3)
    await line.sent()
    for number in range(1, int(SPAN_S) + 2):  # one a second, so that no step finds nothing to send
        await line.measure(number)
        assert await line.feeder.step() == 1
        await line.clock.advance(1.0)
    assert await line.cursor() == 3
    assert await line.store.run(lambda connection: lowest_needed(connection, Source.JOURNAL)) == 3
    line.feeder = line.started()
    assert [item for item in await line.retried() if "/journal/" in item] == []


async def test_what_was_taken_at_last_is_forgotten_while_a_source_is_busy(line: Line) -> None:
    await line.parks(3)
    await line.retried()
    for number in range(1, int(SPAN_S) + 1):
        await line.measure(number)
        assert (await line.feeder.step(), await line.kept()) == (1, 3)
        await line.clock.advance(1.0)
    await line.measure(99)
    assert (await line.feeder.step(), await line.kept()) == (1, 0)
