"""`edgemon shift`: the handover page, the shift log, and taking over."""

import argparse
import json
import sys
import textwrap
from dataclasses import asdict
from typing import TypeVar

from edgemon.api.client import Daemon
from edgemon.board.several import Several
from edgemon.board.view.whole import digests
from edgemon.cli.gateways import Gateways, asked_of_all
from edgemon.cli.options import add_several, done, plain, refused
from edgemon.errors import SettingsError
from edgemon.model.instant import format_instant
from edgemon.model.shift import HandoverView, LogKind
from edgemon.model.snapshot import Outcome
from edgemon.model.text import clean

T = TypeVar("T")
WIDTH = 80


def add(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Register the command."""
    parser = commands.add_parser(
        "shift",
        help="the handover page, the shift log, and taking over",
        description=__doc__,
        epilog="Without an order: prints the page. Handover is a talk between two people; the page is what they talk about.",
    )
    add_several(parser)
    parser.add_argument("--json", action="store_true", help="for programs: one JSON object")
    parser.set_defaults(run=run_page)
    orders = parser.add_subparsers(title="orders, for an operator", metavar="ORDER")
    note = orders.add_parser(
        "note", help="write into the shift log", description="write into the shift log; what is written stays"
    )
    add_several(note, is_below=True)
    note.add_argument("text", metavar="TEXT")
    note.add_argument("--machine", metavar="ID", default="", help="the machine it is about")
    note.add_argument("--sort", choices=[kind.value for kind in LogKind], default="observation", help="default: observation")
    note.add_argument("--corrects", metavar="SEQ", type=int, help="number of the journal entry that a correction is about")
    note.set_defaults(run=run_note)
    take = orders.add_parser("take", help="take over", description="print the page, and take over once you answer yes")
    add_several(take, is_below=True)
    take.add_argument("--note", metavar="TEXT", default="", help="stands in the journal with your name")
    take.add_argument("--yes", action="store_true", help="take over without being asked")
    take.set_defaults(run=run_take)


def run_page(options: argparse.Namespace) -> int:
    """Print the handover page."""
    page = _page(options)
    if options.json:
        json.dump(plain(asdict(page)), sys.stdout, ensure_ascii=False, indent=2)
        print()
    else:
        print("\n".join(lines(page)))
    return int(not all(digests(page.digest)))


def _page(options: argparse.Namespace) -> HandoverView:
    return asked_of_all(options, Daemon.handover, lambda gateways: gateways.several.handover())


def run_note(options: argparse.Namespace) -> int:
    """Write into the shift log."""
    sort = LogKind(options.sort)

    async def write(daemon: Daemon, machine: str) -> Outcome:
        return await daemon.write_log(options.text, sort, machine, options.corrects)

    async def of_all(gateways: Gateways) -> Outcome:
        if options.machine:
            return await gateways.order(options.machine, write)
        if options.corrects is not None:
            hint = "attach that gateway alone, or name a --machine of it"
            raise SettingsError("each gateway counts its own entries: which one is meant?", "--corrects", hint)
        return await gateways.several.write_log(options.text, sort)

    return done(asked_of_all(options, lambda daemon: write(daemon, options.machine), of_all), "shift log")


def run_take(options: argparse.Namespace) -> int:
    """Take over, having read the page."""
    page = _page(options)
    print("\n".join(lines(page)))
    if not options.yes:
        unattended = "shift: nobody is there to answer; --yes takes over without being asked"
        if (code := refused("Do you take over, having read this?", unattended, "not taken over")) is not None:
            return code

    async def take(site: Daemon | Several) -> Outcome:
        return await site.take_over(page.digest, options.note)

    return done(asked_of_all(options, take, lambda gateways: take(gateways.several)), "shift log")


def lines(page: HandoverView, width: int = WIDTH) -> list[str]:
    """Write the page, wrapped."""
    whom = f"taken over by {clean(page.taken_by)}" if page.taken_by else "nobody has taken over yet"
    text = [f"Handover  {format_instant(page.since)} to {format_instant(page.now)}", whom]
    for block in page.blocks:
        text += ["", block.title]
        for line in block.lines:
            text += textwrap.wrap(clean(line, 4000), width, initial_indent="  ", subsequent_indent="    ")
    return [*text, "", f"page {' '.join(one[:12] or 'missing' for one in digests(page.digest))}"]
