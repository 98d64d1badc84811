"""Counts and sensors' units to the house's units, and what no sensor can mean."""

from edgemon.errors import OutOfRange, UnknownFormat
from edgemon.model.machine import Sensor
from edgemon.model.text import clean
from edgemon.units import SI_UNIT, Quantity, quantity_of, to_si, unit_name, units_of

PLAUSIBLE: dict[Quantity, tuple[float, float]] = {
    Quantity.ACCELERATION: (0.0, 1e6),
    Quantity.VELOCITY: (0.0, 10.0),
    Quantity.DISPLACEMENT: (0.0, 1.0),
    Quantity.TEMPERATURE: (-100.0, 1000.0),
    Quantity.RATIO: (0.0, 1e6),
    Quantity.FREQUENCY: (0.0, 5000.0),
    Quantity.CHARGE: (0.0, 100.0),
    Quantity.SIGNAL: (-150.0, 30.0),
}
"""Range of a level or status value in the house's unit, both ends included. A level below zero would read as normal, so it
is refused. Common practice, no source: shock accelerometers end near 10**5 g, fast shafts near 300,000 r/min."""

FULL_SCALE: tuple[float, float] = (1e-3, 1e6)
"""What the largest count may stand for, m/s2. Common practice, no source: below the lower end a machine would look dead."""

CAPTURE_UNITS = ("m/s2", "g", "mV")
"""Units of a scaled sample. Source: message contract, `u`."""

_LARGEST_COUNT = 32768


def check_plausible(value: float, quantity: Quantity, where: str) -> float:
    """Give back a value in the house's unit; OutOfRange if no sensor can mean it."""
    low, high = PLAUSIBLE[quantity]
    if not low <= value <= high:
        raise OutOfRange(f"{value:g} {SI_UNIT[quantity]} is outside {low:g} to {high:g}", where)
    return value


def value_to_si(value: float, unit: str, quantity: Quantity, where: str) -> float:
    """Convert a value as sent to the house's unit.

    Parameters
    ----------
    value : float
        Finite.
    unit : str
        As sent; empty where none was sent, which only a ratio may do.
    quantity : Quantity
        What the value must measure.
    where : str
        The record or field, for the error.

    Raises
    ------
    OutOfRange
        No unit, a unit that does not fit, or a value no sensor can mean.
    """
    if not unit:
        if quantity is not Quantity.RATIO:
            raise OutOfRange(f"has no unit, and {quantity} needs one", where, _allowed(quantity))
        return check_plausible(value, quantity, where)
    try:
        fits = quantity_of(unit) is quantity
    except KeyError:
        fits = False
    if not fits:
        raise OutOfRange(f"unit {clean(unit, 32)!r} does not measure {quantity}", where, _allowed(quantity))
    return check_plausible(to_si(value, unit), quantity, where)


def _allowed(quantity: Quantity) -> str:
    return f"allowed: {', '.join(units_of(quantity))}"


def capture_unit(text: str, where: str) -> str:
    """Give the house's spelling of a capture's unit; UnknownFormat if captures cannot have it."""
    try:
        name = unit_name(text)
    except KeyError:
        name = ""
    if name not in CAPTURE_UNITS:
        raise UnknownFormat(
            f"unit {clean(text, 32)!r} is not one a capture can have", where, f"allowed: {', '.join(CAPTURE_UNITS)}"
        )
    return name


def si_per_count(scale: float, unit: str, sensor: Sensor, where: str) -> float:
    """Say what one count is in m/s2.

    Parameters
    ----------
    scale : float
        One count in `unit`.
    unit : str
        One of `CAPTURE_UNITS`; for `mV` the sensor's sensitivity applies.
    sensor : Sensor
        Brings the sensitivity, V per m/s2.
    where : str
        The field, for the error.

    Raises
    ------
    OutOfRange
        No sensitivity known, or a full scale no sensor can have.
    """
    step = to_si(scale, unit)
    if unit == "mV":
        if not sensor.sensitivity_v_per_si:
            hint = f"give the sensitivity of sensor {sensor.id} in plant.toml, or send m/s2 or g"
            raise OutOfRange("samples in mV from a sensor whose sensitivity is not known", where, hint)
        step /= sensor.sensitivity_v_per_si
    low, high = FULL_SCALE
    if not low <= step * _LARGEST_COUNT <= high:
        raise OutOfRange(f"full scale {step * _LARGEST_COUNT:g} m/s2 is outside {low:g} to {high:g}", where)
    return step
