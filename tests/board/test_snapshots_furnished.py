"""Pictures of the screens that need a daemon with much to say, compared with the ones someone has looked at."""

import asyncio
from dataclasses import replace

import pytest
from textual.pilot import Pilot

from edgemon.board.app import BoardApp
from edgemon.clock import ManualClock
from edgemon.model.shift import BlockView, HandoverView
from edgemon.model.snapshot import Snapshot
from tests.board.furnished import source
from tests.board.test_random_use import OPENINGS
from tests.board.test_snapshots import SnapCompare
from tests.support import sites

PAGE = HandoverView(
    sites.NOW - 28_800.0,
    sites.NOW,
    "operator",
    (
        BlockView("Now", ("26 machines: 1 alarm, 1 alert, 1 unknown, 2 not running, 21 normal", "gateway stores; broker up")),
        BlockView("Standing alarms", ("alarm, NOT ACKNOWLEDGED: Booster pump 3, pump-de-h, velocity r.m.s.",)),
        BlockView("Hidden alarms", ("none",)),
        BlockView(
            "Shift log", tuple(f"entry {number} of the shift log, as long as people write them" for number in range(1, 31))
        ),
    ),
    "0123456789abcdef",
)


def site(**changes: object) -> Snapshot:
    """The plant, its gateway changed; one sensor in each status of NE 107."""
    whole = sites.snapshot(**changes)  # type: ignore[arg-type]
    states = (("failure", "silent"), ("function-check", "simulated"), ("out-of-specification", "clipped"))
    told = [*states, ("maintenance-required", "battery at 12 %")]
    sensors = [replace(one, status=status, causes=(why,)) for one, (status, why) in zip(whole.sensors, told, strict=False)]
    return replace(whole, sensors=(*sensors, *whole.sensors[len(told) :]))


@pytest.mark.parametrize("size", [(80, 24), (200, 60)], ids=["80x24", "200x60"])
@pytest.mark.parametrize("opening", ["sensors", "shift", "performance", "lamps", "point, spectrum", "question: shelve"])
def test_furnished(snap_compare: SnapCompare, opening: str, size: tuple[int, int]) -> None:
    clock, daemon = ManualClock(sites.NOW), source()
    daemon.page = PAGE
    app = BoardApp(daemon, clock)

    async def play(pilot: Pilot[None]) -> None:
        app.desk.message = ""
        daemon.say(site())
        await pilot.pause()
        await clock.advance(0.5)
        await pilot.press(*OPENINGS[opening].split())
        await clock.advance(0.5)
        await pilot.pause()
        await clock.advance(0.5 if app.desk.look.phase is False else 1.0)
        await pilot.pause()
        await asyncio.sleep(0)

    assert snap_compare(app, run_before=play, terminal_size=size)


@pytest.mark.parametrize("opening", ["plant", "alarms"])
def test_a_gateway_that_hears_no_sensor(snap_compare: SnapCompare, opening: str) -> None:
    clock, daemon = ManualClock(sites.NOW), source()
    app = BoardApp(daemon, clock)

    async def play(pilot: Pilot[None]) -> None:
        app.desk.message = ""
        daemon.say(site(deaf_since=sites.NOW - 90.0))
        await pilot.pause()
        await clock.advance(0.5)
        if app.desk.look.phase is False:
            await clock.advance(0.5)
        await pilot.press(*OPENINGS[opening].split())
        await pilot.pause()
        await asyncio.sleep(0)

    assert snap_compare(app, run_before=play, terminal_size=(80, 24))
