"""Severity classes: the limits for broad-band velocity r.m.s. that a machine gets by its kind, size and support.

Only figures that are in print and could be compared with at least one publication are here. They are a starting point for a
competent person, subject to the maker's instructions. Alert is zone boundary B/C and alarm zone boundary C/D; fans have
an alarm and a shut-down limit of their own, which become alert and alarm. Where a standard limits displacement too, its
figures are for whoever measures that: for slow machines, in which velocity alone says little.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import NamedTuple

from edgemon.model.level import Band
from edgemon.units import to_si

_ISO_20816_3 = (
    "ISO 20816-3:2022 (same velocity figures as ISO 10816-3:2009, Tables A.1 and A.2), two independent reprints agree"
)
_ISO_10816_7 = "ISO 10816-7:2009, as extracted in Europump, Guidelines on Pump Vibration (2013)"
_ISO_14694 = "ISO 14694:2003, in-situ limits, filter out, r.m.s., as reprinted in a technical article on fans (2020)"
_ISO_10816_1 = "ISO 10816-1:1995 Annex B, withdrawn; two independent reprints agree"
_ISO_10816_21 = "ISO 10816-21:2015 (same figures as VDI 3834-1), as in a public implementation of the latter"

VELOCITY, DISPLACEMENT = "velocity_rms", "displacement_rms"
"""Levels that a class may limit: the first at every point, the second where the plant file defines a level of that name."""

BAND = Band(10.0, 1000.0)
"""Source: ISO 20816-3:2022, ISO 2954:2012."""
LOW_SPEED_BAND = Band(2.0, 1000.0)
"""For machines below `LOW_SPEED_RPM`. Source: ISO 20816-3:2022."""
LOW_SPEED_RPM = 600.0
"""Source: ISO 20816-3:2022."""


class Bounds(NamedTuple):
    """What a class says of one level, in the house's unit."""

    upper_a: float | None
    """Zone boundary A/B; None where there are no zones, or no zone A."""
    alert: float
    alarm: float


@dataclass(frozen=True, slots=True)
class SeverityClass:
    """Limits of one class of machines, mm/s r.m.s., and what it is for."""

    name: str
    alert: float
    """mm/s r.m.s."""
    alarm: float
    """mm/s r.m.s."""
    alert_is: str
    """What the alert limit is in the standard: `zone boundary B/C`."""
    alarm_is: str
    edition: str
    """Standard and class, as people write it: `ISO 20816-3:2022 group 2, rigid`."""
    source: str
    rpm: tuple[float, float] | None = None
    """Speeds the standard is for, r/min, both ends included."""
    power_kw: tuple[float, float] | None = None
    """Power of the class: above the first, up to and including the second."""
    not_for: tuple[str, ...] = ()
    """Words in a machine's kind that speak against the class."""
    withdrawn: bool = False
    upper_a: float | None = None
    """Zone boundary A/B, mm/s r.m.s.; None where there are no zones, or no zone A."""
    displacement: tuple[float, float, float] | None = None
    """Zone boundaries A/B, B/C and C/D, um r.m.s., in the same band; None where the standard gives none."""
    slow_band: Band = LOW_SPEED_BAND
    """What its levels are of on machines below `LOW_SPEED_RPM`."""

    def of(self, level: str) -> Bounds | None:
        """Give what the class says of a level, None where it says nothing."""
        if level == VELOCITY:
            upper_a = None if self.upper_a is None else to_si(self.upper_a, "mm/s")
            return Bounds(upper_a, to_si(self.alert, "mm/s"), to_si(self.alarm, "mm/s"))
        if level == DISPLACEMENT and self.displacement is not None:
            return Bounds(*(to_si(bound, "um") for bound in self.displacement))
        return None

    @property
    def has_zones(self) -> bool:
        """Say whether its limits are boundaries of the zones A to D."""
        return self.alert_is.startswith("zone")

    @property
    def origin(self) -> str:
        """Say where limits filled from this class come from."""
        if self.has_zones:
            return f"{self.edition}: zone boundaries B/C and C/D"
        return f"{self.edition}: {self.alert_is} and {self.alarm_is}"


def _zones(name: str, bounds: tuple[float | None, float, float], edition: str, source: str) -> SeverityClass:
    upper_a, alert, alarm = bounds
    return SeverityClass(name, alert, alarm, "zone boundary B/C", "zone boundary C/D", edition, source, upper_a=upper_a)


def _industrial(
    group: int, support: str, velocity: tuple[float, float, float], displacement: tuple[float, float, float]
) -> SeverityClass:
    power = (300.0, 50_000.0) if group == 1 else (15.0, 300.0)
    base = _zones(f"iso20816-3/group{group}/{support}", velocity, f"ISO 20816-3:2022 group {group}, {support}", _ISO_20816_3)
    return replace(base, displacement=displacement, rpm=(120.0, 30_000.0), power_kw=power, not_for=("reciprocating",))


def _pump(category: int, above: bool, bounds: tuple[float, float, float]) -> SeverityClass:
    power, key, words = (
        ((200.0, float("inf")), "above200kw", "above 200 kW") if above else ((1.0, 200.0), "upto200kw", "up to 200 kW")
    )
    edition = f"ISO 10816-7:2009 category {'I' * category}, {words}"
    base = _zones(f"iso10816-7/category{category}/{key}", bounds, edition, _ISO_10816_7)
    return replace(base, power_kw=power, not_for=("fan", "ventilator", "blower", "compressor", "reciprocating"))


def _fan(category: int, support: str, alert: float, alarm: float) -> SeverityClass:
    name, edition = f"iso14694/bv{category}/{support}", f"ISO 14694:2003 BV-{category}, {support}"
    base = SeverityClass(name, alert, alarm, "in-situ alarm", "in-situ shut-down", edition, _ISO_14694)
    return replace(base, power_kw=(0.0, 300.0), not_for=("pump", "compressor", "reciprocating"))


def _wind(key: str, part: str, upper_b: float, upper_c: float) -> SeverityClass:
    base = _zones(f"iso10816-21/{key}", (None, upper_b, upper_c), f"ISO 10816-21:2015 {part}", _ISO_10816_21)
    return replace(base, not_for=("pump", "fan", "ventilator", "compressor", "reciprocating"), slow_band=BAND)


def _legacy(number: int, roman: str, bounds: tuple[float, float, float], power: tuple[float, float] | None) -> SeverityClass:
    edition = f"ISO 10816-1:1995 class {roman} (withdrawn)"
    base = _zones(f"iso10816-1/class{number}", bounds, edition, _ISO_10816_1)
    return replace(base, power_kw=power, not_for=("reciprocating",), withdrawn=True)


def _rows() -> Iterator[SeverityClass]:
    yield _industrial(1, "rigid", (2.3, 4.5, 7.1), (29.0, 57.0, 90.0))
    yield _industrial(1, "flexible", (3.5, 7.1, 11.0), (45.0, 90.0, 140.0))
    yield _industrial(2, "rigid", (1.4, 2.8, 4.5), (22.0, 45.0, 71.0))
    yield _industrial(2, "flexible", (2.3, 4.5, 7.1), (37.0, 71.0, 113.0))
    yield _pump(1, above=False, bounds=(2.5, 4.0, 6.6))
    yield _pump(1, above=True, bounds=(3.5, 5.0, 7.6))
    yield _pump(2, above=False, bounds=(3.2, 5.1, 8.5))
    yield _pump(2, above=True, bounds=(4.2, 6.1, 9.5))
    yield _fan(3, "rigid", 7.1, 9.0)
    yield _fan(3, "flexible", 11.8, 12.5)
    yield _fan(4, "rigid", 4.5, 7.1)
    yield _fan(4, "flexible", 7.1, 11.2)
    yield _wind("rotor-bearing", "rotor with rolling bearings", 2.0, 3.2)
    yield _wind("gearbox", "gearbox", 3.5, 5.6)
    yield _wind("generator", "generator with rolling bearings", 6.0, 10.0)
    yield _legacy(1, "I", (0.71, 1.8, 4.5), (0.0, 15.0))
    yield _legacy(2, "II", (1.12, 2.8, 7.1), (15.0, 300.0))
    yield _legacy(3, "III", (1.8, 4.5, 11.2), None)
    yield _legacy(4, "IV", (2.8, 7.1, 18.0), None)


SEVERITY_CLASSES: dict[str, SeverityClass] = {row.name: row for row in _rows()}
"""Every class a machine may name in `severity_class`."""
