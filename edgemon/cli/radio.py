"""`edgemon radio`: path loss and margin of a radio link before a sensor is mounted, or the margin of a measured one."""

import argparse
import json
from dataclasses import asdict, dataclass

from edgemon.cli.amounts import frequency, named, percent
from edgemon.errors import SettingsError
from edgemon.planning import margin, propagation

OPTIONS = {
    "distance_m": "--distance",
    "frequency_hz": "--frequency",
    "exponent": "--exponent",
    "power_loss": "--power-loss",
    "floors_db": "--floors",
    "bandwidth_hz": "--bandwidth",
    "noise_figure_db": "--noise-figure",
    "snr_db": "--snr",
    "sensitivity_dbm": "--sensitivity",
    "power_dbm": "--power",
    "gains_dbi": "--gain",
    "loss_db": "--distance",
    "rssi_dbm": "--rssi",
    "sigma_db": "--sigma",
    "coverage": "--coverage",
}


@dataclass(frozen=True, slots=True)
class Plan:
    """What is said of a link."""

    model: str
    """How the loss was found."""
    loss_db: float | None
    """None: the signal was measured."""
    free_space_db: float | None
    rssi_dbm: float
    sensitivity_dbm: float
    margin_db: float
    coverage: float | None
    shadowing_db: float
    """Zero where it was measured at its place."""
    left_db: float
    needed_db: float
    is_enough: bool
    rayleigh_outage: float
    """With what is left as the margin."""


def add(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Register the command."""
    parser = commands.add_parser(
        "radio",
        help="path loss and margin of a radio link, computed or from a measured signal strength",
        description=__doc__,
        epilog="Exponents and spreads (dB) of factories at 1300 MHz, from memory and unverified: in sight 1.6 and 5.8 in metal "
        "working, 1.8 and 6.0 paper and cereal, 2.0 and 3.0 textile and chemical; metal working obstructed 3.3 and 6.8. A "
        "computed link is a reason to measure, never a proof.",
    )
    parser.add_argument("--frequency", type=frequency, metavar="FREQUENCY", help="868MHz")
    parser.add_argument("--distance", type=float, metavar="M", help="from sensor to gateway, metre; 1 at least")
    parser.add_argument("--power", type=float, metavar="DBM", help="what the sensor sends with")
    parser.add_argument("--gain", type=float, nargs="+", metavar="DBI", help="of the antennas, added up; 0")
    model = parser.add_mutually_exclusive_group()
    exponent = "of log-distance loss; 2.2, the average of five factories at 1300 MHz (Rappaport 1989); 2 is free space"
    model.add_argument("--exponent", type=float, metavar="N", help=exponent)
    coefficient = "ITU-R P.1238 instead, its coefficient N: at 900 MHz offices 33, commercial buildings 20"
    model.add_argument("--power-loss", type=float, metavar="N", help=coefficient)
    parser.add_argument("--floors", type=float, metavar="DB", help="with --power-loss: loss of the floors between; 0")
    worst = "measured signal strength, dBm, instead of a computed one: the worst of 24 h, with doors and cranes in use"
    parser.add_argument("--rssi", type=float, metavar="DBM", help=worst)
    parser.add_argument("--sensitivity", type=float, metavar="DBM", help="of the receiver; or the three that follow")
    parser.add_argument("--bandwidth", type=frequency, metavar="FREQUENCY", help="125kHz")
    parser.add_argument("--noise-figure", type=float, metavar="DB", help="of the receiver")
    parser.add_argument("--snr", type=float, metavar="DB", help="signal over noise that the modulation needs; may be below 0")
    spread = f"spread of the loss from place to place; {margin.SIGMA_DB:g} (house choice, no source)"
    parser.add_argument("--sigma", type=float, metavar="DB", help=spread)
    reached = "share of places that are to be reached; 90 (house choice, no source)"
    parser.add_argument("--coverage", type=percent, metavar="PERCENT", help=reached)
    single = "a single fixed antenna: 20 dB are to be left instead of 10 (common practice, no source)"
    parser.add_argument("--single-antenna", action="store_true", help=single)
    parser.add_argument("--json", action="store_true", help="for programs: one JSON object")
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Print the plan."""
    with named(OPTIONS):
        found = plan(options)
    if options.json:
        print(json.dumps(asdict(found), ensure_ascii=False, indent=2))
    else:
        print("\n".join(lines(found)))
    return 0


def plan(options: argparse.Namespace) -> Plan:
    """Work it all out.

    Raises
    ------
    ParameterError
        A number is not possible.
    SettingsError
        An option is missing, or has no effect beside another.
    """
    sensitivity = _sensitivity(options)
    is_measured = options.rssi is not None
    model, loss, free, rssi = _measured(options) if is_measured else _computed(options)
    coverage, shadowing = (None, 0.0) if is_measured else _shadowing(options)
    found = margin.link_margin_db(rssi, sensitivity)
    verdict = margin.judge(found - shadowing, options.single_antenna)
    return Plan(
        model=model,
        loss_db=loss,
        free_space_db=free,
        rssi_dbm=rssi,
        sensitivity_dbm=sensitivity,
        margin_db=found,
        coverage=coverage,
        shadowing_db=shadowing,
        left_db=verdict.left_db,
        needed_db=verdict.needed_db,
        is_enough=verdict.is_enough,
        rayleigh_outage=margin.rayleigh_outage(verdict.left_db),
    )


def _shadowing(options: argparse.Namespace) -> tuple[float, float]:
    """Give the share of places to be reached, and the margin that takes."""
    sigma = margin.SIGMA_DB if options.sigma is None else options.sigma
    coverage = margin.COVERAGE if options.coverage is None else options.coverage
    return coverage, margin.shadowing_margin_db(sigma, coverage)


def _measured(options: argparse.Namespace) -> tuple[str, None, None, float]:
    for name in ("distance", "frequency", "power", "gain", "exponent", "power_loss", "floors", "sigma", "coverage"):
        if getattr(options, name) is not None:
            raise SettingsError("has no effect beside --rssi: the signal was measured", _option(name), "leave out one of them")
    return "measured", None, None, options.rssi


def _computed(options: argparse.Namespace) -> tuple[str, float, float, float]:
    for name in ("frequency", "distance", "power"):
        if getattr(options, name) is None:
            raise SettingsError("must be given", _option(name), "or --rssi, where the signal was measured")
    if options.floors is not None and options.power_loss is None:
        raise SettingsError("has no effect without --power-loss", "--floors")
    way = (options.distance, options.frequency)
    if options.power_loss is not None:
        model = f"ITU-R P.1238, N = {options.power_loss:g}"
        loss = propagation.indoor_loss_db(*way, options.power_loss, options.floors or 0.0)
    else:
        exponent = propagation.FACTORY_EXPONENT if options.exponent is None else options.exponent
        model = f"log-distance, exponent {exponent:g}"
        loss = propagation.log_distance_loss_db(*way, exponent)
    return model, loss, propagation.free_space_loss_db(*way), margin.received_dbm(options.power, sum(options.gain or ()), loss)


def _sensitivity(options: argparse.Namespace) -> float:
    """Give the receiver's sensitivity, as told or from its parts."""
    parts = ("bandwidth", "noise_figure", "snr")
    given = [name for name in parts if getattr(options, name) is not None]
    if options.sensitivity is not None:
        if given:
            raise SettingsError("has no effect beside --sensitivity", _option(given[0]), "leave out one of them")
        return float(options.sensitivity)
    for name in parts:
        if name not in given:
            missing = "--sensitivity" if not given else _option(name)
            raise SettingsError("must be given", missing, "--sensitivity, or all of --bandwidth, --noise-figure and --snr")
    return margin.receiver_sensitivity_dbm(options.bandwidth, options.noise_figure, options.snr)


def _option(name: str) -> str:
    return f"--{name.replace('_', '-')}"


def lines(found: Plan) -> list[str]:
    """Write the plan."""
    said = []
    if found.loss_db is not None and found.free_space_db is not None:
        said.append(f"path loss {found.loss_db:.1f} dB ({found.model}); in free space {found.free_space_db:.1f} dB")
    whose = "measured" if found.loss_db is None else "expected"
    said.append(
        f"signal {found.rssi_dbm:.1f} dBm {whose}, sensitivity {found.sensitivity_dbm:.1f} dBm: margin {found.margin_db:.1f} dB"
    )
    if found.coverage is None:
        said.append(
            "shadowing is in what was measured, if that was the worst of 24 h at the place itself, with doors and cranes in use"
        )
    else:
        where = f"at {100.0 * found.coverage:g} % of places"
        said.append(f"shadowing takes {found.shadowing_db:.1f} dB or less {where}: {found.left_db:.1f} dB left")
    said.append(f"fading without a line of sight (Rayleigh) takes more than that {_share(found.rayleigh_outage)} of the time")
    asked = f"{found.needed_db:g} dB are asked for (common practice, no source)"
    return [*said, f"{'enough' if found.is_enough else 'NOT ENOUGH'}: {found.left_db:.1f} dB left, {asked}"]


def _share(share: float) -> str:
    return f"{100.0 * share:.3g} %"
