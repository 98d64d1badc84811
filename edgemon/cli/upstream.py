"""`edgemon upstream`: how far each upstream is, what its server refused, and trying that once more."""

import argparse
import json
from dataclasses import asdict
from typing import Any

from edgemon.api.client import Daemon
from edgemon.api.roles import person_here
from edgemon.cli.journal import add_source, store_of
from edgemon.cli.options import add_attach, add_config, asked, plain
from edgemon.cli.status import upstream_line
from edgemon.clock import SystemClock
from edgemon.errors import SettingsError
from edgemon.model.instant import format_instant
from edgemon.model.text import clean
from edgemon.model.upstream import Parked, UpstreamKind
from edgemon.settings.load import load_all
from edgemon.store.outbox import parked_in, try_again
from edgemon.upstream.sql import DEFAULT_ROLE, for_administrator

LONGEST_WHY = 300
"""What a server says against a row, its rule's name with it."""


def add(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Register the command."""
    parser = commands.add_parser(
        "upstream",
        help="how the upstreams stand, what they refused, and trying that once more",
        description=__doc__,
        epilog="A row that a server refuses stands aside, so that it does not hold up the others; nothing drops it.",
    )
    add_attach(parser)
    parser.add_argument("--json", action="store_true", help="for programs: one JSON object an upstream")
    parser.set_defaults(run=run_list, file=None)
    orders = parser.add_subparsers(metavar="ORDER", title="orders")
    says = "list what servers refused, with the reason"
    parked = orders.add_parser("parked", help=says, description=f"{says.capitalize()}; whether the daemon runs or not.")
    add_source(parked, is_below=True)
    parked.add_argument("name", nargs="?", metavar="NAME", help="of one upstream only")
    parked.add_argument("--json", action="store_true", help="for programs: one JSON object a line, with what was refused")
    parked.set_defaults(run=run_parked)
    says = "try what was refused once more, after its cause is mended"
    does = "the daemon does so within a second, the journal says who told it"
    retry = orders.add_parser("retry", help=says, description=f"{says.capitalize()}; {does}.")
    add_source(retry, is_below=True)
    retry.add_argument("name", nargs="?", metavar="NAME", help="of one upstream only")
    retry.set_defaults(run=run_retry)
    says = "print the SQL for an administrator of a database where the gateway may not make its tables itself"
    tables = orders.add_parser("sql", help=says, description=f"{says.capitalize()}.")
    add_config(tables, is_below=True)
    tables.add_argument("name", metavar="NAME", help="the upstream")
    tables.set_defaults(run=run_sql)


def run_list(options: argparse.Namespace) -> int:
    """Print how each stands."""
    gateway = asked(options, Daemon.snapshot).gateway
    for one in gateway.upstreams:
        document = plain({**asdict(one), "gateway": gateway.gateway})
        print(json.dumps(document, ensure_ascii=False) if options.json else upstream_line(one, gateway.now))
    if not gateway.upstreams and not options.json:
        print("no upstream in gateway.toml")
    return 0


def run_parked(options: argparse.Namespace) -> int:
    """Print what was refused."""
    for one in parked_in(store_of(options), options.name):
        print(json.dumps(_document(one), ensure_ascii=False) if options.json else _line(one))
    return 0


def run_retry(options: argparse.Namespace) -> int:
    """Have it tried once more."""
    count = try_again(store_of(options), person_here(), SystemClock().now(), options.name)
    print(f"{count} to be tried once more")
    return 0


def run_sql(options: argparse.Namespace) -> int:
    """Print the SQL."""
    of_kind = {one.name: one for one in load_all(options.config)[1].upstreams if one.kind is UpstreamKind.POSTGRESQL}
    if options.name not in of_kind:
        known = ", ".join(of_kind) or "there is none"
        raise SettingsError(f"no PostgreSQL upstream is called {clean(options.name)}", "upstream", f"known: {known}")
    one = of_kind[options.name]
    print(for_administrator(one.into, one.server.username or DEFAULT_ROLE), end="")
    return 0


def _line(parked: Parked) -> str:
    again = ", to be tried once more" if parked.again else ""
    return f"{format_instant(parked.parked_at)}  {parked.upstream}  {parked.item.key}: {clean(parked.why, LONGEST_WHY)}{again}"


def _document(parked: Parked) -> dict[str, Any]:
    item = parked.item
    return {
        "upstream": parked.upstream,
        "key": item.key,
        "what": item.source,
        "t": format_instant(item.t),
        "parked_at": format_instant(parked.parked_at),
        "why": clean(parked.why, LONGEST_WHY),
        "again": parked.again,
        "item": json.loads(item.body),
    }
