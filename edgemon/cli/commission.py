"""`edgemon commission`: per point, what stands between it and being trusted; what is missing first."""

import argparse
import json
import sys
from dataclasses import asdict, replace

from edgemon.api.client import Daemon
from edgemon.cli.options import add_attach, asked, plain
from edgemon.errors import EdgemonError
from edgemon.model.commission import CommissionRow, CommissionView, Stand
from edgemon.model.text import clean

_SIGNS = {Stand.OPEN: "-", Stand.DONE: "+", Stand.NOT_NEEDED: "."}


def add(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Register the command."""
    parser = commands.add_parser(
        "commission",
        help="per point, what stands between it and being trusted",
        description=__doc__,
        epilog="Each point: how many of its checks are done, then each that is open (-); with --all those that are done (+) "
        "and not needed (.), too. Simulated data counts for nothing but the proof of the alarm (`edgemon proof`).",
    )
    add_attach(parser)
    parser.add_argument("--machine", metavar="ID", help="of one machine only")
    parser.add_argument("--all", action="store_true", help="what is done, too")
    parser.add_argument("--json", action="store_true", help="for programs: one JSON object, always with everything")
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Ask, and print the table."""
    found = asked(options, Daemon.commissioning)
    if options.machine is not None:
        rows = tuple(row for row in found.rows if row.machine == options.machine)
        if not rows:
            raise EdgemonError(f"no such machine: {clean(options.machine, 63)}", "", "`edgemon status` names them")
        found = replace(found, rows=rows)
    if options.json:
        counts = {"complete": found.complete, "points": len(found.rows)}
        json.dump(plain(asdict(found)) | counts, sys.stdout, ensure_ascii=False, indent=2)
        print()
    else:
        print("\n".join(lines(found, options.all)))
    return 0


def lines(found: CommissionView, is_whole: bool) -> list[str]:
    """Write a line a point, and under it its checks; a summary above."""
    return [found.summary, *(line for row in found.rows for line in _point(row, is_whole))]


def _point(row: CommissionRow, is_whole: bool) -> list[str]:
    done = len(row.checks) - len(row.missing)
    head = f"{'-' if row.missing else '+'} {clean(row.machine, 63)}/{clean(row.point, 63)}: {done} of {len(row.checks)}"
    shown = [check for check in row.checks if is_whole or check.stand is Stand.OPEN]
    return [head, *(f"    {_SIGNS[one.stand]} {one.name}: {one.stand}, {clean(one.words, 300)}" for one in shown)]
