"""What was changed in the settings files while the daemon did not run stands in the journal, old and new, at its next start."""

import json
import tomllib
from dataclasses import replace

from edgemon.api.view import words
from edgemon.daemon.remembering import CHANGES_AT_ONCE, ENTRIES_MOST, changed, written_down
from edgemon.errors import StoreFull
from edgemon.model.gateway_event import SettingsChanged
from edgemon.store.memory import MemoryStore
from edgemon.store.port import Saved
from tests.support.rig import START, Rig

LIMIT = """
[[machine]]
id = "hp-pump-1"
[[machine.point]]
id = "motor-de-h"
[[machine.point.limit]]
level = "velocity_rms"
alert = 2.8
alarm = 4.5
on_delay = 2
"""
WHERE = "plant.toml: machine[hp-pump-1].point[motor-de-h].limit[velocity_rms]"


def files(plant: str) -> dict[str, str]:
    return written_down({"plant.toml": tomllib.loads(plant), "gateway.toml": {}})


def told(store: MemoryStore) -> list[SettingsChanged]:
    events = (event for commit in store.commits for event in commit.events)
    return [event for event in events if isinstance(event, SettingsChanged)]


async def start(store: MemoryStore, plant: str, has_run: bool = False) -> MemoryStore:
    """Start on what the run before left; nothing else happens in it."""
    after = MemoryStore(before=store)
    await Rig(store=after, now=START + len(store.commits)).path.begin("test", None, files(plant), has_run)
    return after


async def test_limits_delays_and_deadbands_are_named_old_and_new_and_that_nobody_is_known() -> None:
    store = await start(MemoryStore(), LIMIT)
    assert told(store) == []  # nothing to compare with
    store = await start(store, LIMIT.replace("# ", "") + "# a remark\n")
    assert told(store) == []
    store = await start(store, LIMIT.replace("2.8", "3.1").replace("on_delay = 2", "on_delay_s = 600\ndeadband = 0.2"))
    (event,) = told(store)
    assert event.found_at_start
    assert event.changes == (
        f"{WHERE}.alert: 3.1, before 2.8",
        f"{WHERE}.deadband: 0.2, before not set",
        f"{WHERE}.on_delay: taken out, before 2",
        f"{WHERE}.on_delay_s: 600, before not set",
    )
    assert words(event).startswith("settings changed before this start, it is not known by whom: plant.toml: machine")
    again = await start(store, LIMIT.replace("2.8", "3.1").replace("on_delay = 2", "on_delay_s = 600\ndeadband = 0.2"))
    assert len(told(again)) == 1


async def test_what_was_read_anew_while_it_ran_is_told_as_that() -> None:
    store = await start(await start(MemoryStore(), LIMIT), LIMIT.replace("4.5", "7.1"), has_run=True)
    (event,) = told(store)
    assert not event.found_at_start
    assert words(event) == f"settings changed: {WHERE}.alarm: 7.1, before 4.5"


async def test_a_change_that_could_not_be_written_at_once_is_told_once() -> None:
    store = MemoryStore(before=await start(MemoryStore(), LIMIT))
    store.failing = StoreFull("the disk is full", "edgemon.sqlite")
    rig = Rig(store=store)
    await rig.path.begin("test", None, files(LIMIT.replace("2.8", "3.1")))
    store.failing = None
    await rig.clock.advance(60.0)
    await rig.path._recover()
    assert len(told(store)) == 1
    assert len(told(await start(store, LIMIT.replace("2.8", "3.1")))) == 1


def test_many_changes_fill_several_entries_and_what_is_beyond_is_counted() -> None:
    many = CHANGES_AT_ONCE * ENTRIES_MOST + 7
    before = {"plant.toml": json.dumps({f"k{n:05d}": 1 for n in range(many)})}
    after = {"plant.toml": json.dumps({f"k{n:05d}": 2 for n in range(many)})}
    events = changed(replace(Saved(), settings=before), after, START, False)
    assert len(events) == ENTRIES_MOST
    assert {len(event.changes) for event in events} == {CHANGES_AT_ONCE}
    assert sum(event.count for event in events) == many
    assert "and 7 more" in words(events[-1])
    assert events[0].changes[0] == "plant.toml: k00000: 2, before 1"
