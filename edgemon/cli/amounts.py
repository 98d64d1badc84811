"""Numbers with a unit on the command line, and which option an impossible one came from."""

import argparse
import math
import re
from collections.abc import Iterator, Mapping
from contextlib import contextmanager

from edgemon.cli.options import duration
from edgemon.errors import ParameterError, SettingsError
from edgemon.planning.battery import Daily, Pulse
from edgemon.units import Quantity, quantity_of, to_si, units_of

SHARES = ("usable_share", "self_discharge_per_year", "coverage")
"""Parameters that options give in percent."""

_AMOUNT = re.compile(r"(\d+(?:\.\d+)?(?:[eE][-+]?\d+)?)\s*([^\d\s]\S*)")


def _amount(text: str, quantity: Quantity, example: str) -> float:
    match = _AMOUNT.fullmatch(text.strip())
    allowed = ", ".join(units_of(quantity))
    try:
        if match is not None and quantity_of(match[2]) is quantity:
            return to_si(float(match[1]), match[2])
    except KeyError:
        pass
    raise argparse.ArgumentTypeError(f"not a {quantity}: {text!r}; write {example} (units: {allowed})")


def current(text: str) -> float:
    """Read a current in ampere: `5uA`, `15mA`."""
    return _amount(text, Quantity.CURRENT, "15mA")


def frequency(text: str) -> float:
    """Read a frequency in hertz: `868MHz`, `125kHz`."""
    return _amount(text, Quantity.FREQUENCY, "868MHz")


def capacity(text: str) -> float:
    """Read a capacity in ampere-hours: `2.4Ah`, `2400mAh`."""
    try:
        if text.strip().endswith("h"):
            return current(text.strip().removesuffix("h"))
    except argparse.ArgumentTypeError:
        pass
    raise argparse.ArgumentTypeError(f"not a capacity: {text!r}; write 2.4Ah or 2400mAh")


def percent(text: str) -> float:
    """Read a share in percent: `90`, `90%`."""
    try:
        share = float(text.strip().removesuffix("%")) / 100.0
    except ValueError:
        share = math.nan
    if not 0.0 <= share <= 1.0:
        raise argparse.ArgumentTypeError(f"not a percentage from 0 to 100: {text!r}; write 90")
    return share


def pulse(text: str) -> Pulse:
    """Read a current and how long it is drawn: `15mA:2s`."""
    try:
        drawn, lasts = text.split(":")
    except ValueError:
        raise argparse.ArgumentTypeError(f"not a current and its time: {text!r}; write 15mA:2s") from None
    try:
        return Pulse(current(drawn), duration(lasts))
    except ParameterError as error:
        raise argparse.ArgumentTypeError(f"{text!r}: {error.what}") from None


def daily(text: str) -> Daily:
    """Read what happens so many times a day: `10mA:0.1s:144`."""
    drawn, _, times = text.rpartition(":")
    one = pulse(drawn)
    try:
        return Daily(one, float(times))
    except ParameterError as error:
        raise argparse.ArgumentTypeError(f"{text!r}: {error.what} times a day") from None
    except ValueError:
        raise argparse.ArgumentTypeError(f"not a number of times a day: {times!r}; write 10mA:0.1s:144") from None


@contextmanager
def named(options: Mapping[str, str]) -> Iterator[None]:
    """Give an impossible number back as the mistake of whoever wrote the option.

    Parameters
    ----------
    options : mapping
        The option of each parameter.

    Raises
    ------
    SettingsError
        A number is not possible.
    """
    try:
        yield
    except ParameterError as error:
        hint = "as a share: 0.5 is 50 %" if error.where in SHARES else ""
        raise SettingsError(error.what, options.get(error.where, error.where), hint) from None
