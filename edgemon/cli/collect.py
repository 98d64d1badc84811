"""`edgemon collect`: have a sensor measure more often for a while, its battery cost said first; take it back; what is on."""

import argparse
import json
import sys
from dataclasses import asdict
from typing import Any

from edgemon.api.client import Daemon
from edgemon.cli.options import add_attach, add_reason, asked, done, duration, plain, refused
from edgemon.errors import EdgemonError
from edgemon.model.collection import CollectionView, Cost, how_to_command, on_already
from edgemon.model.instant import format_instant
from edgemon.model.snapshot import SensorView, Snapshot
from edgemon.model.text import clean

_TARGET = "the sensor, or a point that it watches: MACHINE/POINT"
_MEANS = "What is expected of the sensor (silence, lateness, completeness) stays its routine: nothing becomes stricter."


def add(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Register the command."""
    parser = commands.add_parser(
        "collect",
        help="have a sensor measure more often for a while, its battery cost said first; and back",
        description=__doc__,
        epilog=f"{_MEANS} Only sensors with fs_hz and samples in plant.toml are commanded. All of it stands in the journal.",
    )
    orders = parser.add_subparsers(title="orders", metavar="{start,stop,status}", required=True)
    start = orders.add_parser("start", help="measure more often (engineer)", description="measure more often for a while")
    add_attach(start)
    start.add_argument("target", metavar="POINT|SENSOR", help=_TARGET)
    start.add_argument("--every", type=duration, required=True, metavar="TIME", help="60s; shorter than its routine")
    start.add_argument("--for", dest="duration", type=duration, required=True, metavar="TIME", help="2h; 7 days (168h) at most")
    add_reason(start)
    start.add_argument("--yes", action="store_true", help="do not ask: what it costs is known")
    start.set_defaults(run=run_start)
    stop = orders.add_parser("stop", help="back to the routine now (engineer)", description="back to the routine now")
    add_attach(stop)
    stop.add_argument("target", metavar="POINT|SENSOR", help=_TARGET)
    add_reason(stop)
    stop.set_defaults(run=run_stop)
    status = orders.add_parser("status", help="what is commanded of each sensor", description="what is commanded now")
    add_attach(status)
    status.add_argument("--json", action="store_true", help="for programs: one JSON object")
    status.set_defaults(run=run_status)


def run_start(options: argparse.Namespace) -> int:
    """Say what it costs, ask, and order it."""
    cost = cost_in(asked(options, Daemon.snapshot), options.target, options.every, options.duration)
    print(f"cost: {cost}")
    if not options.yes:
        unattended = "collect: nobody is there to answer; --yes says that the cost is known"
        if (code := refused(f"Collect faster at {clean(options.target, 130)}?", unattended, "nothing was ordered")) is not None:
            return code
    order = (options.target, options.every, options.duration, options.reason)
    return done(asked(options, lambda daemon: daemon.start_collection(*order)), options.target)


def run_stop(options: argparse.Namespace) -> int:
    """Take a fast collection back."""
    return done(asked(options, lambda daemon: daemon.stop_collection(options.target, options.reason)), options.target)


def run_status(options: argparse.Namespace) -> int:
    """Say what is commanded of each sensor."""
    whole = asked(options, Daemon.snapshot)
    if options.json:
        json.dump(document(whole), sys.stdout, ensure_ascii=False, indent=2)
        print()
    else:
        print("\n".join(lines(whole)))
    return 0


def cost_in(whole: Snapshot, target: str, interval_s: float, duration_s: float) -> Cost:
    """Say what an order would cost, by what the daemon shows.

    Raises
    ------
    EdgemonError
        There is no such sensor or point, it is not commanded, or the daemon would refuse the order.
    """
    of_point = {f"{one.id}/{point.point}": point.sensor for one in whole.machines for point in one.points}
    is_point = "/" in target
    found = next((one for one in whole.sensors if one.id == (of_point.get(target) if is_point else target)), None)
    if found is None:
        raise EdgemonError(f"no such {'point' if is_point else 'sensor'}: {clean(target, 130)}")
    name = clean(found.id, 63)
    if not found.machine:
        raise EdgemonError(f"no point uses sensor {name}")
    if found.collection is None:
        raise EdgemonError(f"sensor {name} is not commanded", hint=how_to_command(name))
    if (fast := found.collection.fast) is not None:
        raise on_already(name, fast.until, clean(fast.by))
    return found.collection.cost(interval_s, duration_s)


def document(whole: Snapshot) -> dict[str, Any]:
    """Give what is commanded, for programs."""
    rows = [{"sensor": one.id, "collection": _plain(one.collection)} for one in whole.sensors]
    return {"sensors": rows}


def _plain(one: CollectionView | None) -> dict[str, Any] | None:
    return None if one is None else plain(asdict(one))


def lines(whole: Snapshot) -> list[str]:
    """Write a line a sensor."""
    said = [_line(one, one.collection) for one in whole.sensors if one.collection is not None]
    rest = len(whole.sensors) - len(said)
    fast = sum(one.collection is not None and one.collection.fast is not None for one in whole.sensors)
    return [*said, f"{fast} faster, {len(said)} commanded, {rest} not commanded (no fs_hz and samples in plant.toml)"]


def _line(sensor: SensorView, one: CollectionView) -> str:
    what = f"{one.samples} samples at {one.fs_hz:g} Hz of {', '.join(clean(axis, 20) for axis in one.axes)}"
    said = f"  {clean(sensor.id, 63)}: every {one.interval_s:g} s, {what}"
    if one.fast is None:
        return said
    fast = one.fast
    now = f"FAST every {fast.interval_s:g} s until {format_instant(fast.until)}, by {clean(fast.by)}: {clean(fast.reason, 500)}"
    return f"{said}; {now}"
