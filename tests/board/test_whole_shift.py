"""A whole shift at the board, against the daemon's own core: everything that was done stands in the journal, once, with a name.

What an entry must tell (who, from where, when, why) is what ISA-18.2 asks of records of operator actions; the chain is computed
anew here from its published description, by hashlib alone.
"""

import hashlib
import json
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

import pytest

from edgemon.board.app import BoardApp
from edgemon.daemon.looking import Looking
from edgemon.daemon.shift import Shift
from edgemon.model.command import Person, Role
from edgemon.model.event import AlarmChanged, AlarmsSilenced, CommandRefused, Event, JournalEntry
from edgemon.model.shift import LogWritten, ShiftTaken
from edgemon.store.wire import event_row
from tests.board.driving import Board
from tests.support.captures import capture
from tests.support.plants import plant
from tests.support.rig import START, Inline, Rig, running
from tests.support.seated import Seated

DAY = Person("day shift", Role.OPERATOR, "desk 1")
NIGHT = Person("night shift", Role.OPERATOR, "desk 2")
SIZE = (120, 40)


class AtWork(Board):
    """A board, and the daemon behind it: time passes for both."""

    rig: Rig

    async def hear_captures(self, *speeds: tuple[float, float]) -> None:
        """Let the sensor send captures of these velocities (x, z), 10 s apart."""
        for x, z in speeds:
            await self.rig.send(capture(self.rig.clock.now(), x, z))
            await self.later(10.0)

    async def later(self, seconds: float, every: float = 1.0) -> None:
        await self.rig.pass_time(seconds, every)
        await self.pilot.pause()

    async def use(self, *keys: str) -> str:
        """Press keys, give the daemon a moment, and tell what stands there."""
        for key in keys:
            await self.pilot.press(key)
        await self.later(1.0, every=0.5)
        return self.text()


@asynccontextmanager
async def seated(rig: Rig, person: Person) -> AsyncIterator[AtWork]:
    source = Seated(rig.hub, person)
    app = BoardApp(source, rig.clock)
    async with app.run_test(size=SIZE) as pilot:
        one = AtWork(app, source, rig.clock, pilot)
        one.rig = rig
        await one.later(12.0)  # the caution has gone
        yield one
        await one.press("q")


@pytest.mark.slow  # twenty minutes at the board, beat by beat
async def test_a_shift_is_worked_and_handed_over_and_every_deed_is_in_the_journal() -> None:
    rig = Rig(plant(stale_after_s=1e6))
    rig.hub.commands = rig.path.command
    rig.hub.looking = Looking(lambda: rig.path.setting, rig.store, Inline())
    rig.hub.shift = Shift(rig.store, rig.clock, rig.path.tell, rig.hub.snapshot, rig.setting.plant.points)
    async with running(rig):
        async with seated(rig, DAY) as one:
            await alarms_arise(one)
            await looks_at_it(one)
            await deals_with_it(one)
            await searches_and_writes(one)
        async with seated(rig, NIGHT) as one:
            await takes_over(one)
            await the_shelf_ends(one)
        entries = list(reversed(await rig.store.journal(1000)))
    told = [deed(entry.event) for entry in entries]
    assert [one for one in told if one is not None] == EXPECTED
    times = [entry.recorded_at for entry in entries]
    assert times == sorted(times)
    assert times[-1] - START > 900.0
    assert chain(entries) == [entry.hash for entry in entries]


H, Z = "hp-pump-1/pump-de-h/velocity_rms", "hp-pump-1/pump-de-a/velocity_rms"
EXPECTED = [
    (H, "RAISED", "NORM", "UNACK", "", "", ""),
    (Z, "RAISED", "NORM", "UNACK", "", "", ""),
    ("silenced", (H,), "day shift", "desk 1"),
    (H, "ACK", "UNACK", "ACKED", "day shift", "desk 1", ""),
    (Z, "SHELVED", "UNACK", "SHLVD", "day shift", "desk 1", "loose bracket"),
    (H, "CLEARED", "ACKED", "NORM", "", "", ""),
    ("log", "bracket of the axial sensor is loose", "day shift", "desk 1"),
    ("taken", "read it all", "night shift", "desk 2"),
    (Z, "UNSHELVED", "SHLVD", "UNACK", "", "", "shelf expired"),
    (Z, "ACK", "UNACK", "ACKED", "night shift", "desk 2", ""),
]
"""All that people did and all that alarms did, in order: once each."""


def deed(event: Event) -> tuple[object, ...] | None:
    match event:
        case AlarmChanged():
            key = "/".join((event.alarm.machine, event.alarm.point, event.alarm.level))
            return key, event.change, event.from_state, event.to_state, event.by, event.station, event.reason
        case AlarmsSilenced():
            return "silenced", tuple("/".join(one[:3]) for one in event.alarms), event.by, event.station
        case LogWritten():
            return "log", event.text, event.by, event.station
        case ShiftTaken():
            return "taken", event.note, event.by, event.station
        case CommandRefused():
            return "refused", event.command, event.why
        case _:
            return None


def chain(entries: list[JournalEntry]) -> list[str]:
    """SHA-256 (FIPS 180-4) over the hash before and the entry as a JSON array without white space."""
    previous, found = bytes(32), []
    for entry in entries:
        *fields, sim, body = event_row(entry.seq, entry.recorded_at, entry.event)
        text = json.dumps((*fields, int(sim), body), separators=(",", ":"))
        previous = hashlib.sha256(previous + text.encode("ascii")).digest()
        found.append(previous.hex())
    return found


async def alarms_arise(one: AtWork) -> None:
    await one.hear_captures((1.0, 0.5))
    assert "normal" in one.line("High-pressure pump 1")
    await one.hear_captures((5.0, 3.0))
    assert "alarm" in one.line("High-pressure pump 1")
    assert "to acknowledge" in one.lines("banner")[1]
    assert "horn on" in one.lines("banner")[1]


async def looks_at_it(one: AtWork) -> None:
    assert "5.00 mm/s" in await one.use("enter")
    assert "highest 5.003 mm/s, 2 values" in await one.use("enter")
    assert "50 Hz" in await one.use("3", "tab")
    await one.use("escape", "escape")
    await one.use("c", "enter")
    assert "Done: silence the horn" in one.lines("foot")[0]
    assert "horn on" not in one.text()
    assert "to acknowledge" in one.lines("banner")[1], "silence is no acknowledgement"


async def deals_with_it(one: AtWork) -> None:
    assert "unacknowledged" in await one.use("l")
    assert "as day shift (operator) at desk 1" in await one.use("a")
    assert "Acknowledged" in await one.use("y")
    await one.use("down", "h", "left", *"loose brackett", "backspace", "enter")
    assert "Shelved: High-pressure pump 1, pump-de-a" in one.lines("foot")[0]
    assert "shelved" in one.text()
    await one.hear_captures((1.0, 3.0))
    assert "to acknowledge" not in one.text()
    assert "unacknowledged" not in one.text()


async def searches_and_writes(one: AtWork) -> None:
    assert "shelved" in await one.use("j")
    found = await one.use("slash", *"bracket", "enter")
    assert "1 entry" in found
    assert "loose bracket" in found
    await one.use("escape", "t")
    await one.use("w", *"bracket of the axial sensor is loose", "enter")
    assert "bracket of the axial sensor is loose" in await one.use("end")


async def takes_over(one: AtWork) -> None:
    page = " ".join((await one.use("t")).split())
    for words in ("day shift", "loose bracket", "Hidden alarms", "bracket of the axial sensor is loose"):
        assert words in page
    assert "Take the shift over?" in await one.use("enter")
    await one.use(*"read it all", "enter")
    assert "Done: take the shift over" in one.lines("foot")[0]
    await one.later(12.0)
    assert "taken over by night shift" in one.lines("body")[0]


async def the_shelf_ends(one: AtWork) -> None:
    await one.later(910.0, every=10.0)
    await one.hear_captures((1.0, 3.0))
    text = await one.use("l")
    assert "unacknowledged" in text
    assert "shelved" not in one.line("High-pressure pump 1")
    await one.use("a", "y")
    assert "Acknowledged" in one.lines("foot")[0]
