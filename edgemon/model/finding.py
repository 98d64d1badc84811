"""A diagnosis: hypotheses about a fault, each with its evidence, for a qualified analyst to confirm."""

from dataclasses import dataclass, field
from enum import StrEnum

from edgemon.model.speed import SpeedOrigin

CAUTION = "A hypothesis with evidence, for a qualified analyst to confirm before work is done."
"""Goes with every finding."""


SUPPORTED = 0.55
"""Confidence from which a record supports a fault: above even odds, for a wrong name costs more than none. Bench: `weights`."""


class Fault(StrEnum):
    """What a finding can name; the value is the contract's word."""

    UNBALANCE = "unbalance"
    BENT_SHAFT = "bent-shaft"
    MISALIGNMENT = "misalignment"
    LOOSENESS = "looseness"
    RESONANCE = "resonance"
    OUTER_RACE = "bearing-outer-race"
    INNER_RACE = "bearing-inner-race"
    ROLLING_ELEMENT = "bearing-rolling-element"
    CAGE = "bearing-cage"
    LUBRICATION = "lubrication"
    GEAR = "gear"
    BLADE_PASS = "blade-pass"
    CAVITATION = "cavitation"
    BELT = "belt"
    ELECTRICAL = "electrical"
    OIL_WHIRL = "oil-whirl"
    RUB = "rub"
    SENSOR = "sensor"


class Conclusion(StrEnum):
    """What a record as a whole says."""

    FAULT = "fault"
    NO_FAULT_FOUND = "no-fault-found"
    CANNOT_TELL = "cannot-tell"


@dataclass(frozen=True, slots=True)
class Evidence:
    """One observation; what does not apply is None."""

    text: str
    """A sentence for people."""
    frequency_hz: float | None = None
    order: float | None = None
    """Multiple of shaft speed."""
    amplitude: float | None = None
    unit: str = ""
    """Unit of the amplitude."""
    above_surroundings: float | None = None
    """Times the median of the lines around it."""
    harmonics: tuple[int, ...] = ()
    """Harmonics that stand out, 1 for the line itself."""
    sidebands: tuple[str, ...] = ()
    """Sidebands that stand out: `1x + 1 x shaft speed`."""
    direction: str = ""


@dataclass(frozen=True, slots=True)
class Finding:
    """One hypothesis."""

    fault: Fault
    confidence: float
    """0 to 1; from SUPPORTED on the record supports it."""
    channel: str
    evidence: tuple[Evidence, ...]
    rule: str
    source: str
    alternatives: tuple[Fault, ...]
    actions: tuple[str, ...]
    detail: str = ""
    """Closer description where there is one: `stage 3`, `stator`."""
    caution: str = CAUTION


@dataclass(frozen=True, slots=True)
class Diagnosis:
    """All findings about one record, best first, and what they come to."""

    verdict: Conclusion
    findings: tuple[Finding, ...]
    speed_hz: float | None = None
    """Shaft speed used, None where none was known."""
    speed_basis: str = ""
    remarks: tuple[str, ...] = field(default=())
    """What a careful reader must know: why a verdict could not be given, what was not looked at."""
    speed_origin: SpeedOrigin = SpeedOrigin.UNKNOWN
    """Where the speed comes from: estimated where the record's own lines placed it."""
    speed_confidence: float | None = None
    """0 to 1 where it was estimated and other lines agree; None where that cannot be said."""
