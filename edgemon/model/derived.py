"""Levels that follow from other things: a spectrum against its mask, a level against its past or its baseline."""

from dataclasses import dataclass
from enum import StrEnum

from edgemon.model.baseline import Baseline
from edgemon.model.ids import PointKey
from edgemon.model.level import Band, Detector, LevelKind
from edgemon.units import Quantity, from_si

MASKED = {Quantity.ACCELERATION: "acceleration_rms", Quantity.VELOCITY: "velocity_rms"}
"""The broadband level that tells whether captures are alike enough to learn a mask of that quantity from."""
ENVELOPE_LEVEL = "envelope_rms"


@dataclass(frozen=True, slots=True)
class MaskSpec:
    """A limit for every line of a spectrum, written or learnt; the level is the worst ratio of a line to its limit."""

    name: str
    quantity: Quantity
    """Acceleration or velocity; acceleration for the envelope."""
    low: float
    high: float
    """Band, Hz or multiples of running speed; 0 < low < high."""
    width: float
    """Width of one line in the same; mean squares within it are summed, so that it is also the averaging."""
    in_orders: bool = False
    envelope: bool = False
    """Of the demodulated band's envelope."""
    detector: Detector = Detector.RMS
    """R.m.s., or peak: that of the sine with the line's r.m.s. value."""
    floor: float = 0.0
    """Least limit of a learnt mask, house's unit."""
    given: tuple[tuple[float, float], ...] = ()
    """Written mask: (Hz or order, limit in the house's unit), frequencies rising; between them the limit goes straight."""
    title: str = ""
    """For people; the name where it is empty."""
    learnt: tuple[float, ...] = ()
    """Limit of every line from the first, at 0; empty until a person approved it."""
    rpm: float | None = None
    """Speed it was learnt at."""
    rpm_tolerance: float = 0.0
    """Part of that speed by which a capture may differ and still be judged."""

    @property
    def kind(self) -> LevelKind:
        """Give what its name stands for."""
        return LevelKind(self.name, Quantity.RATIO, Detector.VALUE, self.title or self.name, "1")

    @property
    def is_learnt(self) -> bool:
        """Say whether it takes approved captures."""
        return not self.given

    @property
    def grid(self) -> str:
        """Name the lines and what they hold: a mask learnt for others does not fit."""
        what = "envelope" if self.envelope else str(self.quantity)
        return f"{what} {self.detector} {self.span} by {self.width:g}"

    @property
    def span(self) -> str:
        """Write the band as people do."""
        return f"{self.low:g}-{self.high:g} x speed" if self.in_orders else str(Band(self.low, self.high))

    @property
    def base_level(self) -> str:
        """Name the level whose values tell which captures are alike and steady."""
        return ENVELOPE_LEVEL if self.envelope else MASKED[self.quantity]


class Rule(StrEnum):
    """How a level follows from another one."""

    CHANGE = "change"
    """Distance from the approved baseline, in either direction."""
    SPREAD = "spread"
    """The same in robust standard deviations of the baseline."""
    RATE = "rate"
    """Rise within a time, by the straight line through the values of that time."""
    RISE = "rise"
    """Temperature above that of another point."""
    SAME = "same"
    """The very same value under another name, so that it can have a limit on its other side."""


OF_BASELINE = (Rule.CHANGE, Rule.SPREAD)
DIFFERENCES = (Rule.RATE, Rule.RISE)
"""Of temperatures these are differences: a kelvin, whatever the zero."""


@dataclass(frozen=True, slots=True)
class DerivedSpec:
    """A level that follows from another level of its point."""

    name: str
    rule: Rule
    of: LevelKind
    over_s: float = 0.0
    """Time of a rate, seconds."""
    reference: PointKey | None = None
    """Whose temperature is taken off, for a rise."""
    title: str = ""
    baseline: Baseline | None = None
    """Approved; None until then."""
    rpm_tolerance: float = 0.0

    @property
    def kind(self) -> LevelKind:
        """Give what its name stands for."""
        is_ratio = self.rule is Rule.SPREAD
        quantity, unit = (Quantity.RATIO, "1") if is_ratio else (self.of.quantity, self.of.unit)
        return LevelKind(self.name, quantity, Detector.VALUE, self.title or self.name, unit)

    def shown(self, value: float) -> str:
        """Write a value of the level it follows from as people see it."""
        return f"{from_si(value, self.of.unit):.3g} {self.of.unit}"


def is_alike(learnt_rpm: float | None, tolerance: float, rpm: float | None) -> bool:
    """Say whether a measurement may be compared with what was learnt; where a speed is not known, it may."""
    return learnt_rpm is None or rpm is None or abs(rpm - learnt_rpm) <= tolerance * learnt_rpm
