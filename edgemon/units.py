"""Every unit and conversion factor of the house; the core itself is SI, with one exception, degrees Celsius."""

from dataclasses import dataclass
from enum import StrEnum

STANDARD_GRAVITY = 9.80665
"""m/s2 per g, exact. Source: 3rd CGPM (1901), ISO 80000-3."""


class Quantity(StrEnum):
    """What a number measures; each has one unit inside the house (see `SI_UNIT`)."""

    ACCELERATION = "acceleration"
    VELOCITY = "velocity"
    DISPLACEMENT = "displacement"
    TEMPERATURE = "temperature"
    RATIO = "ratio"
    FREQUENCY = "frequency"
    VOLTAGE = "voltage"
    CURRENT = "current"
    CHARGE = "battery charge"
    SIGNAL = "signal strength"
    TIME = "time"


SI_UNIT: dict[Quantity, str] = {
    Quantity.ACCELERATION: "m/s2",
    Quantity.VELOCITY: "m/s",
    Quantity.DISPLACEMENT: "m",
    Quantity.TEMPERATURE: "Cel",
    Quantity.RATIO: "1",
    Quantity.FREQUENCY: "Hz",
    Quantity.VOLTAGE: "V",
    Quantity.CURRENT: "A",
    Quantity.CHARGE: "%EL",
    Quantity.SIGNAL: "dBm",
    Quantity.TIME: "s",
}
"""The unit each quantity has inside the house."""


@dataclass(frozen=True, slots=True)
class Unit:
    """One unit: value in the house's unit = value * factor + offset."""

    quantity: Quantity
    factor: float
    offset: float = 0.0


_INCH = 0.0254
UNITS: dict[str, Unit] = {
    "m/s2": Unit(Quantity.ACCELERATION, 1.0),
    "mm/s2": Unit(Quantity.ACCELERATION, 1e-3),
    "g": Unit(Quantity.ACCELERATION, STANDARD_GRAVITY),  # SenML registers g as gram; the contract reads gravity
    "mg": Unit(Quantity.ACCELERATION, STANDARD_GRAVITY * 1e-3),
    "m/s": Unit(Quantity.VELOCITY, 1.0),
    "mm/s": Unit(Quantity.VELOCITY, 1e-3),
    "in/s": Unit(Quantity.VELOCITY, _INCH),
    "m": Unit(Quantity.DISPLACEMENT, 1.0),
    "mm": Unit(Quantity.DISPLACEMENT, 1e-3),
    "um": Unit(Quantity.DISPLACEMENT, 1e-6),
    "mil": Unit(Quantity.DISPLACEMENT, _INCH * 1e-3),
    "Cel": Unit(Quantity.TEMPERATURE, 1.0),
    "K": Unit(Quantity.TEMPERATURE, 1.0, -273.15),
    "degF": Unit(Quantity.TEMPERATURE, 5.0 / 9.0, -160.0 / 9.0),
    "1": Unit(Quantity.RATIO, 1.0),
    "/": Unit(Quantity.RATIO, 1.0),
    "Hz": Unit(Quantity.FREQUENCY, 1.0),
    "kHz": Unit(Quantity.FREQUENCY, 1e3),
    "MHz": Unit(Quantity.FREQUENCY, 1e6),
    "1/s": Unit(Quantity.FREQUENCY, 1.0),
    "1/min": Unit(Quantity.FREQUENCY, 1.0 / 60.0),
    "r/min": Unit(Quantity.FREQUENCY, 1.0 / 60.0),
    "CPM": Unit(Quantity.FREQUENCY, 1.0 / 60.0),
    "V": Unit(Quantity.VOLTAGE, 1.0),
    "mV": Unit(Quantity.VOLTAGE, 1e-3),
    "A": Unit(Quantity.CURRENT, 1.0),
    "mA": Unit(Quantity.CURRENT, 1e-3),
    "uA": Unit(Quantity.CURRENT, 1e-6),
    "%EL": Unit(Quantity.CHARGE, 1.0),
    "dBm": Unit(Quantity.SIGNAL, 1.0),
    "dBW": Unit(Quantity.SIGNAL, 1.0, 30.0),
    "s": Unit(Quantity.TIME, 1.0),
    "ms": Unit(Quantity.TIME, 1e-3),
    "min": Unit(Quantity.TIME, 60.0),
    "h": Unit(Quantity.TIME, 3600.0),
}
"""Every unit understood. Source: RFC 8428 section 12.1, RFC 8798; inch units: 1 in = 25.4 mm exactly."""

ALIASES: dict[str, str] = {
    "m/s^2": "m/s2",
    "m/s²": "m/s2",
    "µm": "um",
    "μm": "um",
    "µA": "uA",
    "μA": "uA",
    "°C": "Cel",
    "degC": "Cel",
    "rpm": "r/min",
}
"""Other spellings people write, and the one the house uses."""


def unit_name(text: str) -> str:
    """Give the house's spelling of a unit; KeyError if it is unknown."""
    name = ALIASES.get(text, text)
    if name not in UNITS:
        raise KeyError(text)
    return name


def quantity_of(unit: str) -> Quantity:
    """Give the quantity a unit measures; KeyError if the unit is unknown."""
    return UNITS[unit_name(unit)].quantity


def to_si(value: float, unit: str) -> float:
    """Convert a value in `unit` to the house's unit of its quantity; KeyError if the unit is unknown."""
    known = UNITS.get(unit) or UNITS[unit_name(unit)]
    return value * known.factor + known.offset


def from_si(value: float, unit: str) -> float:
    """Convert a value in the house's unit to `unit`; KeyError if the unit is unknown."""
    known = UNITS.get(unit) or UNITS[unit_name(unit)]
    return (value - known.offset) / known.factor


def interval_to_si(value: float, unit: str) -> float:
    """Convert a difference (a deadband, a change), to which no offset applies; KeyError if the unit is unknown."""
    return value * UNITS[unit_name(unit)].factor


def interval_from_si(value: float, unit: str) -> float:
    """Convert a difference in the house's unit to `unit`; KeyError if the unit is unknown."""
    return value / UNITS[unit_name(unit)].factor


def units_of(quantity: Quantity) -> tuple[str, ...]:
    """List the units that fit a quantity, for messages to people."""
    return tuple(name for name, unit in UNITS.items() if unit.quantity is quantity)


_SPELT = {"Cel": "°C", "degF": "°F", "1": ""}


def spelt(unit: str) -> str:
    """Spell a unit as people read it in a line of text; empty for a ratio."""
    return _SPELT.get(unit, unit)
