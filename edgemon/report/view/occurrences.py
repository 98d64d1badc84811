"""Alarms of the period, a row each time one was raised: when, how far it went, who acknowledged it, when it returned."""

from collections.abc import Iterable
from dataclasses import dataclass

from edgemon.model.alarm import MONITORING
from edgemon.model.event import AlarmChanged
from edgemon.model.ids import AlarmKey, PointKey
from edgemon.model.instant import Instant
from edgemon.model.limit import Severity, Side
from edgemon.report.document import Table, Tone
from edgemon.report.port import LevelMaterial, Material, PointMaterial
from edgemon.report.view.words import amount, capital, level_title, level_unit, limit_amount, span, stamp

RAISES = frozenset({"RAISED", "LEVEL_UP", "LEVEL_DOWN", "REALARM"})
MOST_OCCURRENCES = 60
"""Rows; the newest are kept."""


@dataclass(frozen=True, slots=True)
class Occurrence:
    """One time that an alarm was raised, as far as the journal tells."""

    alarm: AlarmKey
    raised_at: Instant | None
    """None where that lies before what was read of the journal."""
    severity: Severity
    """The gravest it reached."""
    acknowledged_at: Instant | None = None
    acknowledged_by: str = ""
    returned_at: Instant | None = None
    """None: it is still there."""
    changes: tuple[AlarmChanged, ...] = ()


def occurrences(events: Iterable[AlarmChanged], since: Instant) -> tuple[Occurrence, ...]:
    """Put the changes of alarms together by their occurrence, oldest first; those over before `since` are left out.

    Parameters
    ----------
    events : iterable of AlarmChanged
        Oldest first, those before `since` too.
    since : Instant
        Begin of the period.
    """
    grouped: dict[tuple[AlarmKey, int], list[AlarmChanged]] = {}
    for event in events:
        grouped.setdefault((event.alarm, event.occurrence), []).append(event)
    found = [one for changes in grouped.values() if (one := _occurrence(changes)) is not None]
    kept = [one for one in found if one.returned_at is None or one.returned_at >= since]
    return tuple(sorted(kept, key=lambda one: one.raised_at or 0.0))


def _occurrence(changes: list[AlarmChanged]) -> Occurrence | None:
    raising = [one for one in changes if one.change in RAISES]
    cleared = [one for one in changes if one.change == "CLEARED"]
    if not raising and not cleared:
        return None  # shelved or put out of service without ever being raised
    raised = next((one for one in raising if one.change == "RAISED"), None)
    taken = next((one for one in changes if one.change == "ACK"), None)
    return Occurrence(
        changes[0].alarm,
        None if raised is None else raised.at,
        max(one.severity for one in (raising or cleared)),
        None if taken is None else taken.at,
        "" if taken is None else taken.by,
        None if not cleared else cleared[-1].at,
        tuple(changes),
    )


def occurrence_table(material: Material) -> Table | None:
    """Make the table of the period's occurrences; None where there were none."""
    told = [one.event for one in (*material.earlier, *material.history) if isinstance(one.event, AlarmChanged)]
    found = occurrences(told, material.since)[-MOST_OCCURRENCES:]
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
        capital(one.severity.word) if watched else "–",
        _worst_value(one, level, material) if watched else "–",
        _limit(one) if watched else "–",
        "not acknowledged" if one.acknowledged_at is None else f"{by}, {stamp(one.acknowledged_at)}",
        _returned(one),
    )


def _returned(one: Occurrence) -> str:
    if one.returned_at is None:
        return "still there"
    lasted = "" if one.raised_at is None else f", after {span(one.returned_at - one.raised_at)}"
    return f"{stamp(one.returned_at)}{lasted}"


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
