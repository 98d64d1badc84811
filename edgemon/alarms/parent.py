"""The gateway's own alarms, and what they do to the machines': one call instead of one for every point that falls silent.

While the gateway itself hears nothing (no link to the broker; or a link over which nothing comes, see `deafness`), a point's
silence says nothing of its sensor. Once that has lasted for a while, one alarm of the gateway stands, of high priority and
never shelved; the loss of monitoring of every point is suppressed by design meanwhile, with the gateway named as the reason.
When it is over, the patience with silent points begins anew, so that sensors can report first; what is still silent then is
called lost.

A store that fails is an alarm of the same kind, after the same while; it hides nothing, for the gateway goes on hearing.

Source: no text at hand settles it; house rule after the parent suppression of IEC 62682 (suppression by design).
"""

from collections.abc import Mapping
from dataclasses import replace

from edgemon.alarms.registry import Evidence, rule_of
from edgemon.alarms.rules import Rules
from edgemon.alarms.silence import wait
from edgemon.alarms.state import BY_GATEWAY, Cause, move, new_record, settle
from edgemon.alarms.table import Stimulus
from edgemon.alarms.timing import INACTIVE
from edgemon.model.alarm import MONITORING, STORAGE, AlarmRecord, AlarmState, Hiding, PointState
from edgemon.model.event import Event
from edgemon.model.ids import AreaId, SensorId
from edgemon.model.instant import Instant
from edgemon.model.limit import Severity
from edgemon.model.machine import GATEWAY, Criticality, Machine, Point
from edgemon.model.policy import GATEWAY_DELAY_S
from edgemon.model.response import Response

BACK = "the gateway hears again"
STORES = "the store works again"
SENSORS = "sensors"
WORDS = {
    "broker": "no link to the broker",
    SENSORS: "no sensor is heard, though the link to the broker is up",
    "store": "what comes is judged, but not stored",
}
"""What can be lost, and how people are told."""
CAUSES = {MONITORING: ("broker", SENSORS), STORAGE: ("store",)}
"""Whose loss each alarm of the gateway's own stands for."""
AT_ONCE = (SENSORS,)
"""Lost only after it was waited for: nothing is waited for any more."""
_BLIND = "No machine is watched; an alarm would not be seen."
RESPONSES = {
    "broker": Response(
        "Broker stopped, network broken, or the gateway's login no longer accepted.",
        _BLIND,
        "Tell whoever keeps the gateway; watch the critical machines by other means.",
        "`edgemon doctor` on the gateway.",
    ),
    SENSORS: Response(
        "Radio base or bridge without power or network, or the broker no longer lets the gateway read.",
        _BLIND,
        "Look at the radio base; tell whoever keeps it and the broker; watch the critical machines by other means.",
        "Sensor health: all were last heard at about the same time.",
    ),
    "store": Response(
        "Disk full, or failing.",
        "Alarms are shown, but what is measured now may be lost.",
        "Tell whoever keeps the gateway.",
        "`edgemon doctor` on the gateway.",
    ),
}
"""What the operator is told to do, by what is lost."""

_POINT = Point(GATEWAY, "all points", SensorId(""), "", (), GATEWAY_DELAY_S)
RULES = Rules(
    _POINT,
    Machine(GATEWAY.machine, "Gateway", AreaId(""), (_POINT,), criticality=Criticality.CRITICAL),
    max_shelve_s=0.0,
    is_system=True,
)
"""Of the gateway's own alarm."""

Next = tuple[PointState, tuple[Event, ...]]


def stands(state: PointState | None, level: str = MONITORING) -> bool:
    """Say whether an alarm of the gateway's own is there now, acknowledged or not."""
    record = None if state is None else state.alarms.get(level)
    return record is not None and record.severity > Severity.NORMAL


def assess(state: PointState, lost: Mapping[str, Instant], now: Instant, delay_s: float, level: str = MONITORING) -> Next:
    """Bring an alarm of the gateway's own up to date.

    Parameters
    ----------
    state : PointState
        The gateway's.
    lost : mapping of str to Instant
        What is lost now (a key of `WORDS`), and since when.
    now : Instant
        Gateway time.
    delay_s : float
        How long something must be lost (but for what is in `AT_ONCE`); an alarm that stands goes only when nothing is lost
        any more.
    level : str
        Which alarm: loss of monitoring or of storage; only what it stands for (`CAUSES`) counts.
    """
    lost = {cause: since for cause, since in lost.items() if cause in CAUSES[level]}
    due = [cause for cause, since in lost.items() if cause in AT_ONCE or now - since >= delay_s]
    is_there = bool(due) or (bool(lost) and stands(state, level))
    known = state.alarms.get(level)
    if known is None and not is_there:
        return state, ()
    if due and level == MONITORING:
        state = _because(state, tuple(due))
    record = known or new_record(RULES, level, state.sim, now)
    alert, alarm = rule_of(level)(Evidence(RULES, record, now, lost=is_there))
    if alert == record.alert and alarm == record.alarm:
        return state, ()
    moved = settle(
        RULES, record, alert, alarm, RULES.loss_severity if is_there else Severity.NORMAL, Cause(now), record.within_at
    )
    why = ", ".join(WORDS[cause] for cause in due) or (BACK if level == MONITORING else STORES)
    events = tuple(replace(event, reason=event.reason or why) for event in moved.events)
    return replace(state, alarms={**state.alarms, level: moved.record}), events


def _because(state: PointState, due: tuple[str, ...]) -> PointState:
    return state if state.reasons == due else replace(state, reasons=due)


def responses(state: PointState) -> dict[tuple[str, Severity], Response]:
    """Give what to do about the gateway's own alarms, as things stand."""
    monitoring = next((RESPONSES[cause] for cause in state.reasons if cause in RESPONSES), None)
    found = {MONITORING: monitoring, STORAGE: RESPONSES["store"]}
    return {(level, Severity.ALARM): response for level, response in found.items() if response is not None}


def cover(rules: Rules, state: PointState, now: Instant) -> Next:
    """Suppress a point's loss of monitoring while the gateway's own alarm stands; what waits for a person stays until then."""
    record = state.alarms.get(MONITORING) or new_record(rules, MONITORING, state.sim, now)
    if record.suppression is not None:
        return state, ()
    why = f"{RULES.machine.name}: loss of monitoring of all points"
    marked = replace(record, suppression=Hiding(BY_GATEWAY, why, now, severity=record.severity))
    moved = move(rules, marked, Stimulus.SUPPRESS, Cause(now, reason=why))
    return _with(state, moved.record), moved.events


def uncover(rules: Rules, state: PointState, now: Instant) -> Next:
    """End the suppression by the gateway; whatever was hidden starts afresh, with patience from now on."""
    record = state.alarms.get(MONITORING)
    if record is None or record.suppression is None or record.suppression.by != BY_GATEWAY:
        return state, ()
    shown = replace(record, suppression=None)
    if record.state is AlarmState.DSUPR:
        shown = replace(shown, alert=INACTIVE, alarm=INACTIVE, severity=Severity.NORMAL, peak_severity=Severity.NORMAL)
    moved = move(rules, shown, Stimulus.UNSUPPRESS, Cause(now, reason=BACK))
    return _with(state, wait(moved.record, now)), moved.events


def bear(rules: Rules, state: PointState, now: Instant) -> PointState:
    """Let the patience with a point that is not called lost yet begin now: the gateway stopped hearing."""
    record = state.alarms.get(MONITORING) or new_record(rules, MONITORING, state.sim, now)
    waiting = wait(record, now)
    return state if waiting is record else _with(state, waiting)


def _with(state: PointState, record: AlarmRecord) -> PointState:
    return replace(state, alarms={**state.alarms, MONITORING: record})
