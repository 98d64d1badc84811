"""A level is a quantity, a detector and a band; a measurement is the levels of one point at one time."""

from dataclasses import dataclass
from enum import StrEnum
from typing import NamedTuple

from edgemon.model.ids import CaptureId, PointKey
from edgemon.model.instant import Instant
from edgemon.model.quality import Verdict
from edgemon.model.speed import Speed
from edgemon.units import Quantity


class Detector(StrEnum):
    """How a number was taken from a waveform."""

    RMS = "r.m.s."
    PEAK = "peak"
    PEAK_TO_PEAK = "peak-to-peak"
    CREST_FACTOR = "crest factor"
    KURTOSIS = "kurtosis"
    VALUE = "value"


@dataclass(frozen=True, slots=True)
class Band:
    """A frequency band, both edges in Hz; 0 <= low_hz < high_hz."""

    low_hz: float
    high_hz: float

    def __str__(self) -> str:
        """Write the band as people do: `10-1000 Hz`."""
        return f"{self.low_hz:g}-{self.high_hz:g} Hz"


@dataclass(frozen=True, slots=True)
class LevelKind:
    """What a level's name stands for."""

    name: str
    quantity: Quantity
    detector: Detector
    title: str
    """For people: `velocity r.m.s.`."""
    unit: str
    """The unit people expect to see it in where no limit says otherwise."""


LEVEL_KINDS: dict[str, LevelKind] = {
    kind.name: kind
    for kind in (
        LevelKind("velocity_rms", Quantity.VELOCITY, Detector.RMS, "velocity r.m.s.", "mm/s"),
        LevelKind("velocity_peak", Quantity.VELOCITY, Detector.PEAK, "velocity peak", "mm/s"),
        LevelKind("displacement_pp", Quantity.DISPLACEMENT, Detector.PEAK_TO_PEAK, "displacement peak-to-peak", "um"),
        LevelKind("acceleration_rms", Quantity.ACCELERATION, Detector.RMS, "acceleration r.m.s.", "m/s2"),
        LevelKind("acceleration_peak", Quantity.ACCELERATION, Detector.PEAK, "acceleration peak", "m/s2"),
        LevelKind("crest_factor", Quantity.RATIO, Detector.CREST_FACTOR, "crest factor", "1"),
        LevelKind("kurtosis", Quantity.RATIO, Detector.KURTOSIS, "kurtosis", "1"),
        LevelKind("envelope_rms", Quantity.ACCELERATION, Detector.RMS, "envelope r.m.s.", "m/s2"),
        LevelKind("envelope_peak", Quantity.ACCELERATION, Detector.PEAK, "envelope peak", "m/s2"),
        LevelKind("temperature", Quantity.TEMPERATURE, Detector.VALUE, "temperature", "Cel"),
    )
}
"""The levels that every point has, in the order people read them."""

COMPUTED = frozenset(LEVEL_KINDS) - {"temperature"}
"""Those of them that a waveform makes."""


USUAL_UNIT = {Quantity.ACCELERATION: "m/s2", Quantity.VELOCITY: "mm/s", Quantity.DISPLACEMENT: "um"}
"""The unit people expect a level of one's own in, by its quantity."""


@dataclass(frozen=True, slots=True)
class LevelSpec:
    """A level of one's own: a quantity between two frequencies, in Hz or in multiples of running speed."""

    name: str
    quantity: Quantity
    """Acceleration, velocity or displacement."""
    detector: Detector
    """R.m.s., peak or peak-to-peak."""
    low: float
    high: float
    in_orders: bool = False
    """Edges are multiples of running speed."""
    title: str = ""
    """For people; the name where it is empty."""
    of_envelope: bool = False
    """The band lies in the spectrum of the envelope, not of the waveform; acceleration, r.m.s."""

    @property
    def kind(self) -> LevelKind:
        """Give what its name stands for."""
        return LevelKind(self.name, self.quantity, self.detector, self.title or self.name, USUAL_UNIT[self.quantity])


class Level(NamedTuple):
    """One level computed from a capture or read from a sensor, in the house's unit of its quantity.

    A tuple, for nine are made of every capture and a frozen dataclass takes four times as long to make (measured).
    """

    name: str
    value: float
    quantity: Quantity
    detector: Detector
    band: Band | None = None
    remark: str = ""
    """What a careful reader must know: `capture too short for the band`."""
    speed: Speed | None = None
    """Shaft speed it was computed with, where its band is in orders."""


@dataclass(frozen=True, slots=True)
class Measurement:
    """All levels of one point at one time: what the alarm logic judges."""

    point: PointKey
    taken_at: Instant
    received_at: Instant
    levels: tuple[Level, ...]
    verdict: Verdict = Verdict()
    capture: CaptureId | None = None
    rpm: float | None = None
    """Shaft speed at that time, where known."""
    sim: bool = False
