"""Pictures of every screen, compared with the ones someone has looked at."""

import asyncio
from collections.abc import Awaitable, Callable, Sequence
from dataclasses import replace
from typing import TypeAlias

import pytest
from textual.pilot import Pilot

from edgemon.board.app import BoardApp
from edgemon.board.memory import MemorySource
from edgemon.board.port import Lost
from edgemon.board.several import Several
from edgemon.clock import ManualClock
from edgemon.model.snapshot import JournalView, Snapshot, TrendPoint
from tests.board import commissioned, low
from tests.board.test_proof import ENGINEER, ON, proving
from tests.support import sites

SnapCompare: TypeAlias = Callable[..., bool]
SIZES = [(80, 24), (120, 40), (200, 60)]
PAST = tuple(TrendPoint(sites.NOW - 900.0 + 3.0 * k, 1.5 + k * 0.018, True) for k in range(300))
JOURNAL = tuple(
    JournalView(seq, sites.NOW - 10.0 * (32 - seq), "alarm-changed", f"entry {seq}: an alarm changed its state")
    for seq in range(31, 0, -1)
)


def picture(
    keys: Sequence[str],
    lost: bool = False,
    options: dict[str, bool | str] | None = None,
    shown: Snapshot | None = None,
    past: tuple[TrendPoint, ...] = PAST,
) -> tuple[BoardApp, Callable[[Pilot[None]], Awaitable[None]]]:
    source = MemorySource(journal=JOURNAL)
    source.past = past
    clock = ManualClock(sites.NOW)
    app = BoardApp(source, clock, **(options or {}))  # type: ignore[arg-type]

    async def play(pilot: Pilot[None]) -> None:
        app.desk.message = ""
        source.say(shown or sites.snapshot())
        await pilot.pause()
        await clock.advance(0.5)
        if app.desk.look.phase is False:
            await clock.advance(0.5)
        await pilot.press(*keys)
        if lost:
            await clock.advance(5.0)
        await pilot.pause()
        await asyncio.sleep(0)

    return app, play


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize(
    "keys",
    [[], ["enter"], ["enter", "enter"], ["l"], ["n"], ["j"], ["question_mark"]],
    ids=["plant", "machine", "point", "alarms", "notes", "journal", "help"],
)
def test_screen(snap_compare: SnapCompare, keys: list[str], size: tuple[int, int]) -> None:
    app, play = picture(keys)
    assert snap_compare(app, run_before=play, terminal_size=size)


@pytest.mark.parametrize("options", [{"theme": "light"}, {"ascii": True}, {"still": True}], ids=["light", "ascii", "still"])
def test_plant_drawn_otherwise(snap_compare: SnapCompare, options: dict[str, bool | str]) -> None:
    app, play = picture([], options=options)
    assert snap_compare(app, run_before=play, terminal_size=(120, 40))


def test_plant_without_colour(snap_compare: SnapCompare, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("NO_COLOR", "1")
    app, play = picture([])
    assert snap_compare(app, run_before=play, terminal_size=(80, 24))


def test_plant_without_its_daemon(snap_compare: SnapCompare) -> None:
    app, play = picture([], lost=True)
    assert snap_compare(app, run_before=play, terminal_size=(80, 24))


def test_question(snap_compare: SnapCompare) -> None:
    app, play = picture(["a"])
    assert snap_compare(app, run_before=play, terminal_size=(80, 24))


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("keys", [["enter"], ["enter", "enter"]], ids=["machine", "point"])
def test_low_limit(snap_compare: SnapCompare, keys: list[str], size: tuple[int, int]) -> None:
    app, play = picture(keys, shown=low.snapshot(3.0), past=low.PAST)
    assert snap_compare(app, run_before=play, terminal_size=size)


@pytest.mark.parametrize("size", SIZES)
def test_commissioning(snap_compare: SnapCompare, size: tuple[int, int]) -> None:
    app, play = picture(["g", "down", "down", "down"])
    app.desk.source.commissioned = commissioned.view()  # type: ignore[attr-defined]
    assert snap_compare(app, run_before=play, terminal_size=size)


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("keys", [[], ["l"], ["y"]], ids=["plant", "alarms", "question"])
def test_proof(snap_compare: SnapCompare, keys: list[str], size: tuple[int, int]) -> None:
    app, play = picture(keys, shown=proving(None if keys == ["y"] else ON))

    app.desk.source.person = ENGINEER  # type: ignore[attr-defined]

    assert snap_compare(app, run_before=play, terminal_size=size)


def test_plant_of_two_gateways_of_which_one_is_lost(snap_compare: SnapCompare) -> None:
    """Everything past row 13 is the second gateway's; booster pump 3, in alarm there as here, is at both."""
    one, two, clock = MemorySource(), MemorySource(), ManualClock(sites.NOW)
    app = BoardApp(Several([("unix:/run/1", one), ("unix:/run/2", two)], clock), clock)
    whole = sites.snapshot(sim=False)

    async def play(pilot: Pilot[None]) -> None:
        app.desk.message = ""
        for source, name, machines in ((one, "gw-hall", whole.machines[:13]), (two, "gw-rest", whole.machines[12:])):
            shown = sites.snapshot(machines)
            source.say(replace(shown, gateway=replace(shown.gateway, gateway=name)))
            await pilot.pause()
        await clock.advance(1.0)
        two.say(Lost("no daemon answers at unix:/run/2"))
        await pilot.pause()
        await clock.advance(0.5)
        if app.desk.look.phase is False:
            await clock.advance(0.5)
        await pilot.pause()

    assert snap_compare(app, run_before=play, terminal_size=(120, 40))
