"""What a scenario's samples are values of, and which level its limit is on: the same, one that follows from it, or a mask.

What only a running gateway can have, a scenario must be given: the baseline that an engineer approved, the lines of a mask, the
temperature of the other point.
"""

from dataclasses import dataclass
from itertools import pairwise

from edgemon.alarms.scenario_fields import Fields
from edgemon.model.baseline import Baseline, BaselineState
from edgemon.model.derived import DIFFERENCES, MASKED, OF_BASELINE, DerivedSpec, MaskSpec, Rule
from edgemon.model.level import LEVEL_KINDS, USUAL_UNIT, Detector, LevelKind
from edgemon.model.machine import Learning, point_key
from edgemon.units import Quantity, interval_to_si, quantity_of, to_si, unit_name, units_of

POINT = point_key("machine", "point")
OTHER = point_key("machine", "other")
"""The point whose temperature a rise is measured from."""
DERIVED, MASK = "derived", "mask"
"""Names of the level with the limit, where it is not that of the samples."""
FIELDS = ("level", "quantity", "unit", DERIVED, "reference", MASK)
_VELOCITY = LEVEL_KINDS["velocity_rms"]
_DETECTORS = {"rms": Detector.RMS, "peak": Detector.PEAK}


@dataclass(frozen=True, slots=True)
class Subject:
    """What the samples give and what the limit is on."""

    kind: LevelKind
    """Of the samples."""
    unit: str
    """Of the samples, or of the lines of a spectrum."""
    judged: LevelKind
    """Of the limit; its unit is that of the limit's values."""
    derived: DerivedSpec | None = None
    mask: MaskSpec | None = None
    reference: tuple[tuple[float, float], ...] = ()
    """Temperature of the other point: (time, value in the house's unit), oldest first."""

    @property
    def is_usual(self) -> bool:
        """Say whether the scenario is about velocity, for which limits and deadband have usual values."""
        return self.derived is None and self.mask is None and (self.kind.name, self.unit) == ("velocity_rms", "mm/s")


def subject_of(fields: Fields) -> Subject:
    """Read what a scenario is about.

    Raises
    ------
    SettingsError
        Naming the field; where something is missing that a scenario cannot make by itself, saying so.
    """
    if DERIVED in fields.raw and MASK in fields.raw:
        raise fields.wrong(MASK, "the limit is on one level", f"write {DERIVED} or {MASK}")
    if MASK in fields.raw:
        return _of_mask(fields)
    kind, unit = _kind(fields)
    if DERIVED in fields.raw:
        return _of_derived(fields, kind, unit)
    if "reference" in fields.raw:
        raise fields.wrong(
            "reference", "only a rise of temperature is measured from another point", 'derived = { rule = "rise" }'
        )
    return Subject(kind, unit, LevelKind(kind.name, kind.quantity, kind.detector, kind.title, unit))


def _kind(fields: Fields) -> tuple[LevelKind, str]:
    name = fields.text("level", _VELOCITY.name)
    own = fields.raw.get("quantity")
    if name in LEVEL_KINDS:
        kind = LEVEL_KINDS[name]
        if own is not None:
            raise fields.wrong(
                "quantity", f"{name} measures {kind.quantity}", "leave quantity out; it is for a level of your own"
            )
    elif own is None:
        hint = f'known: {", ".join(LEVEL_KINDS)}; a level of your own, as of a band, needs quantity = "velocity" or another'
        raise fields.wrong("level", f"unknown level {name!r}", hint)
    else:
        quantity = Quantity(fields.word("quantity", own, tuple(USUAL_UNIT)))
        kind = LevelKind(name, quantity, Detector.RMS, name, USUAL_UNIT[quantity])
    return kind, _unit(fields, kind.quantity, kind.unit)


def _unit(fields: Fields, quantity: Quantity, usual: str) -> str:
    written = fields.text("unit", usual)
    fitting = f"units of {quantity}: {', '.join(units_of(quantity))}"
    try:
        unit = unit_name(written)
    except KeyError:
        raise fields.wrong("unit", f"{written!r} is not a known unit", fitting) from None
    if quantity_of(unit) is not quantity:
        raise fields.wrong("unit", f"{written!r} is a unit of {quantity_of(unit)}", fitting)
    return unit


def _of_derived(fields: Fields, kind: LevelKind, unit: str) -> Subject:
    inner = fields.inner(DERIVED, ("rule", "baseline", "spread", "rpm", "over_s"))
    rule = Rule(inner.word("rule", inner.raw.get("rule"), tuple(Rule)))
    is_temperature = kind.quantity is Quantity.TEMPERATURE
    if rule is Rule.RISE and not is_temperature:
        raise inner.wrong("rule", f"a rise is one of temperature, not of {kind.name}", 'level = "temperature"')
    if rule in OF_BASELINE and is_temperature:
        raise inner.wrong("rule", "a temperature has no baseline: its zero is a convention", 'rule = "rise" or "rate"')
    if rule is Rule.RISE and not fields.rows("reference"):
        hint = "reference = [[0, 25.0], ...]: time and value at the other point"
        raise fields.wrong("reference", "a rise needs the temperature it is measured from", hint)
    if rule is not Rule.RISE and "reference" in fields.raw:
        raise fields.wrong("reference", "only a rise is measured from another point", 'rule = "rise"')
    if rule is Rule.RATE and "over_s" not in inner.raw:
        raise inner.wrong("over_s", "a rate needs the time it is taken over", "seconds")
    reference = fields.pairs("reference", fields.rows("reference"), "[t, value]")
    spec = DerivedSpec(
        DERIVED,
        rule,
        kind,
        over_s=inner.positive("over_s", 1.0) if rule is Rule.RATE else 0.0,
        reference=OTHER if rule is Rule.RISE else None,
        baseline=_baseline(inner, rule, kind, unit) if rule in OF_BASELINE else None,
        rpm_tolerance=Learning().speed_tolerance,
    )
    if is_temperature and rule in DIFFERENCES:
        if unit == "degF":
            raise fields.wrong("unit", "a difference of temperatures is limited in Cel or K", 'unit = "Cel"')
        shown = "Cel"  # a kelvin of a difference is as large
    else:
        shown = spec.kind.unit if rule is Rule.SPREAD else unit
    judged = LevelKind(DERIVED, spec.kind.quantity, Detector.VALUE, DERIVED, shown)
    return Subject(kind, unit, judged, spec, reference=tuple(sorted((t, to_si(value, unit)) for t, value in reference)))


def _baseline(inner: Fields, rule: Rule, kind: LevelKind, unit: str) -> Baseline:
    """Make the baseline that the scenario is given: a scenario is too short to learn one, and nobody is there to approve it."""
    if "baseline" not in inner.raw:
        hint = "baseline = 1.2, in the unit of the samples"
        raise inner.wrong("baseline", "a scenario cannot learn a baseline: it must be given", hint)
    if rule is Rule.SPREAD and "spread" not in inner.raw:
        hint = "spread = 0.1, the standard deviation, in the unit of the samples"
        raise inner.wrong("spread", "a scenario cannot learn a spread: it must be given", hint)
    value = to_si(inner.number("baseline", 0.0), unit)
    rpm = inner.positive("rpm", 1.0) if "rpm" in inner.raw else None
    return Baseline(
        POINT, kind.name, kind.quantity, 1, 0.0, 0.0, value, value, interval_to_si(inner.number("spread", 0.0, 0.0), unit),
        rpm, None, 0.0, BaselineState.APPROVED,
    )  # fmt: skip


def _of_mask(fields: Fields) -> Subject:
    for field in ("level", "quantity", "reference"):
        if field in fields.raw:
            raise fields.wrong(field, "the samples of a mask are spectra", "leave it out")
    inner = fields.inner(MASK, ("lines", "low_hz", "high_hz", "line_hz", "detector"))
    if not inner.rows("lines"):
        hint = "lines = [[10, 2.8], [1000, 1.0]]: Hz and limit"
        raise inner.wrong("lines", "a scenario cannot learn a mask from captures: its lines must be given", hint)
    written = fields.text("unit", _VELOCITY.unit)
    quantity = next((one for one in MASKED if written in units_of(one)), None)
    if quantity is None:
        fitting = ", ".join(unit for one in MASKED for unit in units_of(one))
        raise fields.wrong("unit", f"{written!r} is no unit of velocity or acceleration", f"known: {fitting}")
    lines = inner.pairs("lines", inner.rows("lines"), "[Hz, limit]")
    if any(later[0] <= one[0] for one, later in pairwise(lines)) or any(limit <= 0.0 for _, limit in lines):
        raise inner.wrong("lines", "frequencies must rise and limits be above zero")
    low, high = inner.positive("low_hz", lines[0][0]), inner.positive("high_hz", lines[-1][0])
    if not low < high:
        raise inner.wrong("high_hz", f"the band ends at {high:g} Hz, before it begins", f"above low_hz = {low:g}")
    spec = MaskSpec(
        MASK, quantity, low, high, inner.positive("line_hz", 1.0),
        detector=_DETECTORS[inner.word("detector", inner.raw.get("detector", "rms"), tuple(_DETECTORS))],
        given=tuple((hz, to_si(limit, written)) for hz, limit in lines),
    )  # fmt: skip
    return Subject(LevelKind(MASK, quantity, spec.detector, MASK, written), written, spec.kind, mask=spec)
