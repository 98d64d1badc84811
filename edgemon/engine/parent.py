"""What the gateway itself lost, its own alarms, and the suppression of the machines' by the loss of monitoring."""

from collections.abc import Collection, Mapping
from dataclasses import replace

from edgemon.alarms import parent
from edgemon.engine.deafness import hears_nothing
from edgemon.engine.draft import Draft
from edgemon.engine.memory import Memory, Track
from edgemon.model.alarm import MONITORING, STORAGE, PointState
from edgemon.model.instant import Duration, Instant
from edgemon.model.machine import GATEWAY

TRACK: Track = (GATEWAY, False)


def attend(draft: Draft, memory: Memory, lost: Collection[str]) -> Memory:
    """Raise or end the gateway's own alarms, and hide or show what follows from them.

    Parameters
    ----------
    draft : Draft
        With the time that counts.
    memory : Memory
        With what was lost when this was looked at last, and since when nothing was heard.
    lost : collection of str
        What is lost now, as `alarms.parent.WORDS` names it; that no sensor is heard is found out here.

    Returns
    -------
    Memory
        With what is lost now, and since when.
    """
    before = memory.lost
    since = {cause: min(before.get(cause, draft.now), draft.now) for cause in lost}
    if "broker" in lost:  # it does not listen
        memory = replace(memory, quiet_since=draft.now)
    delay = delay_s(draft)
    since |= _unheard(draft, memory, delay)
    state = draft.points.get(TRACK, PointState(GATEWAY))
    stood = parent.stands(state)
    if _deaf(since) and not _deaf(before) and not stood:
        for track, point in list(draft.points.items()):
            if track[0] in draft.setting.rules:
                draft.adopt(track, point, parent.bear(draft.setting.rules[track[0]], point, draft.now), ())
    after, events = parent.assess(state, since, draft.now, delay)
    draft.adopt(TRACK, state, after, events)
    draft.adopt(TRACK, after, *parent.assess(after, since, draft.now, delay, STORAGE))
    if parent.stands(after) or stood:
        act = parent.cover if parent.stands(after) else parent.uncover
        for track, point in list(draft.points.items()):
            if track[0] in draft.setting.rules:
                draft.adopt(track, point, *act(draft.setting.rules[track[0]], point, draft.now))
    return replace(memory, lost=since)


def _unheard(draft: Draft, memory: Memory, delay: Duration) -> dict[str, Instant]:
    """Say since when no sensor is heard, if that is so; it ends with the next one heard, and not before."""
    if not draft.setting.plant.alarms.gateway_sensors:
        return {}
    if parent.SENSORS in memory.lost or hears_nothing(draft, memory.quiet_since, delay):
        return {parent.SENSORS: min(memory.lost.get(parent.SENSORS, memory.quiet_since), draft.now)}
    return {}


def taken_up(state: PointState | None) -> dict[str, Instant]:
    """Give what a run before found lost and this one has to hear of first: no sensor was heard, and the alarm of it stands."""
    if state is None or not parent.stands(state) or parent.SENSORS not in state.reasons:
        return {}
    return {parent.SENSORS: state.alarms[MONITORING].raised_at}


def _deaf(lost: Mapping[str, Instant]) -> bool:
    """Say whether what is lost keeps the gateway from hearing its sensors."""
    return any(cause in parent.CAUSES[MONITORING] for cause in lost)


def delay_s(draft: Draft) -> float:
    """Give how long a loss must last: as the site says, but no longer than the least patience with a point.

    Otherwise points would be called lost one by one before it.
    """
    patience = (rules.point.stale_after_s for rules in draft.setting.rules.values())
    return min((draft.setting.plant.alarms.gateway_delay_s, *patience))
