"""Rows and documents to model values and back: states and events as JSON, captures and parts as rows."""

import dataclasses
import json
import re
from collections.abc import Callable, Iterable, Mapping
from enum import Enum, IntEnum
from operator import attrgetter
from typing import Any, TypeAlias, TypeVar

from pydantic import TypeAdapter, ValidationError

from edgemon.errors import StoreCorrupt
from edgemon.model.alarm import PointState, SensorState
from edgemon.model.baseline import Baseline, BaselineApproved, BaselineProposed, BaselineRetired
from edgemon.model.collection import FastCollectionEnded, FastCollectionStarted
from edgemon.model.event import (
    EVENT_OF,
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
from edgemon.model.gateway_event import (
    ClockStepped,
    GatewayStarted,
    GatewayStopped,
    LinkChanged,
    SettingsChanged,
    StoreChanged,
    StoreMended,
)
from edgemon.model.ids import AlarmKey, PointKey
from edgemon.model.instant import format_instant
from edgemon.model.limit import Severity
from edgemon.model.proof import ProofCarried, ProofEnded, ProofStarted
from edgemon.model.reading import Capture, CapturePart, Counts
from edgemon.model.search import Search
from edgemon.model.shift import LogWritten, ShiftTaken
from edgemon.model.signoff import PointSignedOff, SignOffWithdrawn
from edgemon.model.spectrum import LineForm
from edgemon.model.upstream import RetryOrdered
from edgemon.units import from_si

Row: TypeAlias = tuple[Any, ...]
T = TypeVar("T")

EVENTS: dict[str, TypeAdapter[Event]] = {kind: TypeAdapter(event) for kind, event in EVENT_OF.items()}
"""How each kind of event is read and written."""
_POINT = TypeAdapter(PointState)
_SENSOR = TypeAdapter(SensorState)

_AS_TEXT = json.JSONEncoder(ensure_ascii=False).encode
_KIND = re.compile(r'\{"kind": "([a-z-]+)"')
_OF_BASELINE = ("alert", "mean", "median", "spread")
_IN_UNIT: dict[type[Event], tuple[str, ...]] = {
    AlarmChanged: ("value", "limit"),
    OnsetMoved: ("value", "limit"),
    BaselineProposed: _OF_BASELINE,
    BaselineApproved: _OF_BASELINE,
    BaselineRetired: _OF_BASELINE,
}
"""Numbers that are published in the event's unit."""
INSTANTS = frozenset(
    (
        "until",
        "newest_at",
        "told_at",
        "first_at",
        "last_at",
        "proposed_at",
        "approved_at",
        "retired_at",
        "learnt_since",
        "read_at",
        "since",
        "signed_at",
    )
)
"""Fields of events that are times, beside `at`; published as RFC 3339."""


def point_state_to_json(state: PointState) -> str:
    """Write all that is remembered of a point."""
    return _POINT.dump_json(state, fallback=dict, warnings=False).decode()  # for mappings other than dict


def point_state_from_json(text: str, where: str) -> PointState:
    """Read what is remembered of a point; StoreCorrupt if it cannot be read."""
    return _read(_POINT.validate_json, text, where)


def sensor_state_to_json(state: SensorState) -> str:
    """Write what is remembered of a sensor."""
    return _SENSOR.dump_json(state).decode()


def sensor_state_from_json(text: str, where: str) -> SensorState:
    """Read what is remembered of a sensor; StoreCorrupt if it cannot be read."""
    return _read(_SENSOR.validate_json, text, where)


def event_to_json(event: Event) -> str:
    """Write an event with its kind."""
    kind = kind_of(event)
    return _AS_TEXT({"kind": kind, **EVENTS[kind].dump_python(event, mode="json")})


def event_from_json(text: str, where: str) -> Event:
    """Read an event; StoreCorrupt if it cannot be read."""
    return _read(_event, text, where)


def place_of(event: Event) -> tuple[str | None, str | None, bool]:
    """Give machine, point and whether it is simulated: by these the journal is searched."""
    match event:
        case AlarmChanged() | CommandRefused() | OnsetMoved() | ProofCarried():
            return event.alarm.machine, event.alarm.point, event.alarm.sim
        case PointSignedOff() | SignOffWithdrawn():
            return event.point.machine, event.point.point, False
        case QualityChanged() | RunningChanged() | MeasurementLate() | DiagnosisMade():
            return event.point.machine, event.point.point, event.sim
        case BaselineProposed() | BaselineApproved() | BaselineRetired():
            return event.baseline.point.machine, event.baseline.point.point, event.baseline.sim
        case CaptureIncomplete():
            return None, None, event.sim
        case FirstOutMarked():
            return event.machine, None, event.sim
        case SimulationNoted():
            return event.machine, None, True
        case LogWritten() | FastCollectionStarted() | FastCollectionEnded():
            return event.machine, None, False
        case ProofStarted() | ProofEnded():
            return event.machine, event.point, False
        case (
            AlarmsSilenced()
            | OutputsTested()
            | ShiftTaken()
            | MessageRejected()
            | GatewayStarted()
            | GatewayStopped()
            | LinkChanged()
            | ClockStepped()
            | SettingsChanged()
            | StoreChanged()
            | StoreMended()
            | RetryOrdered()
        ):
            return None, None, False


def journal_document(entry: JournalEntry) -> dict[str, Any]:
    """Give a journal entry as it is published: flat, with times in RFC 3339 and values in the unit beside them."""
    event = entry.event
    document: dict[str, Any] = {
        "seq": entry.seq,
        "t": format_instant(event.at),
        "recorded": format_instant(entry.recorded_at),
        "kind": kind_of(event),
    }
    if isinstance(event, DiagnosisMade):
        document |= json.loads(event_to_json(event))["diagnosis"]
    documented: list[Event | Baseline] = [event]
    if isinstance(event, BaselineProposed | BaselineApproved | BaselineRetired):
        documented = [event.baseline, event]
    for one in documented:
        for field in dataclasses.fields(one):
            if field.name not in ("at", "diagnosis", "baseline", "mask"):  # a mask is long, and the store's
                document |= _published(field.name, getattr(one, field.name))
    if isinstance(event, AlarmsSilenced | FirstOutMarked):
        document["alarms"] = [str(key) for key in event.alarms]
    if isinstance(event, FirstOutMarked):
        document["before"] = [str(key) for key in event.before]
    for name in _IN_UNIT.get(type(event), ()) if document.get("unit") else ():
        number = document[name]
        document[name] = None if number is None else from_si(number, document["unit"])
    if entry.hash:
        document["hash"] = entry.hash
    return document


def conditions(search: Search) -> tuple[str, tuple[object, ...]]:
    """Give what a row of the journal must fulfil to be found, as SQL that begins with AND, and its values."""
    asked = {
        "recorded_at >= ?": search.since,
        "recorded_at < ?": search.until,
        "machine = ?": search.machine,
        "json_extract(body, '$.by') = ?": search.person,
    }
    given = {condition: value for condition, value in asked.items() if value is not None}
    kinds = f" AND kind IN ({', '.join('?' * len(search.kinds))})" if search.kinds else ""
    return "".join(f" AND {condition}" for condition in given) + kinds, (*given.values(), *search.kinds)


def is_wanted(entry: JournalEntry, search: Search) -> bool:
    """Say whether an entry fulfils a search."""
    kind, machine, by = kind_of(entry.event), place_of(entry.event)[0], getattr(entry.event, "by", None)
    return (
        (search.since is None or entry.recorded_at >= search.since)
        and (search.until is None or entry.recorded_at < search.until)
        and (not search.kinds or kind in search.kinds)
        and search.machine in (None, machine)
        and search.person in (None, by)
    )


BASELINES = """SELECT seq, recorded_at, body FROM journal
    WHERE kind IN ('baseline-proposed', 'baseline-approved', 'baseline-retired') ORDER BY seq"""


PROOFS = "SELECT seq, recorded_at, body FROM journal WHERE kind IN ('proof-started', 'proof-ended')"
"""What begins and ends proofs, by an index of its own."""


COLLECTIONS = """SELECT seq, recorded_at, body FROM journal
    WHERE kind IN ('fast-collection-started', 'fast-collection-ended') ORDER BY seq"""
"""What begins and ends fast collections, by an index of its own."""


SIGNS = """SELECT seq, recorded_at, body FROM journal
    WHERE kind IN ('point-signed-off', 'sign-off-withdrawn') ORDER BY seq"""
"""What happened to sign-offs, by an index of its own."""


def proof_of(rows: Iterable[Row]) -> ProofStarted | None:
    """Give the proof that is on by the newest journal row about any; StoreCorrupt if it cannot be read."""
    events = [entry_from_row(row).event for row in rows]
    return next((event for event in events if isinstance(event, ProofStarted)), None)


def baselines_of(rows: Iterable[Row]) -> tuple[Baseline, ...]:
    """Give the newest baseline of each point and level from journal rows, oldest first; StoreCorrupt if one cannot be read."""
    newest: dict[tuple[PointKey, str, bool], Baseline] = {}
    for row in rows:
        event = entry_from_row(row).event
        if isinstance(event, BaselineProposed | BaselineApproved | BaselineRetired):
            newest[event.baseline.point, event.baseline.level, event.baseline.sim] = event.baseline
    return tuple(newest.values())


def event_row(seq: int, recorded_at: float, event: Event) -> Row:
    """Give the row of the journal."""
    machine, point, sim = place_of(event)
    return seq, recorded_at, event.at, kind_of(event), machine, point, sim, event_to_json(event)


def entry_from_row(row: Row) -> JournalEntry:
    """Read `seq, recorded_at, body` and, where it is asked for, `hash`; StoreCorrupt if it cannot be read."""
    chained = row[3].hex() if len(row) > 3 and row[3] is not None else ""
    return JournalEntry(row[0], row[1], event_from_json(row[2], f"journal, seq {row[0]}"), chained)


_FACTS = (
    *("sensor", "id", "taken_at", "received_at", "fs_hz", "unit", "scale", "si_per_count"),
    *("rpm", "temperature_c", "battery_pct", "rssi_dbm", "sim"),
)
"""What captures and parts have in common: fields and columns of the same name."""
CAPTURE_COLUMNS = ", ".join((*_FACTS, "spectrum", "form"))
COLUMNS = len(_FACTS) + 2
"""How many there are."""
_facts_of = attrgetter(*_FACTS)
_FORM = TypeAdapter(LineForm)


def capture_row(capture: Capture) -> Row:
    """Give the common columns and the missing parts."""
    return (*_common(capture), json.dumps(capture.missing_parts))


def capture_from_row(row: Row, axes: Mapping[str, Counts]) -> Capture:
    """Read a row as `capture_row` gives it."""
    return Capture(axes=axes, missing_parts=tuple(json.loads(row[COLUMNS])), **_facts_from(row))


def part_row(part: CapturePart, record: bytes) -> Row:
    """Give the common columns, part, parts, and the record of its samples."""
    return (*_common(part), part.number, part.count, record)


def part_from_row(row: Row, axes: Mapping[str, Counts]) -> CapturePart:
    """Read a row as `part_row` gives it, its record already read as `axes`."""
    return CapturePart(axes=axes, number=row[COLUMNS], count=row[COLUMNS + 1], **_facts_from(row))


def _common(one: Capture | CapturePart) -> Row:
    form = None if one.form is None else _FORM.dump_json(one.form).decode()
    return (*_facts_of(one), form is not None, form)


def _facts_from(row: Row) -> dict[str, Any]:
    facts: dict[str, Any] = dict(zip(_FACTS, row, strict=False))
    form = row[COLUMNS - 1]
    known = None if form is None else _read(_FORM.validate_json, form, f"form of spectrum {row[1]} of {row[0]}")
    return facts | {"sim": bool(facts["sim"]), "form": known}


def _event(text: str) -> Event:
    begin = _KIND.match(text)  # it stands first: so nothing has to be read twice
    kind = json.loads(text)["kind"] if begin is None else begin[1]
    return EVENTS[kind].validate_json(text)


def _read(reader: Callable[[str], T], text: str, where: str) -> T:
    try:
        return reader(text)
    except (ValidationError, ValueError, KeyError, AttributeError, TypeError) as error:
        first = str(error).splitlines()[0] if str(error) else type(error).__name__
        raise StoreCorrupt(f"what is stored here cannot be read: {first}", where, "was the file edited by hand?") from error


def _published(name: str, value: object) -> dict[str, Any]:
    match value:
        case AlarmKey():
            return {name: str(value), "machine": value.machine, "point": value.point, "level": value.level, "sim": value.sim}
        case PointKey():
            return {"machine": value.machine, "point": value.point}
        case Severity():
            return {name: value.word}
        case IntEnum():
            return {name: int(value)}
        case Enum():
            return {name: value.value}
        case tuple():
            return {name: list(value)}
        case float() if name in INSTANTS:
            return {name: format_instant(value)}
        case _:
            return {name: value}
