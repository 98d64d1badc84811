"""Conversion factors against the standards that define them, and against scipy.constants."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import constants

from edgemon.model.level import LEVEL_KINDS
from edgemon.units import (
    ALIASES,
    SI_UNIT,
    STANDARD_GRAVITY,
    UNITS,
    Quantity,
    from_si,
    interval_from_si,
    interval_to_si,
    quantity_of,
    to_si,
    unit_name,
    units_of,
)


@pytest.mark.parametrize(
    ("value", "unit", "expected"),
    [
        (1.0, "g", 9.80665),  # 3rd CGPM (1901), exact
        (1.0, "g", constants.g),  # second method
        (1000.0, "mg", constants.g),
        (4.5, "mm/s", 4.5e-3),  # SI prefix
        (1.0, "in/s", constants.inch),  # 25.4 mm exactly, international yard and pound agreement 1959
        (1.0, "mil", 25.4e-6),
        (25.4, "um", constants.mil),
        (50.0, "mm", 0.05),
        (300.0, "K", 26.85),  # Celsius = kelvin - 273.15, SI brochure 9th edition, 2.3.1
        (0.0, "K", constants.convert_temperature(0.0, "K", "C")),
        (212.0, "degF", 100.0),  # boiling water
        (-40.0, "degF", -40.0),  # where the two scales meet
        (98.6, "degF", constants.convert_temperature(98.6, "F", "C")),
        (60.0, "1/min", 1.0),
        (2975.0, "r/min", 2975.0 / 60.0),
        (1500.0, "CPM", 25.0),
        (3.0, "kHz", 3000.0),
        (100.0, "mV", 0.1),
        (5.0, "uA", 5e-6),  # SI prefixes
        (15.0, "mA", 15e-3),
        (868.0, "MHz", 868e6),
        (-30.0, "dBW", 0.0),  # RFC 8798 section 3: dBm = dBW scaled by 1, offset -30
        (2.0, "h", constants.hour * 2),
        (5.0, "min", constants.minute * 5),
        (250.0, "ms", 0.25),
        (0.5, "/", 0.5),  # RFC 8428 section 12.1
        (87.0, "%EL", 87.0),
    ],
)
def test_known_conversions(value: float, unit: str, expected: float) -> None:
    assert to_si(value, unit) == pytest.approx(expected, rel=1e-12, abs=1e-12)
    assert from_si(expected, unit) == pytest.approx(value, rel=1e-12, abs=1e-9)


def test_standard_gravity_is_exact() -> None:
    assert STANDARD_GRAVITY == constants.g == 9.80665


@pytest.mark.parametrize("unit", UNITS)
@given(value=st.floats(-1e6, 1e6))
def test_there_and_back(unit: str, value: float) -> None:
    assert from_si(to_si(value, unit), unit) == pytest.approx(value, rel=1e-9, abs=1e-6)
    assert interval_from_si(interval_to_si(value, unit), unit) == pytest.approx(value, rel=1e-9, abs=1e-9)


@pytest.mark.parametrize("unit", UNITS)
@given(one=st.floats(-1e3, 1e3), step=st.floats(-1e3, 1e3))
def test_an_interval_is_a_difference_of_two_values(unit: str, one: float, step: float) -> None:
    factor = abs(UNITS[unit].factor)
    assert interval_to_si(step, unit) == pytest.approx(to_si(one + step, unit) - to_si(one, unit), abs=1e-9 * max(factor, 1e-3))


def test_an_interval_has_no_offset() -> None:
    """A deadband of 9 degrees Fahrenheit is 5 kelvin, not -12.8 degrees Celsius."""
    assert interval_to_si(9.0, "degF") == pytest.approx(5.0)
    assert interval_to_si(5.0, "K") == 5.0


@pytest.mark.parametrize(
    ("text", "name"),
    [
        ("m/s^2", "m/s2"),
        ("m/s²", "m/s2"),
        ("µm", "um"),
        ("μm", "um"),
        ("°C", "Cel"),
        ("degC", "Cel"),
        ("rpm", "r/min"),
        ("µA", "uA"),
    ],
)
def test_other_spellings(text: str, name: str) -> None:
    assert unit_name(text) == name
    assert to_si(7.0, text) == to_si(7.0, name)
    assert from_si(7.0, text) == from_si(7.0, name)


@pytest.mark.parametrize("text", ["", "G", "MM/S", "mm/s ", "furlong", "Cel\n", "%", "gram"])
def test_nothing_is_guessed(text: str) -> None:
    for use in (unit_name, quantity_of):
        with pytest.raises(KeyError):
            use(text)
    for convert in (to_si, from_si, interval_to_si, interval_from_si):
        with pytest.raises(KeyError):
            convert(1.0, text)


def test_every_quantity_has_its_own_unit_of_factor_one() -> None:
    assert set(SI_UNIT) == set(Quantity)
    for quantity, name in SI_UNIT.items():
        assert (UNITS[name].quantity, UNITS[name].factor, UNITS[name].offset) == (quantity, 1.0, 0.0)
        assert name in units_of(quantity)
        assert all(quantity_of(unit) is quantity for unit in units_of(quantity))


def test_every_alias_and_every_unit_of_a_level_is_known() -> None:
    assert set(ALIASES.values()) <= set(UNITS)
    assert not set(ALIASES) & set(UNITS)
    assert all(quantity_of(kind.unit) is kind.quantity for kind in LEVEL_KINDS.values())
