"""A server that takes another's place is sent what that one confirmed lately: counts by key, on a clock driven by hand."""

from collections.abc import AsyncIterator
from pathlib import Path

import pytest

from edgemon.clock import ManualClock
from edgemon.daemon.upstream import Feeder
from edgemon.model.upstream import Server, Source, Upstream, UpstreamKind
from edgemon.store.outbox import Outbox
from edgemon.store.port import Commit
from edgemon.store.sqlite import SqliteStore
from edgemon.upstream.memory import MemoryTransport
from tests.store import builders as make

SPAN_S = 60.0


class Line:
    """A store, and an upstream of it with what it takes to drive it."""

    def __init__(self, store: SqliteStore, outbox: Outbox) -> None:
        urls = ("postgresql://a/plant", "postgresql://b/plant")
        self.upstream = Upstream(
            "plant", UpstreamKind.POSTGRESQL, (Source.JOURNAL,), Server(urls), "edgemon", batch=3, overlap_s=SPAN_S
        )
        self.store, self.outbox = store, outbox
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

    async def cursor(self) -> int:
        (first, *_) = (*await self.outbox.ahead("plant", Source.JOURNAL, 1), None)
        return self.number if first is None else first.position - 1


@pytest.fixture
async def line(tmp_path: Path) -> AsyncIterator[Line]:
    path = tmp_path / "edgemon.sqlite"
    store = await SqliteStore.open(path)
    outbox = await Outbox.open(path, store, "saltmarsh/gw-1")
    await outbox.begin([("plant", Source.JOURNAL)])
    yield Line(store, outbox)
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


async def test_a_restart_of_the_gateway_sends_again_what_is_held_back(line: Line) -> None:
    await line.write(5)
    await line.sent()
    line.feeder = line.started()
    assert await line.sent() == [1, 2, 3, 4, 5]
