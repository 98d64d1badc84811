"""The handover: what stands on the page, what is frozen, and that nothing falls between two pages.

What a page must hold is asked for by DOE-STD-1038-93 and by the regulator's guidance on shift handover: status, limits in force
with their time limits, what is hidden, in writing, with both confirmations.
"""

import hashlib
from collections.abc import Iterable
from dataclasses import replace

import pytest

from edgemon.api.handover import frozen, handover
from edgemon.clock import ManualClock
from edgemon.daemon.shift import PAGES_KEPT, Shift
from edgemon.errors import ParameterError
from edgemon.model.alarm import AlarmState, Priority
from edgemon.model.command import Person, Role
from edgemon.model.event import AlarmChanged, Event, JournalEntry, RunningChanged
from edgemon.model.gateway_event import GatewayStarted
from edgemon.model.ids import AlarmKey, MachineId, PointId
from edgemon.model.limit import Severity
from edgemon.model.machine import point_key
from edgemon.model.shift import HandoverView, LogKind, LogWritten, ShiftTaken
from edgemon.model.snapshot import HidingView, Snapshot
from edgemon.store.memory import MemoryStore
from edgemon.store.port import Commit
from tests.support import sites

DAY = Person("day shift", Role.OPERATOR, "control room")
NIGHT = Person("night shift", Role.OPERATOR, "control room")
KEY = AlarmKey(MachineId("booster-3"), PointId("pump-de-h"), "velocity_rms", False)


def raised(at: float) -> AlarmChanged:
    return AlarmChanged(at, KEY, "RAISED", AlarmState.NORM, AlarmState.UNACK, Severity.ALARM, 1, Priority.HIGH, True)


def entries(*events: Event) -> list[JournalEntry]:
    return [JournalEntry(number, event.at, event) for number, event in enumerate(events, 1)]


def block(page: HandoverView, title: str) -> str:
    return "\n".join(next(one.lines for one in page.blocks if one.title == title))


def shelved() -> Snapshot:
    shown = sites.snapshot(sim=False)
    machine = next(one for one in shown.machines if one.id == "booster-3")
    (point,) = (one for one in machine.points if one.alarms)
    hiding = HidingView("shelved", "day shift", "bracket is loose", sites.NOW, sites.NOW + 3600.0)
    alarm = replace(point.alarms[0], alarm_state="SHLVD", hidden=hiding)
    points = tuple(replace(one, alarms=(alarm,)) if one is point else one for one in machine.points)
    return replace(shown, machines=tuple(replace(one, points=points) if one is machine else one for one in shown.machines))


def test_the_page_tells_what_stands_what_is_hidden_and_what_nobody_sees() -> None:
    page = handover(shelved(), entries(), sites.NOW - 100.0, "")
    assert "26 machines: 1 alarm, 1 alert, 1 unknown, 2 not running, 21 normal" in block(page, "Now")
    assert "for the analyst: High-pressure pump 3" in block(page, "Standing alarms")
    assert "NOT ACKNOWLEDGED" not in block(page, "Standing alarms")
    assert "High-pressure pump 3" in block(page, "Standing alarms")
    assert "Booster pump 3" not in block(page, "Standing alarms")
    hidden = block(page, "Hidden alarms")
    assert "shelved until 2026-03-02T07:30:00" in hidden
    assert "by day shift: Booster pump 3" in hidden
    assert "bracket is loose" in hidden
    assert "Brine pump" in block(page, "Blind spots")


def test_what_happened_since_stands_under_its_title() -> None:
    events: list[Event] = [
        GatewayStarted(1.0, "1.0", "abc"),
        RunningChanged(2.0, point_key("booster-3", "pump-de-h"), False),
        *(raised(600.0 * number) for number in (1, 1.1, 1.2, 5)),
        LogWritten(700.0, "seal drips", LogKind.OBSERVATION, "day shift", "desk", MachineId("booster-3")),
    ]
    page = handover(sites.snapshot(), entries(*events), 0.0, "day shift")
    assert block(page, "New since the takeover").count("alarm raised") == 4
    assert "stands still" in block(page, "Started and stopped")
    assert "gateway started" in block(page, "Changes")
    assert "seal drips" in block(page, "Shift log")
    assert block(page, "Load").startswith("4 calls, at most 3 in ten minutes; most from booster-3/pump-de-h velocity_rms (4)")


def test_an_endless_list_is_cut_and_says_so() -> None:
    page = handover(sites.snapshot(), entries(*(raised(float(number)) for number in range(100))), 0.0, "")
    assert block(page, "New since the takeover").endswith("and 60 more: see the journal")


def test_the_digest_is_of_the_text_that_is_kept() -> None:
    page = handover(sites.snapshot(), entries(), 0.0, "")
    text = frozen(page).split("\n\n", 1)[1]
    assert hashlib.sha256(text.encode()).hexdigest() == page.digest


class Desk:
    """A shift log on a store in memory."""

    def __init__(self) -> None:
        self.store, self.clock = MemoryStore(), ManualClock(sites.NOW)
        self.shift = Shift(self.store, self.clock, self.tell, sites.snapshot)

    async def tell(self, *events: Event) -> None:
        await self.store.commit(Commit(recorded_at=self.clock.now(), events=events))

    async def taken(self) -> list[ShiftTaken]:
        return [one.event for one in await self.store.journal(1000) if isinstance(one.event, ShiftTaken)]


def texts(page: HandoverView, title: str) -> Iterable[str]:
    return next(one.lines for one in page.blocks if one.title == title)


async def test_what_happens_between_reading_and_taking_over_stands_on_the_next_page() -> None:
    desk = Desk()
    await desk.shift.write(DAY, "before", LogKind.OBSERVATION, None, None)
    await desk.clock.advance(10.0)
    read = await desk.shift.page()
    await desk.clock.advance(10.0)
    await desk.shift.write(DAY, "while it was read", LogKind.OBSERVATION, None, None)
    await desk.clock.advance(10.0)
    assert (await desk.shift.take(NIGHT, read.digest, "read with day shift")).done
    await desk.clock.advance(10.0)
    await desk.shift.write(NIGHT, "after", LogKind.OBSERVATION, None, None)
    following = await desk.shift.page()
    assert (following.since, following.taken_by) == (read.now, "night shift")
    log = "\n".join(texts(following, "Shift log"))
    assert [line.rsplit(": ", 1)[1] for line in log.split("\n")] == ["while it was read", "after"]
    (taken,) = await desk.taken()
    assert (taken.by, taken.digest, taken.note) == ("night shift", read.digest, "read with day shift")
    assert taken.page == frozen(read)


async def test_a_page_nobody_read_is_not_taken_over() -> None:
    desk = Desk()
    assert not (await desk.shift.take(NIGHT, "0" * 64, "")).done
    assert await desk.taken() == []


async def test_pages_being_read_are_kept_within_bounds() -> None:
    desk = Desk()
    first = await desk.shift.page()
    for number in range(PAGES_KEPT):
        await desk.shift.write(DAY, f"note {number}", LogKind.OBSERVATION, None, None)
        await desk.shift.page()
    assert not (await desk.shift.take(NIGHT, first.digest, "")).done


async def test_more_than_one_page_of_journal_is_looked_through() -> None:
    desk = Desk()
    await desk.shift.take(DAY, (await desk.shift.page()).digest, "")
    await desk.clock.advance(1.0)
    for number in range(1200):
        await desk.tell(LogWritten(desk.clock.now(), f"note {number}", LogKind.ACTION, "day shift", "desk"))
    page = await desk.shift.page()
    assert page.taken_by == "day shift"
    assert texts(page, "Shift log")[-1] == "and 1160 more: see the journal"  # type: ignore[index]


async def test_without_a_takeover_the_page_reaches_twelve_hours_back() -> None:
    desk = Desk()
    await desk.shift.write(DAY, "long ago", LogKind.ACTION, None, None)
    await desk.clock.advance(13 * 3600.0)
    await desk.shift.write(DAY, "lately", LogKind.ACTION, None, None)
    log = "\n".join(texts(await desk.shift.page(), "Shift log"))
    assert "lately" in log
    assert "long ago" not in log


@pytest.mark.parametrize(
    ("text", "sort", "corrects", "why"),
    [
        ("   ", LogKind.OBSERVATION, None, "nothing is written"),
        ("other", LogKind.CORRECTION, None, "names the entry"),
        ("other", LogKind.ACTION, 1, "names the entry"),
        ("other", LogKind.CORRECTION, 2, "not one of the shift log"),
        ("other", LogKind.CORRECTION, 99, "not one of the shift log"),
    ],
)
async def test_what_is_no_entry_is_refused(text: str, sort: LogKind, corrects: int | None, why: str) -> None:
    desk = Desk()
    await desk.shift.write(DAY, "seal drips", LogKind.OBSERVATION, None, None)
    await desk.tell(GatewayStarted(sites.NOW, "1.0", "abc"))
    with pytest.raises(ParameterError, match=why):
        await desk.shift.write(DAY, text, sort, None, corrects)


async def test_a_correction_leaves_the_original_as_it_is() -> None:
    desk = Desk()
    await desk.shift.write(DAY, "seal of booster pump 2 drips", LogKind.OBSERVATION, None, None)
    await desk.shift.write(NIGHT, "it is booster pump 3", LogKind.CORRECTION, None, 1)
    newest, first = [one.event for one in await desk.store.journal(2)]
    assert isinstance(first, LogWritten)
    assert first.text == "seal of booster pump 2 drips"
    assert isinstance(newest, LogWritten)
    assert newest.corrects == 1
