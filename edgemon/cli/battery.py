"""`edgemon battery`: how long a battery lasts at which interval of captures, and what a capture costs; before it is mounted."""

import argparse
import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from edgemon.cli.amounts import capacity, current, daily, named, percent, pulse
from edgemon.cli.options import duration
from edgemon.model.text import clean
from edgemon.planning.battery import (
    SELF_DISCHARGE_PER_YEAR,
    USABLE_SHARE,
    VOLTAGE_V,
    YEAR_H,
    Battery,
    Drain,
    Row,
    captures_per_percent,
    rows,
)
from edgemon.planning.cells import drain_caveat
from edgemon.settings.load import PLANT_FILE, load_plant
from edgemon.units import from_si

INTERVALS_S = (600.0, 3600.0, 7200.0, 28_800.0, 86_400.0)
OPTIONS = {
    "sleep_a": "--sleep",
    "capture": "--capture",
    "current_a": "--capture",
    "times_per_day": "--also",
    "capacity_ah": "--capacity",
    "usable_share": "--usable",
    "self_discharge_per_year": "--self-discharge",
    "voltage_v": "--voltage",
    "interval_s": "--every",
    "average_a": "--sleep",
}
CAVEATS = (
    "voltage is no fuel gauge: flat while the cell discharges, falling with cold and with current; count charge instead",
    "cold takes voltage and capacity; after hot storage the voltage comes late at the first pulse",
    "beyond ten years the age of cell and electronics decides, not the charge (common practice, no source)",
)


@dataclass(frozen=True, slots=True)
class Plan:
    """What is said of a battery."""

    energy_j: float
    charge_c: float
    captures_per_percent: float
    intervals: tuple[Row, ...]
    caveats: tuple[str, ...]


def add(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Register the command."""
    parser = commands.add_parser(
        "battery",
        help="how long a battery lasts at which interval of captures, before a sensor is mounted",
        description=__doc__,
        epilog="The figures come from the data sheet or a measurement of the sensor. Currents are above the sleep current. An "
        "estimate for choosing an interval, not a promise: the caveats below it belong to it.",
    )
    parser.add_argument("--sleep", type=current, required=True, metavar="CURRENT", help="sleep current: 5uA")
    captures = "what a capture draws, and how long: 15mA:2s; again for each part, as measuring and sending"
    parser.add_argument("--capture", type=pulse, action="append", required=True, metavar="CURRENT:TIME", help=captures)
    also = "what happens beside captures so many times a day: 10mA:0.1s:144; may be given again"
    parser.add_argument("--also", type=daily, action="append", default=[], metavar="CURRENT:TIME:TIMES", help=also)
    parser.add_argument("--capacity", type=capacity, required=True, metavar="CAPACITY", help="rated capacity: 2.4Ah")
    usable = "share of it that is counted on; 80 (house choice, no source)"
    parser.add_argument("--usable", type=percent, default=USABLE_SHARE, metavar="PERCENT", help=usable)
    lost = "self-discharge a year; 1, which lithium thionyl chloride stays below at room temperature"
    parser.add_argument("--self-discharge", type=percent, default=SELF_DISCHARGE_PER_YEAR, metavar="PERCENT", help=lost)
    parser.add_argument(
        "--voltage", type=float, default=VOLTAGE_V, metavar="V", help=f"for the energy of a capture; {VOLTAGE_V}"
    )
    every = "intervals of captures; 10min 1h 2h 8h 24h"
    parser.add_argument("--every", type=duration, nargs="+", default=INTERVALS_S, metavar="TIME", help=every)
    parser.add_argument(
        "--config", type=Path, metavar="DIR", help="folder with plant.toml: each of its sensors at its interval too"
    )
    parser.add_argument("--json", action="store_true", help="for programs: one JSON object, SI units but for those named")
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Print the plan."""
    with named(OPTIONS):
        battery = Battery(options.capacity, options.usable, options.self_discharge)
        drain = Drain(options.sleep, tuple(options.capture), tuple(options.also))
        found = plan(battery, drain, options.voltage, options.every)
    sensors = {} if options.config is None else of_sensors(options.config / PLANT_FILE, battery, drain)
    if options.json:
        print(json.dumps(document(battery, found, sensors), ensure_ascii=False, indent=2))
    else:
        print("\n".join(lines(battery, found, sensors)))
    return 0


def of_sensors(file: Path, battery: Battery, drain: Drain) -> dict[str, Row]:
    """Give what the interval of each sensor of a plant file leads to. Raises `SettingsError` where it cannot be used."""
    sensors = load_plant(file).sensors
    with named({"interval_s": str(file)}):
        return dict(zip(sensors, rows(battery, drain, (one.interval_s for one in sensors.values())), strict=True))


def plan(battery: Battery, drain: Drain, voltage_v: float, intervals_s: Sequence[float]) -> Plan:
    """Work it all out. Raises `ParameterError` where a number is not possible."""
    found = rows(battery, drain, intervals_s)
    averages = [one.average_a for one in found if one.average_a is not None]
    peak = max(one.current_a for one in (*drain.capture, *(each.pulse for each in drain.daily)))
    curve = (drain_caveat(averages, peak),) if averages else ()
    return Plan(
        energy_j=drain.energy_j_per_capture(voltage_v),
        charge_c=drain.charge_c_per_capture,
        captures_per_percent=captures_per_percent(battery, drain),
        intervals=found,
        caveats=(*CAVEATS, *curve),
    )


def document(battery: Battery, found: Plan, sensors: Mapping[str, Row]) -> dict[str, Any]:
    """Give the plan for programs."""
    return {
        "battery": asdict(battery),
        "energy_j_per_capture": found.energy_j,
        "charge_c_per_capture": found.charge_c,
        "captures_per_percent": found.captures_per_percent,
        "intervals": [asdict(one) for one in found.intervals],
        "sensors": [{"sensor": name, **asdict(one)} for name, one in sensors.items()],
        "caveats": list(found.caveats),
    }


def lines(battery: Battery, found: Plan, sensors: Mapping[str, Row]) -> list[str]:
    """Write the plan."""
    counted = f"{100.0 * battery.usable_share:g} % of {battery.capacity_ah:g} Ah"
    charge_mah = from_si(from_si(found.charge_c, "h"), "mA")
    said = [
        f"counted on: {counted}, self-discharge {100.0 * battery.self_discharge_per_year:g} % a year of the rated capacity",
        f"a capture: {found.energy_j * 1e3:.4g} mJ, {charge_mah:.4g} mAh above the sleep current",
        f"for plant.toml: captures_per_percent = {shown(found.captures_per_percent)}",
        "",
        f"{'every':>10}  {'captures a day':>14}  {'average':>10}  {'of it asleep':>12}  {'life':>12}",
        *(_line(one) for one in found.intervals),
    ]
    if sensors:
        said += ["", "each sensor at the interval of plant.toml:"]
        said += [f"{_line(one)}  {clean(name, 63)}" for name, one in sensors.items()]
    return [*said, "", *(f"caveat: {one}" for one in found.caveats)]


def shown(captures: float) -> str:
    """Write a number of captures for a plant file: four digits, never rounded to none."""
    return f"{captures:.0f}" if captures >= 1000.0 else f"{captures:.4g}"


def _line(one: Row) -> str:
    head = f"{_interval(one.interval_s):>10}  {one.captures_per_day:>14.6g}"
    if one.average_a is None or one.sleep_share is None or one.life_years is None:
        return f"{head}  too often: a capture takes longer"
    unit = "uA" if one.average_a < 1e-3 else "mA"
    average = f"{from_si(one.average_a, unit):.4g} {unit}"
    life = f"{one.life_years:.1f} years" if one.life_years >= 1.0 else f"{one.life_years * YEAR_H / 24.0:.3g} days"
    return f"{head}  {average:>10}  {100.0 * one.sleep_share:>10.1f} %  {life:>12}"


def _interval(seconds: float) -> str:
    for name, unit in (("h", 3600.0), ("min", 60.0)):
        if seconds >= unit and seconds % unit == 0.0:
            return f"{seconds / unit:g} {name}"
    return f"{seconds:g} s"
