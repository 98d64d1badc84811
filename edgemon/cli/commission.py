"""`edgemon commission`: per point, what stands between it and being trusted, and who signed it off; the hand-over list."""

import argparse
import json
import sys
from dataclasses import asdict, replace

from edgemon.api.client import Daemon
from edgemon.cli.commission_words import handover, lines, sign_lines
from edgemon.cli.options import add_attach, add_reason, asked, done, plain, refused
from edgemon.errors import EdgemonError
from edgemon.model.commission import CommissionRow, CommissionView
from edgemon.model.signoff import REMARK_LONGEST, check
from edgemon.model.snapshot import GatewayView
from edgemon.model.text import clean


def add(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Register the command."""
    parser = commands.add_parser(
        "commission",
        help="per point, what stands between it and being trusted, and its sign-off; the hand-over list",
        description=__doc__,
        epilog="Each point: how many of its checks are done, then each that is open (-); with --all those that are done (+) "
        "and not needed (.), too. Simulated data counts for nothing but the proof of the alarm (`edgemon proof`). A sign-off "
        "holds for sensor, mounting and limits of the point as plant.toml has them then: what that says otherwise later "
        "withdraws it, and says so.",
    )
    add_attach(parser)
    parser.add_argument("--machine", metavar="ID", help="of one machine only")
    parser.add_argument("--all", action="store_true", help="what is done, too")
    shown = parser.add_mutually_exclusive_group()
    shown.add_argument("--json", action="store_true", help="for programs: one JSON object, always with everything")
    shown.add_argument("--handover", action="store_true", help="the hand-over list, to be printed and signed")
    parser.set_defaults(run=run)
    orders = parser.add_subparsers(title="orders, for an engineer", metavar="ORDER")
    says = "sign a point off: it is as plant.toml says; a remark must say why a check may be left open"
    sign = orders.add_parser("sign-off", help=says, description=says)
    add_attach(sign, is_below=True)
    sign.add_argument("target", metavar="MACHINE/POINT")
    sign.add_argument("--remark", metavar="TEXT", default="", help="stands on the hand-over list beside your name")
    sign.add_argument("--yes", action="store_true", help="do not ask: what is open is known")
    sign.set_defaults(run=run_sign)
    says = "take the sign-off of a point back"
    withdraw = orders.add_parser("withdraw", help=says, description=says)
    add_attach(withdraw, is_below=True)
    withdraw.add_argument("target", metavar="MACHINE/POINT")
    add_reason(withdraw)
    withdraw.set_defaults(run=run_withdraw)


def run(options: argparse.Namespace) -> int:
    """Ask, and print the table, the hand-over list or the document."""
    found, gateway = asked(options, _whole)
    if options.machine is not None:
        rows = tuple(row for row in found.rows if row.machine == options.machine)
        if not rows:
            raise EdgemonError(f"no such machine: {clean(options.machine, 63)}", "", "`edgemon status` names them")
        found = replace(found, rows=rows)
    if options.json:
        counts = {"complete": found.complete, "signed": found.signed, "points": len(found.rows)}
        names = {"site": gateway.site, "site_name": gateway.site_name, "gateway": gateway.gateway, "version": gateway.version}
        json.dump(names | plain(asdict(found)) | counts, sys.stdout, ensure_ascii=False, indent=2)
        print()
    else:
        print("\n".join(handover(found, gateway) if options.handover else lines(found, options.all)))
    return 0


async def _whole(daemon: Daemon) -> tuple[CommissionView, GatewayView]:
    return await daemon.commissioning(), (await daemon.snapshot()).gateway


def run_sign(options: argparse.Namespace) -> int:
    """Show how the point stands, ask, and sign it off."""
    if len(options.remark) > REMARK_LONGEST:
        raise EdgemonError(f"a remark has {REMARK_LONGEST} characters at most, not {len(options.remark)}")
    row = row_of(asked(options, Daemon.commissioning), options.target)
    left_open = check(row, options.remark)
    print("\n".join(sign_lines(row)))
    if not options.yes:
        unattended = "commission: nobody is there to answer; --yes says that what is open is known"
        if (code := refused(f"Sign {clean(options.target, 130)} off?", unattended, "nothing was signed")) is not None:
            return code
    order = (row.machine, row.point, options.remark, left_open)
    return done(asked(options, lambda daemon: daemon.sign_off(*order)), options.target)


def run_withdraw(options: argparse.Namespace) -> int:
    """Take a sign-off back."""
    machine, _, point = options.target.partition("/")
    return done(asked(options, lambda daemon: daemon.withdraw_sign_off(machine, point, options.reason)), options.target)


def row_of(found: CommissionView, target: str) -> CommissionRow:
    """Find a point that is named as `machine/point`. Raises `EdgemonError` where there is none such."""
    for row in found.rows:
        if f"{row.machine}/{row.point}" == target:
            return row
    raise EdgemonError(f"no such point: {clean(target, 130)}", "", "name it as MACHINE/POINT, as `edgemon commission` does")
