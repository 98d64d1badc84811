"""Gear stages as given on a command line, one after the other from the shaft whose speed is given."""

from collections.abc import Iterable
from dataclasses import replace

from edgemon.diagnosis.planetary import SHIFTED, have_room, misfit, planetary_orders
from edgemon.diagnosis.record import Gear
from edgemon.errors import ParameterError, SettingsError
from edgemon.model.machine import Member, PlanetarySet
from edgemon.settings.check_train import FEWEST_TEETH, MOST_TEETH

PAIR = "Z1/Z2, for instance 23/67"
SET = "SUN/PLANET/RING/PLANETS[,FIXED[,INPUT]], for instance 18/27/72/3 or 18/27/72/3,ring,sun"


def pair_of(word: str) -> Gear:
    """Read a pair of gears. Raises `SettingsError` naming the option."""
    teeth = word.split("/")
    if len(teeth) != 2 or not all(one.isdecimal() for one in teeth):
        raise SettingsError(f"{word!r}", "--gear", PAIR)
    driving, driven = map(int, teeth)
    if not (FEWEST_TEETH <= driving <= MOST_TEETH and FEWEST_TEETH <= driven <= MOST_TEETH):
        raise SettingsError(f"{word!r}", "--gear", f"{FEWEST_TEETH} to {MOST_TEETH} teeth each; {PAIR}")
    return Gear(driving, driven)


def set_of(word: str) -> PlanetarySet:
    """Read a planetary set. Raises `SettingsError` naming the option."""
    teeth, *members = word.split(",")
    numbers = teeth.split("/")
    names = [str(member) for member in Member]
    if len(numbers) != 4 or not all(one.isdecimal() for one in numbers) or len(members) > 2 or not set(members) <= set(names):
        raise SettingsError(f"{word!r}", "--planetary", SET)
    sun, planet, ring, planets = map(int, numbers)
    fixed = Member(members[0]) if members else Member.RING
    usual = Member.RING if fixed is Member.SUN else Member.SUN
    found = PlanetarySet(sun, planet, ring, planets, fixed, Member(members[1]) if len(members) > 1 else usual)
    try:
        planetary_orders(found)
    except ParameterError as error:
        raise SettingsError(f"{word!r}: {error.what}", "--planetary", SET) from error
    if abs(misfit(found)) > SHIFTED or not have_room(found):
        what = f"{word!r}: planets of {planet} teeth do not fit between a sun of {sun} and a ring of {ring}"
        raise SettingsError(what, "--planetary", f"ring = sun + 2 planet = {sun + 2 * planet}")
    return found


def in_a_row(words: Iterable[tuple[str, str]]) -> tuple[tuple[Gear, ...], tuple[PlanetarySet, ...]]:
    """Give the stages, each driven by what the one before it drives.

    Parameters
    ----------
    words : iterable of (str, str)
        Option (`--gear` or `--planetary`) and what was said, in the order of the line.

    Raises
    ------
    SettingsError
        Naming the option.
    """
    gears: list[Gear] = []
    sets: list[PlanetarySet] = []
    order = 1.0
    for option, word in words:
        if option == "--gear":
            pair = replace(pair_of(word), order=order)
            gears.append(pair)
            order *= pair.teeth / pair.driven_teeth
        else:
            found = replace(set_of(word), order=order)
            sets.append(found)
            order = abs(planetary_orders(found).members[found.driven])
    return tuple(gears), tuple(sets)
