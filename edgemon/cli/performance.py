"""`edgemon performance`: how the alarms do over a period, beside the figures that the alarm standards ask for."""

import argparse
import asyncio
import json
import sys
from dataclasses import asdict
from pathlib import Path

from edgemon.api.client import Daemon
from edgemon.board.view.performance import lines
from edgemon.cli.gateways import Gateways, asked_of_all
from edgemon.cli.journal import add_file, is_asked, store_of
from edgemon.cli.options import add_several, plain
from edgemon.cli.report import TIMES_WORDS, read_time
from edgemon.clock import SystemClock
from edgemon.daemon.performing import performance_of
from edgemon.errors import SettingsError
from edgemon.model.instant import Instant, format_instant
from edgemon.model.performance import Performance
from edgemon.store.reader import SqliteReader

TIME_FIELDS = ("since", "until", "begin", "end")


def add(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Register the command."""
    parser = commands.add_parser(
        "performance",
        help="how the alarms do, beside the figures of the alarm standards",
        description=__doc__,
        epilog="Reads the store only, whether the daemon runs or not; with --attach, or --config again, the daemons "
        "are asked instead, and their figures stand beside each other. Counts what called the operator, by the time it was "
        "recorded, in bins of ten minutes, hours and days aligned to the clock (UTC); what a start of the gateway says again "
        "is left out. Targets are for one operator, by ISA-18.2-2016 and EEMUA 191 as told in secondary texts.",
    )
    add_several(parser)
    add_file(parser)
    parser.add_argument("--since", metavar="TIME", default="30d", help=f"begin of the period, default 30d: {TIMES_WORDS}")
    parser.add_argument("--until", metavar="TIME", help="end of the period, likewise; default now")
    parser.add_argument("--sim", action="store_true", help="of simulated data, which is otherwise left out")
    parser.add_argument("--json", action="store_true", help="for programs: one JSON object")
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Print the figures."""
    now = SystemClock().now()
    until = now if options.until is None else read_time(options.until, now, "--until")
    since = read_time(options.since, until, "--since")
    if since >= until:
        period = f"the period begins at {format_instant(since)} and ends at {format_instant(until)}"
        raise SettingsError(period, "--since", "an earlier begin")
    found, missing = _found(options, since, until)
    if options.json:
        json.dump(document(found), sys.stdout, ensure_ascii=False, indent=2)
        print()
    else:
        print("\n".join(lines(found)))
    return int(missing)


def _found(options: argparse.Namespace, since: Instant, until: Instant) -> tuple[Performance, bool]:
    """Give the figures, of the store or of the daemons that were named, and whether a gateway's are missing."""
    if not is_asked(options):
        return asyncio.run(_ask(store_of(options), since, until, options.sim)), False
    sim = options.sim or None  # what a gateway hears: one of simulated data has no other

    async def of_one(daemon: Daemon) -> tuple[Performance, bool]:
        return await daemon.performance(since, until, sim), False

    async def of_all(gateways: Gateways) -> tuple[Performance, bool]:
        return await gateways.several.performance(since, until, sim), bool(gateways.missing)

    return asked_of_all(options, of_one, of_all)


async def _ask(store: Path, since: Instant, until: Instant, sim: bool) -> Performance:
    reader = await SqliteReader.open(store)
    try:
        return await performance_of(reader, since, until, sim)
    finally:
        await reader.close()


def document(found: Performance) -> dict[str, object]:
    """Give the figures as plain JSON values, times as RFC 3339."""
    whole = plain(asdict(found))
    for one in (whole, *whole["floods"], *whole["stale"]):
        one |= {name: format_instant(one[name]) for name in TIME_FIELDS if isinstance(one.get(name), float)}
    return whole
