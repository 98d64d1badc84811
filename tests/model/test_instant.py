"""Times as text against RFC 3339 and against the standard library's second way (calendar.timegm)."""

import calendar
import time

import pytest
from hypothesis import given
from hypothesis import strategies as st

from edgemon.model.instant import EARLIEST, LATEST, format_instant, parse_instant


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        # RFC 3339 section 5.8, examples.
        ("1985-04-12T23:20:50.52Z", calendar.timegm((1985, 4, 12, 23, 20, 50)) + 0.52),
        ("1996-12-19T16:39:57-08:00", calendar.timegm((1996, 12, 20, 0, 39, 57))),
        ("1937-01-01T12:00:27.87+00:20", calendar.timegm((1937, 1, 1, 11, 40, 27)) + 0.87),
        # The same section: leap seconds, at the end of 1990 and of 2016; POSIX time has no room for them.
        ("1990-12-31T23:59:60Z", calendar.timegm((1991, 1, 1, 0, 0, 0)) - 1e-6),
        ("1990-12-31T15:59:60-08:00", calendar.timegm((1991, 1, 1, 0, 0, 0)) - 1e-6),
        ("2016-12-31T23:59:60.75Z", calendar.timegm((2017, 1, 1, 0, 0, 0)) - 1e-6),
        # Section 5.6: lower case and a space are allowed.
        ("2025-06-15t15:06:40z", 1_750_000_000.0),
        ("2025-06-15 15:06:40Z", 1_750_000_000.0),
        ("2025-06-15T15:06:40-00:00", 1_750_000_000.0),
        ("1970-01-01T00:00:00Z", 0.0),
        ("2024-02-29T00:00:00.123456789Z", calendar.timegm((2024, 2, 29, 0, 0, 0)) + 0.123456),
    ],
)
def test_rfc_3339(text: str, expected: float) -> None:
    assert parse_instant(text) == pytest.approx(expected, abs=5e-7)
    assert parse_instant(f" {text}\n") == parse_instant(text)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "yesterday",
        "1750000000",
        "2025-06-15",
        "2025-06-15T15:06:40",  # no offset
        "2025-06-15T15:06Z",  # no seconds
        "2025-W24-7T15:06:40Z",  # ISO 8601 week date
        "2025-166T15:06:40Z",
        "20250615T150640Z",
        "2025-06-15T15:06:40,5Z",
        "2025-06-15T15:06:40.Z",
        "2025-06-15T15:06:40+0200",
        "2025-06-15T15:06:40+02:00:30",
        "2025-02-29T00:00:00Z",
        "2025-13-01T00:00:00Z",
        "2025-06-15T24:00:00Z",
        "2025-06-15T15:06:61Z",
        "2025-06-15T15:06:40+24:00",
        "２０２５-06-15T15:06:40Z",
        "2025-06-15T15:06:40Z\x00",
    ],
)
def test_everything_else_is_a_value_error(text: str) -> None:
    with pytest.raises(ValueError, match=r"RFC 3339|must be|out of range|offset|day"):
        parse_instant(text)


@given(
    st.text(max_size=40)
    | st.from_regex(r"[0-9]{4}-[0-9]{2}-[0-9]{2}[Tt ][0-9:.]{8,12}(Z|[+-][0-9]{2}:[0-9]{2})", fullmatch=True)
)
def test_any_text_is_read_or_a_value_error(text: str) -> None:
    try:
        parse_instant(text)
    except ValueError:
        return


@given(st.integers(0, int(LATEST)))
def test_whole_seconds_are_written_as_the_standard_library_writes_them(second: int) -> None:
    assert format_instant(float(second)) == time.strftime("%Y-%m-%dT%H:%M:%S.000Z", time.gmtime(second))


@given(st.floats(EARLIEST, 7_258_118_400.0))  # to 2200; in the year 6000 a float no longer holds a tenth of a millisecond
def test_written_and_read_back_to_half_a_millisecond(instant: float) -> None:
    text = format_instant(instant)
    assert len(text) == 24
    assert parse_instant(text) == pytest.approx(instant, abs=5.1e-4)
    assert format_instant(parse_instant(text)) == text


def test_rounding_carries_into_the_next_second() -> None:
    assert format_instant(1_750_000_000.0 - 0.0004) == "2025-06-15T15:06:40.000Z"
    assert format_instant(1_750_000_000.0 + 0.0006) == "2025-06-15T15:06:40.001Z"


def test_the_named_ends() -> None:
    assert format_instant(EARLIEST) == "2000-01-01T00:00:00.000Z"
    assert format_instant(LATEST) == "9999-12-31T23:59:59.000Z"
