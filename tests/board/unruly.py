"""A daemon that answers, refuses, drops or says rubbish, as chance will have it."""

import asyncio
import inspect
from collections.abc import AsyncIterator, Awaitable, Callable
from dataclasses import replace
from random import Random
from typing import Any

from edgemon.board.memory import MemorySource
from edgemon.board.port import Lost, Outcome, Update
from edgemon.errors import LinkDown, LinkRefused
from edgemon.model.command import Person, Role
from edgemon.model.commission import CheckView, CommissionRow, CommissionView, Stand
from edgemon.model.outlook import BaselineView, CrossingView, OutlookView
from edgemon.model.shift import BlockView, HandoverView
from edgemon.model.snapshot import Change, JournalView, MachineView, TrendPoint
from tests.board.test_performance import FIGURES
from tests.board.test_point import spectrum, waveform
from tests.support import sites

RUBBISH = (
    "\x1b[2J\x1b]0;title\x07",
    "\x9b31m\x00\x08\x7f\r\n\t",
    "[/] [@click=app.bell]x[/] {0} %s",
    "漢字テスト" * 40,
    "🧪\u200d🧪👩\u200d🔬",
    "e\u0301a\u0308\u20dd" + "\u0300" * 60,
    "\u202egnp\u2066\u2028\u2029\ufeff",
    "\ud800\udfff",
    "x" * 1500,
    " ",
    "",
    "since=2026-13-99 kind= machine= until=never",
    "(((*+?[",
)
"""Controls, escape sequences, markup, wide, joined and combining characters, lone surrogates, too long, nothing."""
ANSWERS = frozenset(name for name, found in vars(MemorySource).items() if inspect.iscoroutinefunction(found))
STATES = ("UNACK", "ACKED", "RTNUN", "LATUN", "LATAK", "SHLVD", "DSUPR", "OOSRV", "NORM")


class Unruly(MemorySource):
    """The memory source, but each answer may be an error, a refusal, or never come; and what it names is rubbish."""

    def __init__(self, chance: Random) -> None:
        journal = [JournalView(seq, sites.NOW - seq, _rubbish(chance), _rubbish(chance)) for seq in range(700, 0, -1)]
        super().__init__(Person("operator", chance.choice(list(Role)), _rubbish(chance)), journal)
        self.chance = chance
        self.past = tuple(TrendPoint(sites.NOW - 900.0 + 3.0 * k, 1.5 + k * 0.018, k % 7 != 0) for k in range(300))
        self.figures = replace(FIGURES, remarks=RUBBISH)
        checks = tuple(CheckView("alarm proven", chance.choice(list(Stand)), one) for one in RUBBISH)
        self.commissioned = CommissionView(sites.NOW, tuple(CommissionRow(one, one, one, one, one, checks) for one in RUBBISH))
        self.page = HandoverView(sites.NOW, sites.NOW, _rubbish(chance), (BlockView(_rubbish(chance), RUBBISH),), "digest")
        lines = spectrum()
        self.lines = replace(lines, markers=tuple(replace(lines.markers[k % 2], name=one) for k, one in enumerate(RUBBISH)))
        self.wave = waveform()
        crossing = CrossingView("alarm", 5.1, sites.NOW, sites.NOW + 1e6, sites.NOW + 1e9, 0.9, "linear", "", _rubbish(chance))
        where = ("booster-3", "pump-de-h", "velocity_rms", _rubbish(chance), "mm/s")
        self.coming = OutlookView(*where, sites.NOW, 40, {}, None, None, 6.0, None, None, (crossing,), False)
        self.known = (BaselineView(*where, "retired", 20, 20, retired_by=_rubbish(chance), retired_because=_rubbish(chance)),)

    def __getattribute__(self, name: str) -> Any:
        """Put chance before every answer."""
        found = super().__getattribute__(name)
        return self._by_chance(found) if name in ANSWERS else found

    def _by_chance(self, ask: Callable[..., Awaitable[Any]]) -> Callable[..., Awaitable[Any]]:
        async def answer(*args: Any, **options: Any) -> Any:
            if self.chance.random() < 0.05 and ask.__name__ != "whoami":  # without it no board begins; the client gives up
                await asyncio.Event().wait()
            if self.chance.random() < 0.25:
                raise self.chance.choice((LinkDown, LinkRefused))(_rubbish(self.chance))
            self.outcome = Outcome(self.chance.random() < 0.6, _rubbish(self.chance))
            return await ask(*args, **options)

        return answer

    async def updates(self) -> AsyncIterator[Update]:
        """Give what was said; where the daemon is lost, end or fail by chance."""
        async for update in super().updates():
            if isinstance(update, Lost):
                if self.chance.random() < 0.4:
                    raise LinkDown(update.why)
                if self.chance.random() < 0.4:
                    return
            yield update


def said(chance: Random) -> Update:
    """Something a daemon may say: a plant, another plant, changes, that it is gone."""
    match chance.randrange(8):
        case 0:
            return sites.snapshot()
        case 1:
            return sites.snapshot(sites.many(chance.choice((0, 1, 60))), sim=False)
        case 2:
            return Lost(_rubbish(chance))
        case 3:
            strange = replace(sites.machine(12), id="strange", name=_rubbish(chance), area=_rubbish(chance), points=())
            machines = [strange, *(_moved(sites.machine(row), chance) for row in range(12))]
            return sites.snapshot(machines, store_ok=False, store_detail=_rubbish(chance), site_name=_rubbish(chance))
        case _:
            changed = tuple(_moved(sites.machine(chance.randrange(26), chance.random() < 0.5), chance) for _ in range(3))
            now, events = sites.NOW + chance.randrange(-5, 900), chance.randrange(99)
            return Change(sites.gateway(now, sounding=chance.random() < 0.5, events=events), changed)


def _moved(machine: MachineView, chance: Random) -> MachineView:
    """The machine with alarms in whatever states and values of whatever size."""
    values = (0.0, -1.0, 1e12, float("inf"), float("nan"))
    points = tuple(
        replace(
            point,
            quality=chance.choice(("good", "stale", "bad")),
            reasons=(_rubbish(chance),),
            levels=tuple(replace(one, value=chance.choice((*values, one.value))) for one in point.levels),
            alarms=tuple(
                replace(one, alarm_state=chance.choice(STATES), occurrence=chance.randrange(9)) for one in point.alarms
            ),
        )
        for point in machine.points
    )
    return replace(machine, points=points, unacknowledged=chance.random() < 0.5)


def _rubbish(chance: Random) -> str:
    return chance.choice(RUBBISH)
