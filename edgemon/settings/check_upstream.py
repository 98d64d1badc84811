"""Doubts about `[[upstream]]` of the gateway file."""

from pathlib import Path
from urllib.parse import urlsplit

from edgemon.model.ids import is_identifier
from edgemon.model.instant import Duration
from edgemon.settings.address import DATABASE, PORT_UPSTREAM, Address, AddressError, read_address
from edgemon.settings.check_server import Disk, check_login, check_tls
from edgemon.settings.lines import KeyPath
from edgemon.settings.problem import Report
from edgemon.settings.schema import GatewayFile, UpstreamTable

LARGEST_BATCH = 10_000
_INTO = {
    "mqtt": ("levels of a topic with / between them", 'into = "edgemon/v1/upstream"'),
    "postgresql": ("the name of a schema: a-z, 0-9 and _", 'into = "edgemon"'),
    "nats": ("the name of a stream: letters, digits, - and _", 'into = "EDGEMON"'),
}
OVERLAP_S: Duration = 60.0
"""Where a database has several servers and nothing is said. House choice: standbys are seldom further behind."""
LONGEST_OVERLAP_S: Duration = 86_400.0


def check_upstreams(file: GatewayFile, directory: Path, disk: Disk, report: Report) -> None:
    """Report everything in the upstreams that an engineer would doubt."""
    if not report.is_blamed(("gateway", "id")) and (file.gateway.id or file.upstream) and not is_identifier(file.gateway.id):
        lacking = "the gateway needs a name of its own where there is an upstream: it is part of every key"
        what = "is no identifier" if file.gateway.id else lacking
        report.error(("gateway", "id"), what, 'a-z, 0-9, - and _: id = "gateway-1"')
    seen: dict[str, KeyPath] = {}
    for number, table in enumerate(file.upstream):
        path: KeyPath = ("upstream", number)
        if not is_identifier(table.name):
            report.error((*path, "name"), "is missing, or no identifier", 'a-z, 0-9, - and _: name = "historian"')
        elif table.name in seen:
            first = report.line(seen[table.name])
            report.error((*path, "name"), f'"{table.name}" is there twice', f"the other is in line {first}")
        seen.setdefault(table.name, path)
        _upstream(table, path, directory, disk, report)


def kind_of(scheme: str) -> str:
    """Give the protocol that a scheme stands for."""
    return {"mqtts": "mqtt", "tls": "nats"}.get(scheme, scheme)


def overlap_of(table: UpstreamTable) -> Duration:
    """Give how far a cursor stays behind what was confirmed."""
    if table.overlap_s is not None:
        return table.overlap_s
    return OVERLAP_S if len(table.url) > 1 and table.url[0].startswith(f"{DATABASE}:") else 0.0


def _upstream(table: UpstreamTable, path: KeyPath, directory: Path, disk: Disk, report: Report) -> None:
    addresses = _addresses(table, path, report)
    check_login(table, path, True, directory, disk, report)
    worst = next((one for one in addresses if not one.tls), addresses[0] if addresses else None)
    check_tls(table, path, worst, directory, disk, report)
    if not table.what:
        report.error((*path, "what"), "is empty: nothing would be sent", 'what = ["readings", "journal"]')
    if len(set(table.what)) != len(table.what):
        report.error((*path, "what"), "names something twice", "each once")
    if addresses and table.into:
        _into(table.into, kind_of(addresses[0].scheme), path, report)
    if addresses:
        _overlap(table, kind_of(addresses[0].scheme), path, report)
        if table.pooled and kind_of(addresses[0].scheme) != DATABASE:
            report.error((*path, "pooled"), "only before a database is a pooler", "leave it out")
    if table.per_second <= 0.0:
        report.error((*path, "per_second"), f"must be above zero, not {table.per_second:g}", "items a second, usually 1000")
    if not 1 <= table.batch <= LARGEST_BATCH:
        report.error((*path, "batch"), f"must be 1 to {LARGEST_BATCH}, not {table.batch}", "items, usually 200")


def _addresses(table: UpstreamTable, path: KeyPath, report: Report) -> list[Address]:
    where = (*path, "url")
    if report.is_blamed(where):
        return []
    found = []
    for url in table.url:
        try:
            found.append(read_address(url, PORT_UPSTREAM))
        except AddressError as error:
            report.error(where, error.what, error.hint)
            return []
    if not found:
        report.error(where, "is missing", 'for example url = "postgresql://127.0.0.1/plant"')
        return []
    kinds = {kind_of(one.scheme) for one in found}
    if len(kinds) > 1 or len({one.tls for one in found}) > 1:
        report.error(where, "the addresses are of different kinds", "one upstream is one server, or the members of one cluster")
        return []
    if len(found) > 1 and kinds == {"mqtt"}:
        what = "a broker has one address; a database and a cluster of streams may have several"
        report.error(where, what, "one [[upstream]] for each broker")
        return []
    if len({(one.host, one.port) for one in found}) < len(found):
        report.error(where, "an address is there twice", "each server once")
        return []
    databases = {urlsplit(url).path.strip("/") for url in table.url}
    if kinds == {DATABASE} and len(databases) > 1:
        what = f"the addresses name different databases: {', '.join(sorted(databases))}"
        report.error(
            where, what, "the servers of one database, of which one can be written to; one [[upstream]] for each database"
        )
        return []
    return found


def _overlap(table: UpstreamTable, kind: str, path: KeyPath, report: Report) -> None:
    where = (*path, "overlap_s")
    if table.overlap_s is not None and kind != DATABASE:
        report.error(where, "only a database can have lost what it confirmed", "leave it out")
    elif not 0.0 <= overlap_of(table) <= LONGEST_OVERLAP_S:
        report.error(where, f"must be 0 to {LONGEST_OVERLAP_S:g}, not {table.overlap_s:g}", "seconds, usually 60")
    elif table.newest_first and overlap_of(table) > 0.0:
        what = "nothing can be held back where the newest overtakes what waits"
        where = (*path, "newest_first" if table.overlap_s is None else "overlap_s")
        report.error(where, what, "overlap_s = 0 where a standby confirms (synchronous_standby_names), or newest_first = false")


def _into(into: str, kind: str, path: KeyPath, report: Report) -> None:
    words, example = _INTO[kind]
    match kind:
        case "mqtt":
            is_right = all(into.split("/")) and not any(mark in into for mark in "+#\0") and not into.startswith("$")
        case "postgresql":
            is_right = into.replace("_", "").isalnum() and into.isascii() and into == into.lower() and not into[0].isdigit()
        case _:
            is_right = into.replace("_", "").replace("-", "").isalnum() and into.isascii()
    if not is_right:
        report.error((*path, "into"), f"must be {words}", example)
