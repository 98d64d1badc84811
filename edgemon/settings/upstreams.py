"""`[[upstream]]` to model values."""

from collections.abc import Iterable, Mapping
from pathlib import Path

from edgemon.model.secret import Secret
from edgemon.model.upstream import Server, Source, Upstream, UpstreamKind
from edgemon.settings.address import PORT_UPSTREAM, read_address
from edgemon.settings.check_upstream import kind_of, overlap_of
from edgemon.settings.schema import UpstreamTable

INTO = {UpstreamKind.MQTT: "edgemon/v1/upstream", UpstreamKind.POSTGRESQL: "edgemon", UpstreamKind.NATS: "EDGEMON"}
"""Where things go where nothing is said."""


def upstreams_of(tables: Iterable[UpstreamTable], directory: Path, passwords: Mapping[str, Secret]) -> tuple[Upstream, ...]:
    """Make the upstreams of tables in which nothing is wrong.

    Parameters
    ----------
    tables : iterable of UpstreamTable
        As the file has them.
    directory : Path
        Paths are relative to it.
    passwords : mapping
        Name of an upstream -> its password, where it has one.
    """
    return tuple(_upstream(table, directory, passwords.get(table.name)) for table in tables)


def _upstream(table: UpstreamTable, directory: Path, password: Secret | None) -> Upstream:
    address = read_address(table.url[0], PORT_UPSTREAM)
    kind = UpstreamKind(kind_of(address.scheme))
    ca_file, certificate_file, key_file = (
        None if name is None else directory / name for name in (table.ca_file, table.certificate_file, table.key_file)
    )
    urls = tuple(table.url)
    server = Server(urls, table.username, password, address.tls, ca_file, certificate_file, key_file)
    what = tuple(Source(one) for one in table.what)
    into = table.into or INTO[kind]
    rate, order = (table.per_second, table.batch), (table.newest_first, overlap_of(table))
    return Upstream(table.name, kind, what, server, into, *rate, *order, table.pooled)
