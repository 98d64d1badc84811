"""Events and states survive the way to JSON and back, whatever is in them."""

import dataclasses
import json
from typing import Any, get_args, get_type_hints

import pytest
from hypothesis import given
from hypothesis import strategies as st

from edgemon.errors import StoreCorrupt
from edgemon.model.alarm import PointState, SensorState
from edgemon.model.baseline import BaselineApproved, BaselineProposed, BaselineRetired, BaselineState
from edgemon.model.event import Event, JournalEntry, kind_of
from edgemon.model.instant import EARLIEST, LATEST, Instant, parse_instant
from edgemon.store import wire
from tests.store import builders as make

FINITE = st.floats(allow_nan=False, allow_infinity=False)
TEXT = st.text(st.characters(exclude_categories=["Cs"]), max_size=20)
for plain, strategy in ((float, FINITE), (str, TEXT)):
    st.register_type_strategy(plain, strategy)


@given(st.sampled_from(get_args(Event)).flatmap(st.from_type))
def test_every_kind_of_event_survives(event: Event) -> None:
    text = wire.event_to_json(event)
    assert json.loads(text)["kind"] == kind_of(event)
    assert wire.event_from_json(text, "here") == event


@given(st.from_type(PointState))
def test_the_state_of_a_point_survives(state: PointState) -> None:
    assert wire.point_state_from_json(wire.point_state_to_json(state), "here") == state


@given(st.from_type(SensorState))
def test_the_state_of_a_sensor_survives(state: SensorState) -> None:
    assert wire.sensor_state_from_json(wire.sensor_state_to_json(state), "here") == state


def test_kinds_are_named_after_their_classes() -> None:
    assert set(wire.EVENTS) == {
        *("alarm-changed", "command-refused", "quality-changed", "running-changed", "measurement-late"),
        *("capture-incomplete", "message-rejected", "simulation-noted", "gateway-started", "gateway-stopped"),
        *("link-changed", "clock-stepped", "diagnosis-made"),
        *("baseline-proposed", "baseline-approved", "baseline-retired", "log-written", "shift-taken"),
        *("alarms-silenced", "outputs-tested", "first-out-marked", "onset-moved", "settings-changed"),
        *("store-changed", "store-mended", "retry-ordered", "proof-started", "proof-carried", "proof-ended"),
        *("fast-collection-started", "fast-collection-ended", "point-signed-off", "sign-off-withdrawn"),
    }


def test_a_journal_entry_is_published_flat_and_in_the_unit_beside_its_values() -> None:
    event = dataclasses.replace(make.raised(), until=make.T0 + 60.0)
    document = wire.journal_document(JournalEntry(17, make.T0 + 2.0, event))
    value, limit = document.pop("value"), document.pop("limit")
    assert value == pytest.approx(4.6)  # 0.0046 m/s is 4.6 mm/s
    assert limit == pytest.approx(4.5)
    # 1 800 000 000 s after 1970-01-01T00:00:00Z by `date -u -d @1800000000`
    assert document == {
        "seq": 17,
        "t": "2027-01-15T08:00:00.250Z",
        "recorded": "2027-01-15T08:00:02.250Z",
        "kind": "alarm-changed",
        "alarm": "hp-pump-1/motor-de-h/velocity_rms",
        "machine": "hp-pump-1",
        "point": "motor-de-h",
        "level": "velocity_rms",
        "sim": False,
        "change": "RAISED",
        "from_state": "NORM",
        "to_state": "UNACK",
        "severity": "alarm",
        "occurrence": 3,
        "priority": "high",
        "annunciates": True,
        "unit": "mm/s",
        "by": "",
        "station": "",
        "reason": "",
        "until": "2027-01-15T08:01:00.250Z",
        "detail": "",
        "side": "above",
    }


INSTANTS = st.floats(EARLIEST, LATEST)


@given(st.data())
def test_every_published_document_is_plain_json_with_its_times_as_text(data: st.DataObject) -> None:
    kind = data.draw(st.sampled_from(get_args(Event)))
    drawn = data.draw(st.from_type(kind))
    times = {name: data.draw(INSTANTS) for name in ("at", *wire.INSTANTS) if getattr(drawn, name, None) is not None}
    units = {"unit": "mm/s"} if hasattr(drawn, "unit") else {}
    event = dataclasses.replace(drawn, **times, **units)
    if isinstance(event, BaselineProposed | BaselineApproved | BaselineRetired):
        known: dict[str, Any] = {
            name: data.draw(INSTANTS) for name in wire.INSTANTS if getattr(event.baseline, name, None) is not None
        }
        event = dataclasses.replace(event, baseline=dataclasses.replace(event.baseline, **known))
        times |= known
    document = wire.journal_document(JournalEntry(1, make.T0, event))
    assert json.loads(json.dumps(document)) == document
    assert parse_instant(document["t"]) == pytest.approx(times["at"], abs=0.001)
    for name in times.keys() & wire.INSTANTS:
        assert parse_instant(document[name]) == pytest.approx(times[name], abs=0.001)
    nested = [name for name, value in document.items() if isinstance(value, dict)]
    assert nested == []


def test_every_time_in_an_event_is_published_as_a_time() -> None:
    numbers = {
        field.name
        for kind in get_args(Event)
        for field in dataclasses.fields(kind)
        if get_type_hints(kind)[field.name] in (Instant, Instant | None)
    }
    # a new number in an event must be put either here or among the times
    assert numbers - wire.INSTANTS == {
        "alert",
        "at",
        "value",
        "limit",
        "rpm",
        "step_s",
        "interval_s",
        "routine_s",
        "battery_pct",
    }


UNREADABLE = ["", "null", "[]", "{}", '{"kind": "no-such"}', '{"kind": "gateway-started"}', '{"kind": "clock-stepped", "at":']


@pytest.mark.parametrize("text", UNREADABLE)
def test_an_event_that_cannot_be_read_says_where_it_stands(text: str) -> None:
    with pytest.raises(StoreCorrupt) as caught:
        wire.event_from_json(text, "journal, seq 12")
    assert caught.value.where == "journal, seq 12"


@pytest.mark.parametrize("read", [wire.point_state_from_json, wire.sensor_state_from_json])
def test_a_state_that_cannot_be_read_says_where_it_stands(read: object) -> None:
    with pytest.raises(StoreCorrupt, match="cannot be read") as caught:
        read('{"sensor": 1', "state of s-0001")  # type: ignore[operator]
    assert caught.value.where == "state of s-0001"


def test_fields_added_later_take_their_defaults_and_fields_dropped_are_passed_over() -> None:
    state = wire.sensor_state_from_json('{"sensor": "s-0001", "from_another_version": 1}', "here")
    assert state == SensorState("s-0001")


def test_a_baseline_is_published_flat_in_the_unit_people_see() -> None:
    event = BaselineApproved(
        make.T0, make.baseline(state=BaselineState.APPROVED), "mm/s", 0.0019, "rule", "engineer", "office", "quiet week"
    )
    document = wire.journal_document(JournalEntry(3, make.T0, event))
    assert (document["machine"], document["point"], document["level"]) == (*make.POINT, "velocity_rms")
    # 0.0012 m/s is 1.2 mm/s
    assert [document[name] for name in ("alert", "mean", "median", "spread")] == pytest.approx([1.9, 1.25, 1.2, 0.05])
    assert (document["state"], document["count"], document["by"], document["sim"]) == ("approved", 20, "engineer", False)
    assert document["first_at"] == "2027-01-15T08:00:00.250Z"
    assert (document["approved_at"], document["reason"]) == (None, "quiet week")
    json.dumps(document, allow_nan=False)
