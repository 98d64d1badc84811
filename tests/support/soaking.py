"""A board left alone for days, accelerated: what it holds on to is counted as it goes."""

import asyncio
import gc
import os
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from textual.message_pump import MessagePump
from textual.pilot import Pilot
from textual.screen import Screen

from edgemon.board.app import BoardApp
from edgemon.board.memory import MemorySource
from edgemon.clock import ManualClock
from edgemon.model.snapshot import AlarmView, JournalView, MachineView, PointView
from tests.support import sites
from tests.support.churn import Plant

SIZE = (80, 24)
PATIENCE_S = 10.0
ROUND = ("l", "down", "escape", "enter", "enter", "1", "escape", "escape", "j", "escape", "t", "escape", "tab", "f", "f")
"""What the operator does now and then, a key each time: every screen is opened and left again."""


@dataclass(frozen=True)
class Held:
    """What the process holds on to at one moment, the board on its first screen."""

    updates: int
    widgets: int
    timers: int
    tasks: int
    views: int
    """Machines, points and alarms as the daemon told them."""
    objects: int
    rss_kib: int
    spent_s: float
    """Processor time since the count before."""


async def soak(
    updates: int, machines: int, counts: int, key_every: int, tell: Callable[[Held], None] = lambda _: None
) -> list[Held]:
    """Let a board live through this many seconds; count `counts` times on the way, and once after a first tenth of that."""
    plant, clock, source = Plant(machines), ManualClock(sites.NOW), MemorySource(journal=_journal())
    app = BoardApp(source, clock)
    source.say(plant.snapshot())
    held: list[Held] = []
    changes = plant.changes()
    async with app.run_test(size=SIZE) as pilot:
        await clock.advance(1.0)
        began = time.process_time()
        for second in range(1, updates + 1):
            source.say(next(changes))
            await clock.advance(1.0)
            if second % key_every == 0:
                await pilot.press(ROUND[second // key_every % len(ROUND)])
            if second % (updates // counts) == 0:
                held.append(await _held(app, source, pilot, second, time.process_time() - began))
                tell(held[-1])
                began = time.process_time()
    return held


def rss_kib() -> int:
    """Resident memory of this process (Linux, /proc)."""
    pages = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") // 1024


async def _held(app: BoardApp, source: MemorySource, pilot: Pilot[None], updates: int, spent_s: float) -> Held:
    while len(app.screen_stack) > 1:
        await app.pop_screen()
    await pilot.pause()
    await _left_screens_are_gone(app)
    pumps: list[MessagePump] = [app, *app.query("*"), app.screen]
    for asked in (source.stretches, source.searched, source.looked, source.periods):
        asked.clear()  # the fake daemon's own notes
    alive = gc.get_objects()
    return Held(
        updates=updates,
        widgets=sum(isinstance(one, MessagePump) for one in alive),
        timers=sum(len(pump._timers) for pump in pumps),
        tasks=len(asyncio.all_tasks()),
        views=sum(isinstance(one, (MachineView, PointView, AlarmView)) for one in alive),
        objects=len(alive),
        rss_kib=rss_kib(),
        spent_s=spent_s,
    )


async def _left_screens_are_gone(app: BoardApp) -> None:
    """Give screens that a key left the time to take themselves down, long on a busy machine; one that stays is counted."""
    deadline = time.monotonic() + PATIENCE_S
    while True:
        gc.collect()
        left = [one for one in gc.get_objects() if isinstance(one, Screen) and one not in app.screen_stack]
        if not left or time.monotonic() > deadline:
            return
        del left
        await asyncio.sleep(0.01)


def _journal() -> list[JournalView]:
    return [JournalView(seq, sites.NOW - seq, "alarm-changed", f"entry {seq}") for seq in range(500, 0, -1)]
