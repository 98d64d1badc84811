import functools
import gc
import sys
from dataclasses import replace

import pytest

from edgemon.model.snapshot import Change
from tests.board.driving import Board, plant
from tests.support import sites


async def update(one: Board, number: int) -> None:
    """One change of state and number, and the beat that shows it."""
    machine = sites.machine(number % 26, True)
    worst = replace(machine.worst, value=2.0 + number % 7) if machine.worst is not None else None
    state = "alert" if number // 26 % 2 else "normal"
    changed = replace(machine, worst=worst, t=sites.NOW + number, state=state)
    one.source.say(Change(sites.gateway(sites.NOW + number), (changed,)))
    await one.clock.advance(0.5)


def blocks() -> int:
    """What lives beside the caches of functions, the board's and the libraries', which have bounds of their own."""
    gc.collect()
    for found in gc.get_objects():
        if isinstance(found, functools._lru_cache_wrapper):
            found.cache_clear()
    gc.collect()
    return sys.getallocatedblocks()


@pytest.mark.slow
async def test_memory_stays_flat_over_two_thousand_updates() -> None:
    async with plant() as one:
        for number in range(1000):  # the rows kept by every widget fill
            await update(one, number)
        early = blocks()
        for number in range(1000, 2000):
            await update(one, number)
        late = blocks()
        assert "06:30" not in one.lines("banner")[0]  # the updates were shown, not only heard
        assert late - early < 0.01 * early, (early, late)
