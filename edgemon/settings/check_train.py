"""Doubts about `train`: gears, belt, blades and motor of a machine."""

import math

from edgemon.diagnosis.planetary import SHIFTED, fits_evenly, have_room, misfit
from edgemon.model.machine import PlanetarySet
from edgemon.settings.lines import KeyPath
from edgemon.settings.problem import Report
from edgemon.settings.train import BeltTable, GearTable, PlanetaryTable, TrainTable, set_of

FEWEST_TEETH, MOST_TEETH = 3, 2000
MOST_PLANETS = 24
SUPPLY_HZ = (10.0, 400.0)
"""What inverters and grids give; common practice, no source."""


def check_train(train: TrainTable, path: KeyPath, report: Report) -> None:
    """Doubt counts and sizes that no machine has."""
    if train.blades is not None and not 1 <= train.blades <= 500:
        report.error((*path, "blades"), f"must be 1 to 500, not {train.blades}", "blades or vanes of the wheel")
    if train.poles is not None and (train.poles < 2 or train.poles % 2):
        report.error(
            (*path, "poles"), f"must be an even number from 2 on, not {train.poles}", "2 at about 3000 r/min and 50 Hz"
        )
    low, high = SUPPLY_HZ
    if train.supply_hz is not None and not low <= train.supply_hz <= high:
        report.error((*path, "supply_hz"), f"must be {low:g} to {high:g}, not {train.supply_hz:g}", "50 or 60 on the grid")
    if train.poles is not None and train.supply_hz is None:
        report.warning((*path, "poles"), "are of no use without supply_hz", "add supply_hz = 50")
    if train.rotor_bars is not None and not 2 <= train.rotor_bars <= 500:
        report.error((*path, "rotor_bars"), f"must be 2 to 500, not {train.rotor_bars}", "bars of the motor's cage")
    if train.rotor_bars is not None and train.supply_hz is None:
        report.warning((*path, "rotor_bars"), "are of no use without supply_hz", "add supply_hz = 50")
    if train.belt is not None:
        _belt(train.belt, (*path, "belt"), report)
    for number, gear in enumerate(train.gear):
        _gear(gear, (*path, "gear", number), report)
    for number, planetary in enumerate(train.planetary):
        _planetary(planetary, (*path, "planetary", number), report)


def _belt(belt: BeltTable, path: KeyPath, report: Report) -> None:
    if belt.sheave_mm is None or belt.length_mm is None:
        report.error(path, "is not complete", "a belt needs sheave_mm and length_mm")
    elif belt.sheave_mm <= 0.0:
        report.error((*path, "sheave_mm"), f"must be above zero, not {belt.sheave_mm:g}", "pitch diameter of the sheave")
    elif belt.length_mm <= math.pi * belt.sheave_mm:
        report.error(
            (*path, "length_mm"),
            f"a belt of {belt.length_mm:g} mm does not reach round a sheave of {belt.sheave_mm:g} mm",
            f"above {math.pi * belt.sheave_mm:.0f}; are the two swapped?",
        )


def _gear(gear: GearTable, path: KeyPath, report: Report) -> None:
    for key in ("teeth", "driven_teeth"):
        count = getattr(gear, key)
        if count is None:
            _missing((*path, key), "a pair of gears needs teeth and driven_teeth", report)
        elif not FEWEST_TEETH <= count <= MOST_TEETH:
            report.error((*path, key), f"must be {FEWEST_TEETH} to {MOST_TEETH}, not {count}", "teeth of one gear")
    if gear.order <= 0.0:
        report.error((*path, "order"), f"must be above zero, not {gear.order:g}", "1 for a gear on the machine's own shaft")


def _missing(path: KeyPath, hint: str, report: Report) -> None:
    """Report a key that is not there; one whose value was no number is blamed already."""
    if not report.is_blamed(path):
        report.error(path, "is missing", hint)


def _planetary(table: PlanetaryTable, path: KeyPath, report: Report) -> None:
    """Doubt a set that cannot turn, or whose planets cannot be put in."""
    right = True
    for key, low, high in (
        ("sun", FEWEST_TEETH, MOST_TEETH),
        ("planet", FEWEST_TEETH, MOST_TEETH),
        ("ring", FEWEST_TEETH, MOST_TEETH),
        ("planets", 1, MOST_PLANETS),
    ):
        count = getattr(table, key)
        if count is None:
            _missing((*path, key), "a planetary set needs sun, planet, ring (teeth) and planets (how many)", report)
        elif not low <= count <= high:
            report.error((*path, key), f"must be {low} to {high}, not {count}", "teeth; of planets how many there are")
        right = right and count is not None and low <= count <= high
    if table.order <= 0.0:
        report.error((*path, "order"), f"must be above zero, not {table.order:g}", "1 where the input is the machine's shaft")
    if table.input == table.fixed:
        what = f"the {table.input} cannot be both fixed and input"
        report.error((*path, "input"), what, "the member that is driven from outside; the one left is the output")
    elif right and (gears := set_of(table)) is not None:
        _teeth_fit(gears, path, report)


def _teeth_fit(gears: PlanetarySet, path: KeyPath, report: Report) -> None:
    off, wanted = misfit(gears), gears.sun + 2 * gears.planet
    if abs(off) > SHIFTED:
        what = f"a ring of {gears.ring} teeth does not go round a sun of {gears.sun} and planets of {gears.planet}"
        report.error((*path, "ring"), what, f"sun + 2 planet = {wanted}, or up to {SHIFTED} teeth off with profile shift")
    elif off:
        what = f"{gears.ring} teeth are {abs(off)} {'more' if off > 0 else 'fewer'} than sun + 2 planet = {wanted}"
        report.warning((*path, "ring"), what, "possible with profile shift only: count again")
    if gears.even and not fits_evenly(gears):
        what = f"{gears.planets} planets cannot stand at equal distances: (sun + ring) / planets is {gears.sun + gears.ring} / "
        report.error((*path, "planets"), f"{what}{gears.planets}, not whole", "count again, or say even = false")
    elif abs(off) <= SHIFTED and not have_room(gears):
        what = f"{gears.planets} planets of {gears.planet} teeth have no room around a sun of {gears.sun}"
        report.error((*path, "planets"), what, "fewer planets, or smaller ones")
