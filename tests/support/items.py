"""Items to send upstream, as the store makes them: of every source, of many points, as many as wanted."""

import dataclasses
import json
import time
from collections.abc import Iterator

from edgemon.model.event import DiagnosisMade, Event, JournalEntry
from edgemon.model.finding import Conclusion, Diagnosis, Evidence, Fault, Finding
from edgemon.model.ids import CaptureId
from edgemon.model.instant import Instant
from edgemon.model.upstream import Item, Source
from edgemon.store.items import capture_item, journal_item, reading_item
from tests.store import builders as make

ORIGIN = "saltmarsh/gw-1"
NOW: Instant = float(int(time.time()))
"""Servers have clocks, too: what is sent was measured lately."""


def reading(
    number: int, *, t: Instant | None = None, point: str = "motor-de-h", sim: bool = False, origin: str = ORIGIN
) -> Item:
    """One value of a level; a second apart."""
    at = NOW - 3600.0 + number if t is None else t
    return reading_item((number, "point", "hp-pump-1", point, "velocity_rms", 0, "velocity", at, 0.001 * number, 1), origin)


def sensor_reading(number: int) -> Item:
    """What a sensor says of itself."""
    return reading_item((number, "sensor", "s-0001", "", "battery", 0, "battery charge", NOW + number, 0.88, 0), ORIGIN)


def capture(number: int, samples: int = 64) -> Item:
    """A waveform."""
    return capture_item(number, dataclasses.replace(make.capture(number, samples=samples), taken_at=NOW + number), ORIGIN)


def entry(number: int, source: Source = Source.JOURNAL, event: Event | None = None) -> Item:
    """A journal entry: an alarm raised, or what is given."""
    one = JournalEntry(number, NOW + number, event or make.raised(NOW - 1.0), f"{number:064x}")
    return journal_item(source, one, ORIGIN, False)


def finding(number: int) -> Item:
    """A diagnosis."""
    evidence = Evidence("The line at 1x stands out.", frequency_hz=49.6, amplitude=0.004, unit="m/s")
    best = Finding(Fault.UNBALANCE, 0.82, "x", (evidence,), "unbalance-1x", "ISO 13373-3", (Fault.BENT_SHAFT,), ("balance",))
    made = DiagnosisMade(NOW - 2.0, make.POINT, CaptureId(f"c-{number}"), Diagnosis(Conclusion.FAULT, (best,)))
    return entry(number, Source.FINDINGS, made)


def of_every_source(first: int = 1, each: int = 5) -> tuple[Item, ...]:
    """Some of each, one source after the other as a retry of parked items has them."""
    numbers = range(first, first + each)
    makers = (reading, sensor_reading, capture, entry, finding)
    return tuple(maker(number) for maker in makers for number in numbers)


def batches(count: int, size: int) -> Iterator[tuple[Item, ...]]:
    """Readings of seven points in turns."""
    for start in range(0, count * size, size):
        yield tuple(reading(number, point=f"p-{number % 7}") for number in range(start, start + size))


def changed(item: Item, **fields: object) -> Item:
    """The same item with other fields in its document."""
    return dataclasses.replace(item, body=json.dumps(json.loads(item.body) | fields).encode())
