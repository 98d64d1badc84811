"""Items as rows, and the SQL around them; what PostgreSQL makes of both is asked in `test_postgres`."""

import base64
import dataclasses
import json

import pytest

from edgemon.errors import ParameterError
from edgemon.model.upstream import Source
from edgemon.upstream import sql, sqlstate
from edgemon.upstream.rows import month_of, row_of
from tests.support import items as make


def test_a_row_has_a_value_for_every_column() -> None:
    for item in (make.reading(1), make.sensor_reading(1), make.capture(1), make.entry(1), make.finding(1)):
        row = dict(zip((column.name for column in sql.COLUMNS[item.source]), row_of(item), strict=True))
        document = json.loads(item.body)
        assert (row["key"], row["t"], row["sim"]) == (item.key, item.t, item.sim)
        for name in {"site", "gateway", "machine", "point", "sensor", "name", "value", "fit", "id", "fs", "rpm"} & set(
            document
        ):
            assert row[name] == document[name]


def test_samples_stay_bytes_and_findings_lead_with_the_likeliest() -> None:
    capture = make.capture(1)
    names = [column.name for column in sql.COLUMNS[Source.CAPTURES]]
    row = dict(zip(names, row_of(capture), strict=True))
    axes = json.loads(capture.body)["axes"]
    assert dict(zip(row["axes"], row["samples"], strict=True)) == {name: base64.b64decode(text) for name, text in axes.items()}
    assert row_of(make.finding(1))[-6:-1] == ("motor-de-h", "c-1", "fault", "unbalance", 0.82)


@pytest.mark.parametrize(
    ("body", "words"),
    [
        (b'{"site": "saltmarsh", "gateway": "gw-1"}', "no 'name'"),
        (b"[]", "not as expected"),
        (b"{", "Expecting"),
        (b"\xff", "utf-8"),
    ],
)
def test_a_document_that_is_not_ours_is_told_apart(body: bytes, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        row_of(dataclasses.replace(make.reading(1), body=body))


def test_months_of_utc() -> None:
    """By the calendar: 2027-01-01T00:00:00Z is 1798761600; the last instant counts that a clock of microseconds can tell."""
    assert month_of(1_798_761_599.9) == (2026, 12)
    assert month_of(1_798_761_600.0) == (2027, 1)
    assert month_of(0.0) == (1970, 1)
    assert month_of(1e300) is month_of(float("inf")) is None


@pytest.mark.parametrize("name", ["", "salt\0marsh", "m" * 64, "ä" * 32])
def test_what_is_no_name_is_no_identifier(name: str) -> None:
    with pytest.raises(ParameterError):
        sql.quoted(name)


def test_a_name_cannot_leave_its_quotes() -> None:
    assert sql.quoted('a"; DROP SCHEMA b; --') == '"a""; DROP SCHEMA b; --"'


@pytest.mark.parametrize(
    ("state", "constraint", "is_row"),
    [
        ("22021", None, True),  # a character that is not in the encoding
        ("22P05", None, True),  # \u0000 in JSON
        ("23502", None, True),  # null where there must be something
        ("23514", "readings_value_check", True),
        ("23514", None, False),  # no partition takes it
        ("54000", None, True),  # a key too long for an index
        ("P0001", None, True),  # a trigger of the administrator
        ("53100", None, False),  # disk full
        ("57P01", None, False),  # shut down by an administrator
        ("40P01", None, False),  # deadlock
        ("25006", None, False),  # read-only
        ("28P01", None, False),  # wrong password
        ("42501", None, False),  # no right
        ("42P01", None, False),  # no table
        ("58030", None, False),  # input or output error of the server
        ("XX001", None, False),  # corrupted
        ("", None, False),
    ],
)
def test_whose_fault_an_error_is(state: str, constraint: str | None, is_row: bool) -> None:
    """Source: PostgreSQL documentation, appendix A."""
    assert sqlstate.is_of_the_row(state, constraint) is is_row
