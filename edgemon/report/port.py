"""What a report is made of: values collected by whoever asks for it. Nothing here is computed, nothing is read."""

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from edgemon.model.event import Event
from edgemon.model.finding import Diagnosis
from edgemon.model.ids import CaptureKey
from edgemon.model.instant import Instant
from edgemon.model.level import Band, Level, LevelKind
from edgemon.model.limit import Limit
from edgemon.model.machine import Machine, Point, Sensor
from edgemon.model.outlook import BaselineView, OutlookView
from edgemon.model.snapshot import TrendPoint
from edgemon.model.spectrum import Spectrum


class Family(StrEnum):
    """What a marked line of a spectrum belongs to."""

    SPEED = "running speed"
    BEARING = "bearing"


@dataclass(frozen=True, slots=True)
class Marker:
    """A frequency worth looking at, and its name."""

    hz: float
    label: str
    family: Family


@dataclass(frozen=True, slots=True, eq=False)
class CaptureMaterial:
    """One waveform of one point, or one spectrum that its sensor sent, and what follows from it."""

    key: CaptureKey
    fs_hz: float
    samples: NDArray[np.float32]
    """Acceleration, m/s2, mean removed, shape (n,); none of a spectrum that was sent, whose highest line is half of `fs_hz`."""
    rpm: float | None
    levels: tuple[Level, ...]
    velocity: Spectrum | None
    """In the band of the point's velocity levels."""
    envelope: Spectrum | None
    envelope_band: Band | None
    markers: tuple[Marker, ...] = ()
    """Running speed and its multiples."""
    envelope_markers: tuple[Marker, ...] = ()
    """Running speed, and the bearing's frequencies by the geometry of the plant file."""
    window: str = "Hann"


@dataclass(frozen=True, slots=True)
class LevelMaterial:
    """The past of one level at one point, values in the house's unit, oldest first."""

    name: str
    limit: Limit | None
    values: tuple[TrendPoint, ...]
    is_cut: bool = False
    """There are older values in the period than these."""
    outlook: OutlookView | None = None
    """Trend and forecasts by the end of the period, in the unit of the limit."""
    baseline: BaselineView | None = None
    """What the level usually is, or how far the learning is, as the store has it now; in the unit of the limit."""
    kind: LevelKind | None = None
    """What the name stands for at this point; None for the usual meaning."""


@dataclass(frozen=True, slots=True, eq=False)
class PointMaterial:
    """One measurement point."""

    point: Point
    levels: tuple[LevelMaterial, ...]
    """Levels with a limit, and velocity r.m.s. where it was measured at all."""
    capture: CaptureMaterial | None = None
    """The newest fit one in the period, taken while the machine ran."""
    before: CaptureMaterial | None = None
    """The oldest such one, for comparison."""


@dataclass(frozen=True, slots=True, eq=False)
class SensorMaterial:
    """What one sensor sent in the period."""

    sensor: Sensor
    captures: int
    unfit: tuple[str, ...] = ()
    """Why captures that were looked at are not used, one sentence each."""
    battery_pct: tuple[TrendPoint, ...] = ()
    rssi_dbm: tuple[TrendPoint, ...] = ()
    heard: tuple[Instant, ...] = ()
    """Times of its captures (or readings where it sends no captures), oldest first."""
    diagnosis: Diagnosis | None = None
    diagnosed_at: Instant | None = None
    """Time of the capture that the diagnosis is about."""


@dataclass(frozen=True, slots=True)
class Happening:
    """A journal entry about the machine, with its words."""

    event: Event
    text: str


@dataclass(frozen=True, slots=True)
class Analyst:
    """What the analyst wrote, by heading, in the order of the file; the text before the first heading has an empty one."""

    path: str
    """Where the text was read, or where it would have been."""
    parts: tuple[tuple[str, tuple[str, ...]], ...] = ()
    """Heading and paragraphs; a paragraph that begins with `- ` is an item of a list."""

    def of(self, *headings: str) -> tuple[str, ...]:
        """Give the paragraphs under a heading, spelt in any of these ways; case does not matter."""
        wanted = {heading.casefold() for heading in headings}
        return tuple(text for heading, texts in self.parts if heading.casefold() in wanted for text in texts)


@dataclass(frozen=True, slots=True, eq=False)
class Material:
    """All that a report says something about."""

    site: str
    area: str
    machine: Machine
    since: Instant
    until: Instant
    made_at: Instant
    sim: bool
    """It rests on simulated data, all of it."""
    version: str
    settings: str
    """Fingerprint of the settings whose limits are used."""
    points: tuple[PointMaterial, ...]
    sensors: tuple[SensorMaterial, ...]
    history: tuple[Happening, ...] = ()
    """What the journal says of the machine in the period, oldest first."""
    earlier: tuple[Happening, ...] = ()
    """The same before the period: what was already in force when it began."""
    analyst: Analyst = Analyst("")
    remarks: tuple[str, ...] = ()
    """What a careful reader must know of how this was collected."""
