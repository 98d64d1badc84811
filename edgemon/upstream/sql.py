"""The SQL of a database upstream: what makes its tables, and what inserts a row of each source.

Plain SQL: tables that an administrator made in another way (hypertables of TimescaleDB, distributed tables of Citus) should
take the same inserts: their key contains the time and may be distributed by `key`, columns are named, and no month is made
where PostgreSQL itself does not partition. Expected, not tested.
"""

from dataclasses import dataclass
from pathlib import Path

from edgemon.errors import ParameterError
from edgemon.model.upstream import Source

SCRIPTS = Path(__file__).parent / "schema"
DEFAULT_ROLE = "edgemon"
"""Who logs in where no `username` is set."""
WRITABLE = 1
"""Tables of this version take every insert: what came later mends what an administrator may put in when there is time."""
LONGEST_NAME = 63
"""Bytes. Source: PostgreSQL documentation, 4.1.1: NAMEDATALEN - 1."""


@dataclass(frozen=True, slots=True)
class Column:
    """One column of a table."""

    name: str
    type: str
    """Of the value that is handed over."""
    made: str = "{}"
    """What becomes of it in the statement."""


_HEAD = (
    Column("key", "text"),
    Column("t", "float8", "to_timestamp({})"),
    Column("site", "text"),
    Column("gateway", "text"),
    Column("sim", "bool"),
)
COLUMNS: dict[Source, tuple[Column, ...]] = {
    Source.READINGS: (
        *_HEAD,
        *(Column(name, "text") for name in ("machine", "point", "sensor", "name")),
        Column("value", "float8"),
        Column("unit", "text"),
        Column("fit", "bool"),
    ),
    Source.CAPTURES: (
        *_HEAD,
        Column("sensor", "text"),
        Column("id", "text"),
        Column("fs", "float8"),
        Column("unit", "text"),
        Column("scale", "float8"),
        Column("rpm", "float8"),
        Column("spectrum", "bool"),
        Column("missing_parts", "int4[]"),
        Column("axes", "text[]"),
        Column("samples", "bytea[]"),
    ),
    Source.JOURNAL: (
        *_HEAD,
        Column("seq", "int8"),
        Column("event_at", "float8", "to_timestamp({})"),
        *(Column(name, "text") for name in ("kind", "machine", "point")),
        Column("event", "text", "{}::jsonb"),
        Column("hash", "text"),
    ),
    Source.FINDINGS: (
        *_HEAD,
        Column("seq", "int8"),
        Column("event_at", "float8", "to_timestamp({})"),
        *(Column(name, "text") for name in ("machine", "point", "capture", "verdict", "fault")),
        Column("confidence", "float8"),
        Column("diagnosis", "text", "{}::jsonb"),
    ),
}
"""A table has the name of its source."""


def quoted(name: str) -> str:
    """Write a name as an identifier; ParameterError if it cannot be one."""
    if not name or "\0" in name or len(name.encode()) > LONGEST_NAME:
        raise ParameterError(f"not a name that PostgreSQL takes: {name!r}")
    return '"' + name.replace('"', '""') + '"'


def insert(source: Source, schema: str) -> str:
    """Give the statement that inserts rows whose columns come as arrays; what is there already is left as it is."""
    columns = COLUMNS[source]
    names = ", ".join(column.name for column in columns)
    made = ", ".join(column.made.format(f"r.{column.name}") for column in columns)
    arrays = ", ".join(f"${number}::{column.type}[]" for number, column in enumerate(columns, 1))
    return _insert(source, schema, names, f"SELECT {made} FROM unnest({arrays}) AS r ({names})")


def insert_one(source: Source, schema: str) -> str:
    """Give the statement that inserts one row: arrays of arrays of different lengths do not exist in SQL."""
    columns = COLUMNS[source]
    made = ", ".join(column.made.format(f"${number}::{column.type}") for number, column in enumerate(columns, 1))
    return _insert(source, schema, ", ".join(column.name for column in columns), f"VALUES ({made})")


def make_month(schema: str) -> str:
    """Give the question that makes the partition of a month where there is none: table, second in it."""
    return f"SELECT {quoted(schema)}.make_month($1::text, to_timestamp($2::float8))"


def scripts(schema: str) -> dict[int, str]:
    """Give the script of each version of the tables, in order; each can be run again, those after it too, and does no harm."""
    files = sorted(SCRIPTS.glob("[0-9][0-9][0-9][0-9]_*.sql"))
    return {int(file.name[:4]): file.read_text("utf-8").replace("{schema}", quoted(schema)) for file in files}


def for_administrator(schema: str, role: str) -> str:
    """Give the SQL an administrator runs where a gateway may not make its tables itself.

    Parameters
    ----------
    schema : str
        `into` of the upstream.
    role : str
        `username` of the upstream: it gets the right to add rows, and none to change them or to make tables.
    """
    here, who = quoted(schema), quoted(role)
    tables = ", ".join(f"{here}.{source}" for source in Source)
    grants = (
        f"GRANT USAGE ON SCHEMA {here} TO {who};",
        f"GRANT SELECT, INSERT ON {tables} TO {who};",
        f"GRANT SELECT ON {here}.edgemon_schema TO {who};",
        f"GRANT EXECUTE ON FUNCTION {here}.make_month(text, timestamptz) TO {who};",
    )
    begin = ("BEGIN;", f"CREATE SCHEMA IF NOT EXISTS {here};", "")
    return "\n".join((*begin, *scripts(schema).values(), *grants, "COMMIT;", ""))


def _insert(source: Source, schema: str, names: str, rows: str) -> str:
    return f"INSERT INTO {quoted(schema)}.{source} ({names}) {rows} ON CONFLICT (key, t) DO NOTHING"
