"""`edgemon proof`: for a limited time simulated alarms call like real ones, marked as a test; and what is proven by it."""

import argparse
import json
import sys
from dataclasses import asdict

from edgemon.api.client import Daemon
from edgemon.cli.options import add_attach, add_reason, asked, done, duration, plain, refused
from edgemon.model.ids import AreaId, MachineId, PointId
from edgemon.model.instant import format_instant
from edgemon.model.proof import CAUTION, ProofReport, ProofRow, Scope
from edgemon.model.text import clean

_ORDERS = "{start,stop,status}"


def add(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Register the command."""
    parser = commands.add_parser(
        "proof",
        help="prove alarms through the real path, announced and marked as a test; what is proven",
        description=__doc__,
        epilog=f"{CAUTION} Who began and ended a proof, what was raised and who took it stands in the journal.",
    )
    orders = parser.add_subparsers(title="orders", metavar=_ORDERS, required=True)
    _add_start(orders)
    stop = orders.add_parser("stop", help="end the proof that is on (engineer)", description="end the proof that is on")
    add_attach(stop)
    add_reason(stop)
    stop.set_defaults(run=run_stop)
    status = orders.add_parser("status", help="what is on, and what each point has proven", description="from the journal")
    add_attach(status)
    status.add_argument("--json", action="store_true", help="for programs: one JSON object")
    status.set_defaults(run=run_status)


def _add_start(orders: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    start = orders.add_parser(
        "start",
        help="announce a proof (engineer)",
        description="announce a proof: seconds later simulated data of its points calls like real alarms, marked as a test",
        epilog=CAUTION,
    )
    add_attach(start)
    what = start.add_mutually_exclusive_group(required=True)
    what.add_argument("--point", metavar="MACHINE/POINT", type=point_of, help="of one point")
    what.add_argument("--machine", metavar="ID", help="of one machine")
    what.add_argument("--area", metavar="ID", help="of an area")
    what.add_argument("--plant", action="store_true", help="of the whole plant")
    start.add_argument("--for", dest="duration", type=duration, required=True, metavar="TIME", help="30m, 2h; 8h at most")
    add_reason(start)
    start.add_argument("--yes", action="store_true", help="the control room has been told: do not ask")
    start.set_defaults(run=run_start)


def point_of(text: str) -> tuple[str, str]:
    """Read `machine/point`."""
    machine, _, point = text.partition("/")
    if not machine or not point:
        raise argparse.ArgumentTypeError(f"not a point: {text!r}; write MACHINE/POINT, as the board and `status` name it")
    return machine, point


def scope_of(options: argparse.Namespace) -> Scope:
    """Give what the options mean."""
    if options.point is not None:
        return Scope(machine=MachineId(options.point[0]), point=PointId(options.point[1]))
    if options.machine is not None:
        return Scope(machine=MachineId(options.machine))
    return Scope() if options.area is None else Scope(area=AreaId(options.area))


def run_start(options: argparse.Namespace) -> int:
    """Ask whether the control room was told, and announce a proof."""
    scope = scope_of(options)
    if not options.yes:
        print(CAUTION)
        question = f"Has the control room been told of a proof of {clean(str(scope), 200)}?"
        unattended = "proof: nobody is there to answer; --yes says that the control room was told"
        if (code := refused(question, unattended, "nothing was begun")) is not None:
            return code
    return done(asked(options, lambda daemon: daemon.start_proof(scope, options.duration, options.reason)), str(scope))


def run_stop(options: argparse.Namespace) -> int:
    """End the proof that is on."""
    return done(asked(options, lambda daemon: daemon.stop_proof(options.reason)), "proof")


def run_status(options: argparse.Namespace) -> int:
    """Say what is on and what is proven."""
    report = asked(options, Daemon.proof)
    if options.json:
        json.dump(plain(asdict(report)), sys.stdout, ensure_ascii=False, indent=2)
        print()
    else:
        print("\n".join(lines(report)))
    return 0


def lines(report: ProofReport) -> list[str]:
    """Write what is on, and a line a point."""
    on = report.on
    said = ["no proof is on"]
    if on is not None:
        whose = f"begun by {clean(on.by)}: {clean(on.reason, 500)}"
        said = [f"PROOF of {clean(on.scope, 200)} until {format_instant(on.until)}, {whose}"]
    if on is not None and not on.is_open:
        said.append(f"announced; simulated alarms call from {format_instant(on.calls_from)} on")
    proven = sum(not row.lacks for row in report.rows)
    return [*said, *map(_line, report.rows), f"{proven} of {len(report.rows)} points proven"]


def _line(row: ProofRow) -> str:
    name = f"{clean(row.machine, 63)}/{clean(row.point, 63)}"
    if row.shown is None or row.lacks:
        return f"  open    {name}: {'; '.join(row.lacks)}"
    when = "" if row.proven_at is None else format_instant(row.proven_at)
    return f"  proven  {name}: {when} {clean(row.shown.people, 200)}"
