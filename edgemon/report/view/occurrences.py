"""Alarms of the period, a row each time one came: when, how far it went, who acknowledged it, when it returned."""

from collections.abc import Iterable
from dataclasses import dataclass

from edgemon.model.alarm import MONITORING, AlarmState
from edgemon.model.event import AlarmChanged
from edgemon.model.ids import AlarmKey, PointKey
from edgemon.model.instant import Instant
from edgemon.model.limit import Severity, Side
from edgemon.report.document import Table, Tone
from edgemon.report.port import LevelMaterial, Material, PointMaterial
from edgemon.report.view.words import amount, capital, level_title, level_unit, limit_amount, span, stamp

MOST_OCCURRENCES = 60
"""Rows; the newest are kept."""
_THERE = (AlarmState.UNACK, AlarmState.ACKED)
_ENDS = {"RTS": "returned to service", "UNSHELVED": "shelf ended"}
"""How people are told that a condition had gone while it was hidden."""


@dataclass(frozen=True, slots=True)
class Occurrence:
    """One time that a condition came and went, as far as the journal tells, however often it was announced meanwhile."""

    alarm: AlarmKey
    raised_at: Instant | None
    """None where that lies before what was read of the journal."""
    severity: Severity
    """The gravest it reached; normal where nothing was told of it but its end."""
    acknowledged_at: Instant | None = None
    """Of the newest announcement: a rise, or the end of a shelf, waits for another one."""
    acknowledged_by: str = ""
    returned_at: Instant | None = None
    """None: it is still there, hidden or not."""
    changes: tuple[AlarmChanged, ...] = ()
    ended_by: str = ""
    """Where it did not end by a value that is back: why."""


def occurrences(events: Iterable[AlarmChanged], since: Instant) -> tuple[Occurrence, ...]:
    """Put the changes of alarms together, from coming to going, oldest first; those over before `since` are left out.

    Parameters
    ----------
    events : iterable of AlarmChanged
        In the order of the journal, those before `since` too.
    since : Instant
        Begin of the period.
    """
    grouped: dict[AlarmKey, list[list[AlarmChanged]]] = {}
    for event in events:
        told = grouped.setdefault(event.alarm, [])
        if _begins(event, told[-1] if told else []):
            told.append([])
        if told:
            told[-1].append(event)
    found = [_occurrence(changes) for each in grouped.values() for changes in each]
    kept = [one for one in found if one.returned_at is None or one.returned_at >= since]
    return tuple(sorted(kept, key=lambda one: one.raised_at or 0.0))


def _begins(event: AlarmChanged, before: list[AlarmChanged]) -> bool:
    """Say whether a change is the first that is told of its occurrence: it came, or its coming was not read."""
    if before:
        return event.to_state in _THERE and event.severity > Severity.NORMAL and _end(before) is not None
    return event.to_state in _THERE or event.from_state in _THERE


def _end(changes: Iterable[AlarmChanged]) -> AlarmChanged | None:
    """Give the change with which the condition was gone; what is hidden tells so when it comes out."""
    return next((one for one in changes if one.severity is Severity.NORMAL), None)


def _occurrence(changes: list[AlarmChanged]) -> Occurrence:
    first, ended, taken = changes[0], _end(changes), None
    for one in changes:
        taken = one if one.change == "ACK" else None if one.to_state is AlarmState.UNACK else taken
    return Occurrence(
        first.alarm,
        None if first.from_state in _THERE else first.at,
        max(one.severity for one in changes),
        None if taken is None else taken.at,
        "" if taken is None else taken.by,
        None if ended is None else ended.at,
        tuple(changes),
        "" if ended is None else _why(ended),
    )


def _why(ended: AlarmChanged) -> str:
    if ended.reason or ended.change == "CLEARED":
        return ended.reason
    return "suppressed by design" if ended.to_state is AlarmState.DSUPR else _ENDS.get(ended.change, "")


def period_occurrences(material: Material) -> tuple[Occurrence, ...]:
    """Give what came in the period, or before it and was still there."""
    told = [one.event for one in (*material.earlier, *material.history) if isinstance(one.event, AlarmChanged)]
    return occurrences(told, material.since)


def occurrence_table(material: Material) -> Table | None:
    """Make the table of the period's occurrences; None where there were none."""
    found = period_occurrences(material)[-MOST_OCCURRENCES:]
    if not found:
        return None
    points = {point.point.key: point for point in material.points}
    rows = tuple(_row(one, points.get(PointKey(one.alarm.machine, one.alarm.point)), material) for one in found)
    tones = tuple(_tone(one) for one in found)
    columns = ("Alarm", "Raised (UTC)", "Worst", "Worst value", "Limit", "Acknowledged", "Returned (UTC)")
    return Table(columns, rows, (2.2, 1.4, 0.8, 1.1, 1.0, 1.6, 1.6), tones)


def _tone(one: Occurrence) -> Tone:
    if one.alarm.level == MONITORING:
        return Tone.NO_DATA
    return Tone.ALARM if one.severity is Severity.ALARM else Tone.ALERT


def _row(one: Occurrence, point: PointMaterial | None, material: Material) -> tuple[str, ...]:
    level = None if point is None else next((level for level in point.levels if level.name == one.alarm.level), None)
    where = str(one.alarm.point) if point is None else point.point.name
    watched = one.alarm.level != MONITORING
    title = level_title(one.alarm.level, None if level is None else level.kind) if watched else "loss of monitoring"
    by = one.acknowledged_by or "not told"
    return (
        f"{where}: {title}",
        "before the period" if one.raised_at is None else stamp(one.raised_at),
        (capital(one.severity.word) if one.severity else "not told") if watched else "–",
        _worst_value(one, level, material) if watched else "–",
        _limit(one) if watched else "–",
        "not acknowledged" if one.acknowledged_at is None else f"{by}, {stamp(one.acknowledged_at)}",
        _returned(one),
    )


def _returned(one: Occurrence) -> str:
    if one.returned_at is None:
        return "still there"
    lasted = "" if one.raised_at is None else f", after {span(one.returned_at - one.raised_at)}"
    why = f" ({one.ended_by})" if one.ended_by else ""
    return f"{stamp(one.returned_at)}{lasted}{why}"


def _worst_value(one: Occurrence, level: LevelMaterial | None, material: Material) -> str:
    """Give the highest value from raising to return (the lowest under a low limit), of the trend and of what changes told."""
    begin, end = one.raised_at or material.since, material.until if one.returned_at is None else one.returned_at
    values = [] if level is None else [value.value for value in level.values if value.fit and begin <= value.t <= end]
    values += [change.value for change in one.changes if change.value is not None and change.change != "CLEARED"]
    told = next((change.unit for change in one.changes if change.unit), "")
    unit = told or (level_unit(level.name, level.limit, level.kind) if level is not None else "")
    worst = min if any(change.side is Side.BELOW for change in one.changes) else max
    return amount(worst(values), unit) if values and unit else "not told"


def _limit(one: Occurrence) -> str:
    """Give the limit that the gravest state went beyond."""
    grave = [change for change in one.changes if change.severity is one.severity and change.limit is not None]
    return limit_amount(grave[0].limit, grave[0].unit, grave[0].side) if grave else "–"
