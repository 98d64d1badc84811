"""The analyst's text."""

import pytest

from edgemon.errors import SettingsError
from edgemon.report.analyst import LARGEST, parse


def test_headings_paragraphs_and_items() -> None:
    analyst = parse(
        b"before\r\n\r\n## Recommendation\nfirst line\nsame paragraph\n\nnext\n- one\n  more of one\n* two\n", "x.txt"
    )
    assert analyst.parts == (
        ("", ("before",)),
        ("Recommendation", ("first line same paragraph", "next", "- one more of one", "- two")),
    )
    assert analyst.of("recommendation") == analyst.parts[1][1]
    assert analyst.of("verdict") == ()


def test_a_mark_of_byte_order_and_an_empty_file_are_fine() -> None:
    assert parse("\ufeff# Verdict\ngood".encode(), "x").of("verdict") == ("good",)
    assert parse(b"", "x").parts == ()


def test_control_characters_are_replaced() -> None:
    assert parse("a\x1b[31mb\u202ec".encode(), "x").parts == (("", ("a\ufffd[31mb\ufffdc",)),)


def test_what_is_not_text_is_named_with_its_line() -> None:
    with pytest.raises(SettingsError, match=r"^reports/a\.txt:3: is not UTF-8 text"):
        parse(b"one\ntwo\n\xff\xfe", "reports/a.txt")


def test_what_is_too_large_is_refused() -> None:
    with pytest.raises(SettingsError, match="at most 200000"):
        parse(b"x" * (LARGEST + 1), "a.txt")
