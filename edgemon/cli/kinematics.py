"""What a plant file's gears and motors will be heard at: planetary sets, gear pairs, induction motors; rows and their words."""

from collections.abc import Iterable
from typing import Any

from edgemon.diagnosis.frequencies import gear_rates, motor_rates
from edgemon.diagnosis.planetary import planetary_orders
from edgemon.errors import ParameterError
from edgemon.model.machine import GearPair, Machine, PlanetarySet
from edgemon.report.view.words import counted

Row = dict[str, Any]


def planetary_rows(machines: Iterable[Machine]) -> list[Row]:
    """Give the kinematics of every planetary set, in orders of its machine's shaft; the speed beside them where it is known."""
    return [_planetary(one, gears) for one in machines for gears in one.train.planetary]


def gear_rows(machines: Iterable[Machine]) -> list[Row]:
    """Give mesh, driven shaft, hunting tooth and assembly phase of every pair of gears, likewise."""
    return [_gears(one, pair) for one in machines for pair in one.train.gears]


def motor_rows(machines: Iterable[Machine]) -> list[Row]:
    """Give synchronous speed, slip, pole pass and twice supply frequency of motors whose speed, supply and poles are known.

    One that would turn faster than its field has no slip: it is left out.
    """
    return [row for one in machines if (row := _motor(one)) is not None]


def _planetary(machine: Machine, gears: PlanetarySet) -> Row:
    found = planetary_orders(gears)
    orders = {str(member): order for member, order in found.members.items()} | {
        "mesh": found.mesh,
        "planet pass": found.planet_pass,
        "sun tooth": found.sun_fault,
        "planet tooth": found.planet_fault,
        "ring tooth": found.ring_fault,
    }
    return {"machine": machine.id, "teeth": str(gears), "planets": gears.planets, "rpm": machine.rpm, "orders": orders}


def _gears(machine: Machine, pair: GearPair) -> Row:
    rates = gear_rates(pair.teeth, pair.driven_teeth, pair.order)
    orders = {
        "mesh": rates.mesh_hz,
        "driven shaft": rates.driven_hz,
        "hunting tooth": rates.hunting_hz,
        "assembly phase": rates.assembly_hz,
    }
    return {"machine": machine.id, "teeth": f"{pair.teeth}/{pair.driven_teeth}", "rpm": machine.rpm, "orders": orders}


def _motor(machine: Machine) -> Row | None:
    train = machine.train
    if machine.rpm is None or train.supply_hz is None or train.poles is None:
        return None
    try:
        rates = motor_rates(train.supply_hz, train.poles, machine.rpm / 60.0)
    except ParameterError:
        return None
    return {
        "machine": machine.id,
        "poles": train.poles,
        "supply_hz": train.supply_hz,
        "rpm": machine.rpm,
        "synchronous_rpm": 60.0 * rates.synchronous_hz,
        "slip": rates.slip,
        "pole_pass_hz": rates.pole_pass_hz,
        "twice_supply_hz": rates.twice_supply_hz,
    }


def told(row: Row) -> str:
    """Write a row of any kind: in Hz at nominal speed, else in orders."""
    if "poles" in row:
        return (
            f"{row['machine']}: motor of {row['poles']} poles at {row['supply_hz']:g} Hz: synchronous speed "
            f"{row['synchronous_rpm']:g} r/min, slip {100.0 * row['slip']:.3g} %, pole pass {row['pole_pass_hz']:.4g} Hz, "
            f"twice supply {row['twice_supply_hz']:g} Hz (at {row['rpm']:g} r/min)"
        )
    speed = 1.0 if row["rpm"] is None else row["rpm"] / 60.0
    values = ", ".join(f"{name} {speed * order:.4g}" for name, order in row["orders"].items())
    unit = "orders of the shaft" if row["rpm"] is None else f"Hz at {row['rpm']:g} r/min"
    what = f"planetary {row['teeth']} with {counted(row['planets'], 'planet')}" if "planets" in row else f"gears {row['teeth']}"
    return f"{row['machine']}: {what}: {values} ({unit})"
