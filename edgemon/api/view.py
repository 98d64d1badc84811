"""Journal entries in words."""

from collections.abc import Mapping
from types import MappingProxyType
from typing import assert_never

from edgemon.model.alarm import MONITORING, STORAGE
from edgemon.model.baseline import BaselineApproved, BaselineProposed, BaselineRetired
from edgemon.model.collection import FastCollectionEnded, FastCollectionStarted, FastEvent
from edgemon.model.event import (
    AlarmChanged,
    AlarmsSilenced,
    CaptureIncomplete,
    CommandRefused,
    DiagnosisMade,
    Event,
    FirstOutMarked,
    JournalEntry,
    MeasurementLate,
    MessageRejected,
    OnsetMoved,
    OutputsTested,
    QualityChanged,
    RunningChanged,
    SimulationNoted,
    kind_of,
)
from edgemon.model.finding import Conclusion, Diagnosis
from edgemon.model.gateway_event import (
    ClockStepped,
    GatewayStarted,
    GatewayStopped,
    LinkChanged,
    SettingsChanged,
    StoreChanged,
    StoreMended,
)
from edgemon.model.ids import PointKey
from edgemon.model.instant import format_instant
from edgemon.model.level import LEVEL_KINDS
from edgemon.model.limit import Severity, Side
from edgemon.model.machine import Point
from edgemon.model.proof import ProofCarried, ProofEnded, ProofStarted
from edgemon.model.shift import LogWritten, ShiftTaken
from edgemon.model.signoff import PointSignedOff, SignEvent, SignOffWithdrawn
from edgemon.model.snapshot import JournalView
from edgemon.model.upstream import RetryOrdered
from edgemon.units import from_si, interval_from_si, spelt

_OWN = {MONITORING: "loss of monitoring", STORAGE: "loss of storage"}
_NAMED = 5
"""Alarms named in one sentence at most."""
_CHANGES = {
    "RAISED": "raised",
    "CLEARED": "returned to normal",
    "ACK": "acknowledged",
    "RESET": "reset",
    "LEVEL_UP": "rose",
    "LEVEL_DOWN": "fell",
    "REALARM": "raised again",
    "SHELVED": "shelved",
    "UNSHELVED": "shelf ended",
    "SUPPRESSED": "suppressed by design",
    "UNSUPPRESSED": "suppression ended",
    "OOS": "taken out of service",
    "RTS": "returned to service",
}


Points = Mapping[PointKey, Point]
NO_POINTS: Points = MappingProxyType({})


def journal_view(entry: JournalEntry, points: Points = NO_POINTS) -> JournalView:
    """Give one line for people; `points` as for `words`."""
    return JournalView(entry.seq, entry.event.at, kind_of(entry.event), words(entry.event, points))


def level_title(level: str, point: Point | None = None) -> str:
    """Give the name of a level as people say it; that of a point's own level is known by the point alone."""
    if level in _OWN:
        return _OWN[level]
    kind = LEVEL_KINDS.get(level) if point is None else point.kind_of(level)
    return kind.title if kind else level


def words(event: Event, points: Points = NO_POINTS) -> str:
    """Say in one sentence what happened; levels of one's own by the title that the points of the plant give them."""
    match event:
        case AlarmChanged():
            return _alarm_words(event, points)
        case CommandRefused(alarm=alarm, command=command, why=why, by=by):
            return f"{alarm.machine}/{alarm.point}: {command} by {by or 'nobody'} refused: {why}"
        case AlarmsSilenced(alarms=silenced, by=by):
            named = ", ".join(str(one) for one in silenced[:_NAMED])
            more = f" and {len(silenced) - _NAMED} more" if len(silenced) > _NAMED else ""
            return f"silenced by {by}, still to be acknowledged: {named}{more}"
        case FirstOutMarked(machine=machine, alarms=marked, sure=sure, sim=sim, before=before):
            which = f"first{'' if sure else ' (uncertain)'}: {', '.join(str(one) for one in marked)}" if marked else "mark ends"
            known = f", which began before {', '.join(str(one) for one in before)}" if before else ""
            return f"{machine}: first-out, {which}{known}" + (" [simulated]" if sim else "")
        case OnsetMoved():
            return _onset_words(event, points)
        case OutputsTested(by=by, at=at, until=until):
            return f"test of horn, beacon and board by {by} for {until - at:.0f} s; no alarm"
        case ProofStarted() | ProofCarried() | ProofEnded():
            return _proof_words(event)
        case FastCollectionStarted() | FastCollectionEnded():
            return _collection_words(event)
        case PointSignedOff() | SignOffWithdrawn():
            return _sign_words(event)
        case QualityChanged(point=point, quality=quality, reasons=reasons):
            return f"{point}: data {quality}" + (f" ({', '.join(reasons)})" if reasons else "")
        case RunningChanged(point=point, running=running, rpm=rpm):
            speed = f" at {rpm:.0f} r/min" if rpm else ""
            return f"{point}: machine {'runs' + speed if running else 'stands still'}"
        case MeasurementLate(point=point, beyond=beyond):
            return f"{point}: a late measurement was stored and not judged (by its values {beyond.word})"
        case CaptureIncomplete(sensor=sensor, capture=capture, missing_parts=missing):
            return f"{sensor}: capture {capture} closed with {len(missing)} parts missing"
        case MessageRejected(cause=cause, topic=topic, detail=detail, count=count):
            times = f" ({count} times)" if count > 1 else ""
            return f"message rejected, {cause}: {topic}: {detail}{times}"
        case SimulationNoted(title=title, text=text):
            return f"simulation: {title}: {text}"
        case DiagnosisMade(point=point, diagnosis=diagnosis, by=by):
            asked = f" (asked by {by})" if by else ""
            return f"{point}: diagnosis{asked}: {_diagnosis_words(diagnosis)}"
        case BaselineProposed() | BaselineApproved() | BaselineRetired():
            return _baseline_words(event, points)
        case GatewayStarted() | GatewayStopped() | LinkChanged() | SettingsChanged() | ClockStepped():
            return _gateway_words(event)
        case StoreChanged() | StoreMended() | RetryOrdered():
            return _store_words(event)
        case LogWritten() | ShiftTaken():
            return _shift_words(event)
        case _:
            assert_never(event)


def _onset_words(event: OnsetMoved, points: Points) -> str:
    point = PointKey(event.alarm.machine, event.alarm.point)
    began, told = format_instant(event.at), format_instant(event.told_at)
    title = level_title(event.alarm.level, points.get(point))
    return f"{point} {title}: began at {began}, not at {told}: a late measurement tells"


def _gateway_words(event: GatewayStarted | GatewayStopped | LinkChanged | SettingsChanged | ClockStepped) -> str:
    match event:
        case GatewayStarted(version=version, plant=plant):
            return f"gateway started, version {version}, settings {plant}"
        case GatewayStopped(reason=reason):
            return f"gateway stopped: {reason}"
        case LinkChanged(link=link, up=up, detail=detail):
            return f"link {link} {'up' if up else 'down'}: {detail}"
        case SettingsChanged(changes=changes, count=count, found_at_start=found):
            more = f"; and {count - len(changes)} more" if count > len(changes) else ""
            how = " before this start, it is not known by whom" if found else ""
            return f"settings changed{how}: {'; '.join(changes)}{more}"
        case ClockStepped(step_s=step_s):
            return f"the gateway's clock was set by {step_s:+.3f} s"
        case _:
            assert_never(event)


def _shift_words(event: LogWritten | ShiftTaken) -> str:
    if isinstance(event, ShiftTaken):
        return f"shift taken over by {event.by}, having read the page {event.digest[:12]}" + (
            f": {event.note}" if event.note else ""
        )
    about = f" on {event.machine}" if event.machine else ""
    which = f" of entry {event.corrects}" if event.corrects is not None else ""
    return f"shift log, {event.sort}{which}{about} by {event.by}: {event.text}"


def _store_words(event: StoreChanged | StoreMended | RetryOrdered) -> str:
    if isinstance(event, RetryOrdered):
        where = f" by upstream {event.upstream}" if event.upstream else ""
        return f"{event.count} items refused{where} are to be tried once more, ordered by {event.by}"
    if isinstance(event, StoreMended):
        if not event.kept_as:
            return f"damage found in the store: {event.why}"
        return f"damaged store set aside as {event.kept_as} ({event.why}): {'; '.join(event.saved)}; journal: {event.journal}"
    if event.since is None:
        return f"the store fails and keeps {event.keeps}: {event.detail}"
    late = f"; the {event.late} entries before this were written only now" if event.late else ""
    return f"the store works again, it had failed since {format_instant(event.since)}: {event.detail}{late}"


def _collection_words(event: FastEvent) -> str:
    match event:
        case FastCollectionStarted(until=until, sensor=sensor, interval_s=every, routine_s=routine, by=by, reason=reason):
            what = f"fast collection: sensor {sensor} every {every:g} s instead of {routine:g} s until {format_instant(until)}"
            return f"{what}, by {by}: {reason}; {event.cost}"
        case FastCollectionEnded(sensor=sensor, by=by, reason=reason, is_commanded=is_commanded):
            who = f" by {by}" if by else ""
            now = (
                "its routine schedule is in force"
                if is_commanded
                else "it is not commanded any more, its schedule is withdrawn"
            )
            return f"fast collection of sensor {sensor} ended{who}: {reason}; {now}"
        case _:
            assert_never(event)


def _sign_words(event: SignEvent) -> str:
    if isinstance(event, SignOffWithdrawn):
        who = f" by {event.by}" if event.by else ""
        when = f"of {event.signed_by} at {format_instant(event.signed_at)}"
        return f"{event.point}: sign-off {when} withdrawn{who}: {event.reason}"
    left = f", left open: {', '.join(event.left_open)}" if event.left_open else ""
    return f"{event.point}: signed off by {event.by}{left}" + (f": {event.remark}" if event.remark else "")


def _proof_words(event: ProofStarted | ProofCarried | ProofEnded) -> str:
    match event:
        case ProofStarted(scope=scope, until=until, by=by, reason=reason):
            what = f"PROOF of {scope} until {format_instant(until)} announced by {by}: {reason}"
            return f"{what}; simulated alarms call, as a test"
        case ProofCarried(alarm=alarm, severity=severity, to=to):
            return f"PROOF: {severity.word} of {alarm} was taken by {to}"
        case ProofEnded(scope=scope, by=by, reason=reason):
            return f"PROOF of {scope} ended" + (f" by {by}" if by else "") + f": {reason}"
        case _:
            assert_never(event)


def _diagnosis_words(diagnosis: Diagnosis) -> str:
    if diagnosis.verdict is not Conclusion.FAULT:
        why = f", {diagnosis.remarks[0]}" if diagnosis.remarks else ""
        return diagnosis.verdict.value.replace("-", " ") + why
    best = diagnosis.findings[0]
    return f"{best.fault.value.replace('-', ' ')}, confidence {best.confidence:.2f}, for a qualified analyst to confirm"


def _baseline_words(event: BaselineProposed | BaselineApproved | BaselineRetired, points: Points) -> str:
    one, unit = event.baseline, event.unit
    spread = interval_from_si(one.spread, unit)
    value = f"{from_si(one.median, unit):.3g} {spelt(unit)}".rstrip()
    what = f"baseline {value} ({one.count} values, spread {spread:.2g})"
    did = {BaselineProposed: "proposed", BaselineApproved: "approved", BaselineRetired: "retired"}[type(event)]
    title = level_title(one.level, points.get(one.point))
    text = f"{one.point} {title}: {what} {did} by {event.by or 'the gateway'}: {event.reason}"
    if event.alert is not None:
        says = "alert would be" if isinstance(event, BaselineProposed) else "alert is now"
        text += f"; {says} {from_si(event.alert, unit):.4g} {spelt(unit)}".rstrip()
    return text + (f" ({event.note})" if event.note else "") + (" [simulated]" if one.sim else "")


def _alarm_words(event: AlarmChanged, points: Points) -> str:
    point = PointKey(event.alarm.machine, event.alarm.point)
    what = f"{event.alarm.machine}/{event.alarm.point} {level_title(event.alarm.level, points.get(point))}"
    change = "closed" if event.is_closed else _CHANGES.get(event.change, event.change.lower())
    text = f"{what}: {change}" if event.severity is Severity.NORMAL else f"{what}: {event.severity.word} {change}"
    if event.value is not None and event.unit:
        text += f" at {from_si(event.value, event.unit):.4g} {spelt(event.unit)}".rstrip()
        if event.limit is not None:
            text += f" ({'low ' if event.side is Side.BELOW else ''}limit {from_si(event.limit, event.unit):.4g})"
    if event.detail:
        text += f", {event.detail}"
    if event.by:
        text += f" by {event.by}"
    if event.reason:
        text += f": {event.reason}"
    return text + (" [simulated]" if event.alarm.sim else "")
