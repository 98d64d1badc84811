"""Items to next memory, events and what to store; quick, and nothing is changed in place."""

from collections.abc import Collection, Iterable
from dataclasses import replace

from edgemon.alarms import judge as alarms
from edgemon.alarms.rewind import rewind
from edgemon.engine.analyse import Analysis, Heard, Repeated, Taken, Waiting
from edgemon.engine.arrivals import remember
from edgemon.engine.baselines import key_of, obey
from edgemon.engine.collection import end_all
from edgemon.engine.collection import passed as collected
from edgemon.engine.draft import Draft, Judgement, draft_of, judgement_of
from edgemon.engine.heard import hear, reject, sensor_heard, take, tell
from edgemon.engine.memory import NOTES_KEPT, Memory, Setting
from edgemon.engine.parent import TRACK, attend, taken_up
from edgemon.engine.proof import CLOCK_WAS_SET, end, passed
from edgemon.errors import ParameterError
from edgemon.model.alarm import PointState, SensorState
from edgemon.model.baseline import BaselineApproved, BaselineProposed, BaselineRetired
from edgemon.model.command import BaselineCommand, Command, Person
from edgemon.model.event import DiagnosisMade, Event, SimulationNoted
from edgemon.model.gateway_event import ClockStepped, GatewayStarted
from edgemon.model.ids import MachineId, PointKey
from edgemon.model.instant import Instant
from edgemon.model.message import Quarantined
from edgemon.model.reading import SimulationNote
from edgemon.store.port import Saved


def judge(setting: Setting, memory: Memory, analysis: Analysis, now: Instant) -> Judgement:
    """Judge a batch, item by item in order of arrival."""
    draft = draft_of(setting, memory, now)
    draft.count("messages", analysis.messages)
    for item in analysis.items:
        match item:
            case Heard():
                hear(draft, item)
            case Taken():
                take(draft, item)
            case Waiting(part, is_again):
                draft.parts.append(part)
                if not is_again:
                    sensor_heard(draft, part.sensor, part.received_at, part.taken_at, part.sim, capture_at=part.taken_at)
            case Repeated(sensor):
                draft.count("repeats")
                state = draft.sensors.get(sensor, SensorState(sensor))
                draft.sensors[sensor] = replace(state, repeats=state.repeats + 1)
                draft.heard.add(sensor)
            case Quarantined():
                reject(draft, item)
            case SimulationNote():
                machine = MachineId(item.machine) if item.machine in setting.plant.machine_of else None
                draft.notes = (*draft.notes, item)[-NOTES_KEPT:]
                draft.events.append(SimulationNoted(item.taken_at, item.title, item.text, machine))
        draft.mark()
    for heard, arrivals in analysis.arrivals.items():
        before = draft.sensors.get(heard, SensorState(heard))
        draft.sensors[heard] = replace(before, arrivals=remember(before.arrivals, arrivals))
        draft.heard.add(heard)
    return judgement_of(draft, replace(memory, assembly=analysis.assembly))


def tick(setting: Setting, memory: Memory, now: Instant, lost: Collection[str] = ()) -> Judgement:
    """Let time do its work: silence, shelves that end, rejections not told of yet; `lost` is what the gateway itself lost."""
    draft = draft_of(setting, memory, now)
    memory = attend(draft, memory, lost)
    memory = replace(memory, proof=passed(draft, memory.proof), fast=collected(draft, memory.fast))
    for track, state in list(draft.points.items()):
        rules = setting.rules.get(track[0])
        if rules is not None and (state.taken_at is not None or state.sim is setting.gateway.simulated):
            after, events = alarms.tick(rules, state, now)
            draft.adopt(track, state, after, events)
    for cause, rejections in memory.rejections.items():
        if rejections.untold and now - rejections.told_at >= setting.gateway.borders.rejection_interval_s:
            tell(draft, cause, rejections)
    return judgement_of(draft, memory)


def happened(setting: Setting, memory: Memory, event: Event, now: Instant) -> Judgement:
    """Journal what happened outside the path: the link, the clock, the stop, a diagnosis."""
    draft = draft_of(setting, memory, now)
    draft.events.append(event)
    if isinstance(event, DiagnosisMade):
        track = (event.point, event.sim)
        memory = replace(memory, diagnoses={**memory.diagnoses, track: event})
        draft.moved.update({track} & memory.points.keys())
    elif isinstance(event, BaselineProposed | BaselineApproved | BaselineRetired):
        one = event.baseline
        memory = replace(memory, baselines={**memory.baselines, key_of(one): one})
        tracks = {(one.point, sim) for sim in (False, True)}  # the limits in force hold for both
        draft.moved.update(tracks & memory.points.keys())
    elif isinstance(event, ClockStepped):
        _clock_was_set(draft)
        memory = replace(memory, quiet_since=now)
        if memory.proof is not None:
            end(draft, memory.proof, CLOCK_WAS_SET)
            memory = replace(memory, proof=None)
        end_all(draft, memory.fast, CLOCK_WAS_SET)
        memory = replace(memory, fast={})
    return judgement_of(draft, memory)


def _clock_was_set(draft: Draft) -> None:
    """Take everything up as after a start: nothing lies in the future, and no point is called lost for the step's sake."""
    now = draft.now
    for track, state in list(draft.points.items()):
        rules = draft.setting.rules.get(track[0])
        if rules is not None:
            draft.adopt(track, state, *alarms.restart(rules, rewind(state, now), now))
    if TRACK in draft.points:
        draft.adopt(TRACK, draft.points[TRACK], rewind(draft.points[TRACK], now), ())
    for sensor, heard in draft.sensors.items():
        if heard.heard_at is not None and heard.heard_at > now:
            draft.sensors[sensor] = replace(heard, heard_at=now)
            draft.heard.add(sensor)
    for key, speed in draft.speeds.items():
        if speed.taken_at > now:
            draft.speeds[key] = replace(speed, taken_at=now)
            draft.spun.add(key)
    for cause, told in draft.rejections.items():
        draft.rejections[cause] = replace(told, told_at=min(told.told_at, now))


def baseline(filed: Setting, memory: Memory, order: BaselineCommand, person: Person, now: Instant) -> Judgement:
    """Do what a person commands about a baseline, or journal why not; `filed` is the setting of the plant file alone.

    Raises
    ------
    ParameterError
        No such point or level.
    """
    return happened(filed, memory, obey(filed, memory.baselines, order, person, now), now)


def command(setting: Setting, memory: Memory, order: Command, person: Person, now: Instant) -> Judgement:
    """Do what a person commands, or journal why not.

    Raises
    ------
    ParameterError
        No such point.
    """
    key = PointKey(order.alarm.machine, order.alarm.point)
    rules = setting.rules_of(key)
    if rules is None:
        raise ParameterError("no such point", str(order.alarm), "look up the alarm in the alarm list")
    track = (key, order.alarm.sim)
    state = memory.points.get(track, PointState(key, order.alarm.sim))
    draft = draft_of(setting, memory, now)
    after, events = alarms.command(rules, state, order, person, now)
    draft.adopt(track, state, after, events)
    return judgement_of(draft, memory)


def begin(setting: Setting, saved: Saved, memory: Memory, started: GatewayStarted, changed: Iterable[Event] = ()) -> Judgement:
    """Take up where the last run left off; every point the plant file names has a state from now on.

    `changed` is how the settings differ from those of the last run.
    """
    draft = draft_of(setting, memory, started.at)
    draft.events.extend((started, *changed))
    ahead_s = setting.gateway.borders.future_skew_s
    remembered = {(state.point, state.sim): state for state in saved.points}
    tracks = [(key, setting.gateway.simulated) for key in setting.rules]
    for track in dict.fromkeys([*tracks, *(track for track in remembered if track[0] in setting.rules)]):
        state = remembered.get(track, PointState(track[0], track[1]))
        after, events = alarms.restart(setting.rules[track[0]], rewind(state, started.at, ahead_s), started.at)
        draft.points[track] = after
        draft.moved.add(track)
        draft.events.extend(events)
    if TRACK in remembered:
        draft.points[TRACK] = rewind(remembered[TRACK], started.at, ahead_s)
    lost = taken_up(draft.points.get(TRACK))
    return judgement_of(draft, replace(memory, lost=lost, quiet_since=started.at))
