"""The schedule of a sensor as it is published: topic, fields and how it is kept, as the message contract has it."""

import json
from dataclasses import replace

import pytest

from edgemon.model.collection import CollectionView, FastView
from edgemon.mqtt.wire import schedule

ROUTINE = CollectionView(300.0, 6400.0, 8192, ("x", "z"), 50.0)


def test_the_routine_is_retained_without_an_end() -> None:
    sent = schedule("edgemon/v1", "s-0001", ROUTINE)
    assert (sent.topic, sent.retain) == ("edgemon/v1/sensor/s-0001/schedule", True)
    assert json.loads(sent.payload) == {"interval_s": 300.0, "fs": 6400.0, "samples": 8192, "axes": ["x", "z"]}


@pytest.mark.parametrize(
    ("until", "written"),
    [
        (1_800_000_000.0, "2027-01-15T08:00:00.000Z"),  # by `date -u -d @1800000000`
        (1_800_000_000.25, "2027-01-15T08:00:00.250Z"),
    ],
)
def test_a_fast_collection_says_until_when_in_milliseconds(until: float, written: str) -> None:
    fast = replace(ROUTINE, fast=FastView(until - 7200.0, until, 60.0, "engineer", "rising"))
    document = json.loads(schedule("edgemon/v1", "s-0001", fast).payload)
    assert document == {"interval_s": 60.0, "fs": 6400.0, "samples": 8192, "axes": ["x", "z"], "until": written}
