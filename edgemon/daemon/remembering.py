"""What the last run left behind, as the memory of this one; and what a run hands on that the store has not got."""

import json
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from edgemon.decode.assemble import restore
from edgemon.engine.baselines import key_of
from edgemon.engine.memory import Memory, Setting
from edgemon.engine.proof import resumed
from edgemon.model.event import (
    AlarmChanged,
    CaptureIncomplete,
    DiagnosisMade,
    Event,
    FirstOutMarked,
    MeasurementLate,
    MessageRejected,
    OnsetMoved,
    QualityChanged,
    RunningChanged,
    SimulationNoted,
)
from edgemon.model.gateway_event import SettingsChanged
from edgemon.model.ids import MachineId, PointId, SensorId
from edgemon.model.instant import Instant
from edgemon.model.machine import GATEWAY
from edgemon.model.message import Message
from edgemon.settings.difference import differences
from edgemon.store.port import Commit, Saved

CHANGES_AT_ONCE = 50
"""Changed settings that one journal entry spells out."""
ENTRIES_MOST = 40
"""Entries for one change of the files; what is beyond is counted. Two thousand limits are a whole plant."""
LEFT = "left unwritten at the end: %s"
_MEASURED = (
    CaptureIncomplete,
    DiagnosisMade,
    FirstOutMarked,
    MeasurementLate,
    MessageRejected,
    OnsetMoved,
    QualityChanged,
    RunningChanged,
    SimulationNoted,
)
"""Events that follow from messages."""


def memory_of(setting: Setting, saved: Saved, now: Instant) -> Memory:
    """Take up what was saved, as far as the plant file still knows of it; the states of points are taken up by the judge."""
    newest_last = sorted(saved.sensors, key=lambda state: state.heard_at or 0.0)  # one memory of both, real and simulated
    sensors = {state.sensor: state for state in newest_last}
    return Memory(
        points={},
        sensors={sensor: sensors[sensor] for sensor in setting.plant.sensors if sensor in sensors},
        speeds={(speed.machine, speed.sim): speed for speed in saved.speeds},
        assembly=restore(saved.parts),
        counters=dict(saved.counters),
        diagnoses={(made.point, made.sim): made for made in saved.diagnoses if made.point in setting.rules},
        baselines={key_of(one): one for one in saved.baselines},
        proof=resumed(saved.proof, now),
        fast={one.sensor: one for one in saved.fast},
        signs={one.point: one for one in saved.signs},
    )


def gone(setting: Setting, saved: Saved) -> set[tuple[MachineId, PointId | None]]:
    """Give the points (and machines, without a point) that had a state once and that the plant file no longer has."""
    points = {state.point for state in saved.points} - setting.rules.keys() - {GATEWAY}
    machines = {key.machine for key in points} - setting.plant.machine_of.keys()
    return {(key.machine, key.point) for key in points} | {(machine, None) for machine in machines}


def written_down(documents: Mapping[str, Any]) -> dict[str, str]:
    """Give settings files as the store keeps them: name to JSON; a date becomes its text."""
    return {name: json.dumps(document, default=str, ensure_ascii=False) for name, document in documents.items()}


def changed(saved: Saved, settings: Mapping[str, str], now: Instant, has_run: bool) -> tuple[SettingsChanged, ...]:
    """Say how the settings differ from those of the newest start; nothing where that is not known.

    Parameters
    ----------
    settings : mapping
        As `written_down` gives them; empty where no files were read.
    has_run : bool
        This process ran before with those, and read them anew; otherwise they were changed while nobody looked.
    """
    if not saved.settings or not settings or saved.settings == settings:
        return ()
    before, after = ({name: json.loads(text) for name, text in one.items()} for one in (saved.settings, settings))
    all_of_them = differences(before, after)
    told, rest = all_of_them[: CHANGES_AT_ONCE * ENTRIES_MOST], max(0, len(all_of_them) - CHANGES_AT_ONCE * ENTRIES_MOST)
    parts = [told[first : first + CHANGES_AT_ONCE] for first in range(0, len(told), CHANGES_AT_ONCE)]
    counts = [len(part) for part in parts]
    if rest:
        counts[-1] += rest
    return tuple(SettingsChanged(now, part, count, not has_run) for part, count in zip(parts, counts, strict=True))


@dataclass(frozen=True, slots=True)
class Carried:
    """What one run hands to the next in the same process, for the store may have lost it, or never had it."""

    memory: Memory | None
    """None: of what was measured nothing is handed on, for the broker delivers all of it again."""
    events: tuple[Event, ...]
    """Of the journal, not written yet."""
    messages: tuple[Message, ...] = ()
    """That no broker delivers again."""
    dropped: int = 0
    """Events beyond the most that wait: they are lost, and nobody was told yet."""
    lost: int = 0
    """Messages beyond the most that are kept, likewise."""
    since: Instant | None = None
    """Since when not everything could be stored."""
    knows_past: bool = True
    """Its memory began with what the store held."""

    @property
    def left(self) -> str:
        """Say what is lost where no run takes this up; nothing where that is nothing."""
        entries, messages = len(self.events) + self.dropped, len(self.messages) + self.lost
        return f"{entries} journal entries, {messages} messages with QoS 0" if entries or messages else ""

    def onto(self, saved: Saved) -> "Carried":
        """Give what fits onto a store.

        A memory that began with nothing must not take the place of alarms that stood. It is given up where there are any: what
        led to it, the broker has. What people did and what became of the gateway itself stays in the journal. How the settings
        differ from those that are stored, if any are, is told again by every start.
        """
        if self.since is None:
            return self
        is_told_again = bool(saved.settings)
        kept = (event for event in self.events if not (is_told_again and isinstance(event, SettingsChanged)))
        carried = replace(self, events=tuple(kept))
        if self.knows_past or saved.next_seq == 1:
            return carried
        return replace(carried, memory=None, events=tuple(event for event in carried.events if not _comes_again(event)))

    def over(self, saved: Saved) -> Saved:
        """Give what was saved, with what is remembered in its place."""
        memory = self.memory
        if memory is None:
            return saved
        kept = {(state.point, state.sim): state for state in saved.points}
        return replace(
            saved,
            points=tuple({**kept, **memory.points}.values()),
            sensors=tuple({**{SensorId(one.sensor): one for one in saved.sensors}, **memory.sensors}.values()),
            speeds=tuple({**{(one.machine, one.sim): one for one in saved.speeds}, **memory.speeds}.values()),
            counters={**saved.counters, **memory.counters},
            diagnoses=tuple(memory.diagnoses.values()),
            baselines=tuple(memory.baselines.values()),
            proof=None if memory.proof is None else memory.proof.started,
            fast=tuple(memory.fast.values()),
            signs=tuple(memory.signs.values()),
        )

    def commit(self, now: Instant) -> Commit:
        """Give what is to be written again; states of points are written at every start."""
        if self.memory is None:
            return Commit(now, events=self.events)
        parts = [part for opened in self.memory.assembly.open.values() for part in opened.parts.values()]
        return Commit(
            now,
            parts=tuple(parts),
            events=self.events,
            sensors=tuple(self.memory.sensors.values()),
            speeds=tuple(self.memory.speeds.values()),
            counters=self.memory.counters,
        )


def _comes_again(event: Event) -> bool:
    """Say whether an event follows from what the broker delivers again, and not from what a person did."""
    return isinstance(event, _MEASURED) or (isinstance(event, AlarmChanged) and not event.by)
