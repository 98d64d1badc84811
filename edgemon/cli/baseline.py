"""`edgemon baseline`: what levels usually are, as learnt; proposals to approve, and what follows for the alert limits."""

import argparse
import json
import sys
from collections.abc import Sequence
from dataclasses import asdict

from edgemon.api.client import Daemon
from edgemon.cli.options import add_attach, add_reason, asked, plain
from edgemon.errors import EdgemonError
from edgemon.model.instant import format_instant
from edgemon.model.outlook import BaselineView
from edgemon.model.snapshot import Outcome
from edgemon.units import spelt

ORDERS = {
    "approve": "make a proposed baseline the measure; the alert limit that follows from it is in force at once",
    "retire": "take a baseline out of use, as after a repair, or turn a proposal down; it is learnt anew from then on",
    "propose": "learn from what there is (8 fit values at least) and propose it",
}


def add(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Register the command."""
    parser = commands.add_parser(
        "baseline",
        help="baselines: learnt, proposed, approved; and the limits that follow",
        description=__doc__,
        epilog="Without an order: lists every baseline. An approved one moves the alert limit where that comes from a severity "
        "class with zones: baseline + 25 % of B/C, at most 1.25 x B/C (ISO 20816-3). Limits of the plant file stay.",
    )
    add_attach(parser)
    parser.add_argument("--json", action="store_true", help="for programs: a list of JSON objects")
    parser.set_defaults(run=run_list)
    orders = parser.add_subparsers(title="orders, for an engineer", metavar="ORDER")
    for name, says in ORDERS.items():
        order = orders.add_parser(name, help=says, description=says)
        add_attach(order, is_below=True)
        order.add_argument("machine", metavar="MACHINE")
        order.add_argument("point", metavar="POINT")
        order.add_argument("level", metavar="LEVEL", help="as velocity_rms")
        add_reason(order)
        order.set_defaults(run=run_order, order=name)


def run_list(options: argparse.Namespace) -> int:
    """List every baseline."""
    found = asked(options, Daemon.baselines)
    if options.json:
        json.dump([plain(asdict(one)) for one in found], sys.stdout, ensure_ascii=False, indent=2)
        print()
    else:
        print("\n".join(lines(found)))
    return 0


def run_order(options: argparse.Namespace) -> int:
    """Propose, approve or retire."""
    if not options.reason.strip():
        print("edgemon baseline: --reason is empty: say why, in a few words", file=sys.stderr)
        return 2
    outcome = asked(options, lambda daemon: _order(daemon, options))
    if not outcome.done:
        raise EdgemonError(outcome.why, f"{options.machine}/{options.point} {options.level}")
    print(outcome.why)
    return 0


async def _order(daemon: Daemon, options: argparse.Namespace) -> Outcome:
    """Give the order; an approval names the proposal that stands there now, so that no other one is approved."""
    where = (options.machine, options.point, options.level)
    proposed_at = None
    if options.order == "approve":
        known = {(one.machine, one.point, one.level): one for one in await daemon.baselines()}
        proposed_at = known[where].proposed_at if where in known else None
        if where in known and known[where].doubt:
            print(f"edgemon: note: {known[where].doubt}", file=sys.stderr)
    return await daemon.order_baseline(options.order, *where, options.reason, proposed_at)


def lines(found: Sequence[BaselineView]) -> list[str]:
    """Write one line a level, and the reason under it where there is one."""
    if not found:
        return ["no baselines: none is learnt by itself where no alert limit comes from a severity class with zones"]
    text: list[str] = []
    for one in found:
        text.append(_line(one))
        text += [f"    {said}" for said in (one.note, one.doubt) if said]
    return text


def _line(one: BaselineView) -> str:
    head = f"{one.machine}/{one.point} {one.title}: {one.state}"
    sim = "  SIMULATED" if one.sim else ""
    if one.state == "learning":
        again = f" since {format_instant(one.retired_at)} ({one.retired_because})" if one.retired_at is not None else ""
        return f"{head}, {one.count} of {one.wanted} values{again}{sim}"
    speed = "speed not known" if one.rpm is None else f"{one.rpm:.0f} r/min"
    value = f"{one.baseline:.3g} {spelt(one.unit)}".rstrip()
    head += f", {value} (mean {one.mean:.3g}, spread {one.spread:.2g}, {one.count} values, {speed})"
    if one.state == "approved" and one.approved_at is not None:
        head += f" by {one.approved_by} on {format_instant(one.approved_at)[:10]}"
    if one.state == "retired" and one.retired_at is not None:
        head += f" by {one.retired_by} on {format_instant(one.retired_at)[:10]}: {one.retired_because}"
    if one.alert is not None:
        head += f"; alert {one.alert:.4g}"
        would_move = one.state == "proposed" and one.alert_follows is not None
        head += f", if approved {one.alert_follows:.4g}" if would_move else ""
    return head + sim
