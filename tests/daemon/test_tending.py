"""The store is tended beside the path: paced, never for long in its way, told in counts, and again after a failure."""

import asyncio
import logging
from collections.abc import AsyncIterator
from typing import cast

import pytest

from edgemon.clock import ManualClock
from edgemon.daemon.tending import AGAIN_S, AT_ONCE_S, EVERY_S, LOOK_S, PATIENCE, RETRY_S, TOLD_EVERY_S, Tending
from edgemon.daemon.trusted import Trusted
from edgemon.errors import StoreError
from edgemon.model.retention import DAY_S, Tended, Worth
from edgemon.store.tending import Tender


class FakeTender:
    """Gives what it was told to, and counts."""

    def __init__(self) -> None:
        self.answers: list[Tended | StoreError] = []
        self.count, self.now = 0, 0.0
        self.is_over = False

    async def before(self) -> float:
        return 1_700_000_000.0

    async def tend(self, now: float) -> Tended:
        self.count += 1
        self.now = now
        answer = self.answers.pop(0) if self.answers else Tended(used_bytes=5_000_000, budget_bytes=9_000_000)
        if isinstance(answer, StoreError):
            raise answer
        return answer


class Desk:
    """A tending at work, by a clock driven by hand."""

    def __init__(self) -> None:
        self.clock, self.tender, self.idle = ManualClock(), FakeTender(), True
        self.tending = Tending(cast(Tender, self.tender), self.clock, lambda: self.idle)
        self.task = asyncio.create_task(self.tending.run())


@pytest.fixture
async def desk() -> AsyncIterator[Desk]:
    found = Desk()
    await asyncio.sleep(0)
    yield found
    found.task.cancel()
    await asyncio.gather(found.task, return_exceptions=True)


async def test_a_step_a_second_and_at_once_again_while_there_is_more(desk: Desk) -> None:
    desk.tender.answers = [Tended(is_done=False), Tended(is_done=False), Tended()]
    await desk.clock.advance(EVERY_S)
    assert desk.tender.count == 1
    await desk.clock.advance(2 * AGAIN_S)
    assert desk.tender.count == 3
    await desk.clock.advance(EVERY_S / 2)
    assert desk.tender.count == 3


async def test_a_path_at_work_is_left_alone_but_not_for_ever(desk: Desk) -> None:
    desk.idle = False
    await desk.clock.advance(PATIENCE * EVERY_S)
    assert desk.tender.count == 0
    await desk.clock.advance(EVERY_S)
    assert desk.tender.count == 1


async def test_a_store_that_outgrows_its_budget_waits_for_no_path(desk: Desk) -> None:
    desk.idle = False
    await desk.clock.advance(EVERY_S / 2)
    desk.tender.is_over = True
    await desk.clock.advance(LOOK_S)
    assert desk.tender.count == 1
    await desk.clock.advance(10 * AT_ONCE_S)
    assert desk.tender.count == 11, "at once again until it is within"
    desk.tender.is_over = False
    await desk.clock.advance(PATIENCE * EVERY_S)
    assert desk.tender.count <= 12, "then the path comes first again"


async def test_a_store_that_fails_is_told_once_and_tried_again(desk: Desk, caplog: pytest.LogCaptureFixture) -> None:
    desk.tender.answers = [StoreError("no", "here"), StoreError("no", "here")]
    await desk.clock.advance(EVERY_S + 2 * RETRY_S)
    assert desk.tender.count == 3
    assert [record.levelname for record in caplog.records] == ["ERROR"]


async def test_what_went_is_counted_and_told_now_and_then(desk: Desk, caplog: pytest.LogCaptureFixture) -> None:
    caplog.set_level(logging.INFO)
    went = Tended({Worth.NORMAL: 3}, 70_000, thinned=9, used_bytes=5_000_000, budget_bytes=9_000_000)
    desk.tender.answers = [went, went, went]
    await desk.clock.advance(3 * EVERY_S)
    assert len(caplog.records) == 1
    assert "3 captures (normal), 9 readings thinned; store 5.0 MB of 9.0 MB" in caplog.text
    await desk.clock.advance(TOLD_EVERY_S)
    assert "6 captures (normal), 18 readings thinned" in caplog.text
    view = desk.tending.view()
    assert view.dropped == {"normal": 9, "alert": 0, "event": 0}
    assert (view.thinned, view.freed_bytes, view.budget_bytes) == (27, 210_000, 9_000_000)


async def test_beyond_the_budget_with_nothing_that_may_go_is_told_once(desk: Desk, caplog: pytest.LogCaptureFixture) -> None:
    desk.tender.answers = [Tended(short_bytes=4_000_000), Tended(short_bytes=4_500_000), Tended(), Tended(short_bytes=1)]
    await desk.clock.advance(2 * EVERY_S)
    assert [record.levelname for record in caplog.records] == ["WARNING"]
    assert desk.tending.view().short_bytes == 4_500_000
    await desk.clock.advance(2 * EVERY_S)
    assert len(caplog.records) == 2


async def test_nothing_is_old_because_the_clock_was_set_wrong(desk: Desk) -> None:
    await desk.clock.advance(EVERY_S)
    desk.clock.step(20 * 365 * DAY_S)
    await desk.clock.advance(EVERY_S)
    assert desk.tender.now == pytest.approx(desk.clock.now() - 20 * 365 * DAY_S)
    desk.clock.step(-20 * 365 * DAY_S - 60.0)
    await desk.clock.advance(EVERY_S)
    assert desk.tender.now == pytest.approx(desk.clock.now())


def test_a_clock_that_stands_by_its_word_for_a_day_is_believed() -> None:
    trusted = Trusted(None)
    assert trusted.time(1e9, 10.0) == 1e9
    assert trusted.time(1e9 + 90 * DAY_S, 20.0) == 1e9 + 10.0
    assert trusted.time(1e9 + 91 * DAY_S - 1.0, 20.0 + DAY_S - 1.0) == 1e9 + 9.0 + DAY_S
    assert trusted.time(1e9 + 91 * DAY_S, 20.0 + DAY_S) == 1e9 + 91 * DAY_S


def test_a_start_long_after_the_newest_that_is_stored_is_believed_after_a_day() -> None:
    trusted = Trusted(1e9)
    assert trusted.time(1e9 + 60 * DAY_S, 5.0) == 1e9 + DAY_S
    assert trusted.time(1e9 + 61 * DAY_S, 5.0 + DAY_S) == 1e9 + 61 * DAY_S
    assert Trusted(1e9).time(1e9 + 1.5 * DAY_S, 5.0) == 1e9 + 1.5 * DAY_S
