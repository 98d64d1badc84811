"""Cleaning against the Unicode character database and against what terminals obey."""

import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st

from edgemon.model.text import ELLIPSIS, REPLACEMENT, clean


@pytest.mark.parametrize(
    "text",
    [
        "\x1b]0;owned\x07",  # window title, ECMA-48 8.3.89 (OSC)
        "\x1b[2J",  # erase, ECMA-48 8.3.39
        "\x9b5m",  # the same introducer as one C1 byte, ECMA-48 8.3.16
        "a\nb",
        "a\rb",
        "a\tb",
        "a\x00b",
        "\u202eevil",  # right-to-left override, Unicode Standard Annex 9
        "\u2066evil\u2069",
        "a\u200bb",  # zero width space
        "a\u2028b",
        "a\u2029b",
        "\ufeffa",
        "\ud800",  # lone surrogate: cannot even be encoded
        "\ue000",  # private use
        "\U000e0041",  # tag character
        "\uffff",
    ],
)
def test_what_steers_or_hides_is_replaced(text: str) -> None:
    cleaned = clean(text)
    assert len(cleaned) == len(text)
    assert REPLACEMENT in cleaned
    cleaned.encode()
    assert not any(unicodedata.category(char)[0] == "C" for char in cleaned)


@pytest.mark.parametrize(
    "text", ["Pump 2", "Läufer №7", "ポンプ", "µm", "10 °C", "[/] [@click=x]", "", "🙂", "a\u00a0b", "e\u0301"]
)
def test_what_people_write_stays(text: str) -> None:
    assert clean(text) == text


@given(st.text(max_size=200), st.integers(0, 100))
def test_bounded_and_stable(text: str, longest: int) -> None:
    cleaned = clean(text, longest)
    assert len(cleaned) == min(len(text), longest)
    assert clean(cleaned, longest) == cleaned
    assert not any(unicodedata.category(char) in ("Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp") for char in cleaned)
    kept = cleaned if len(text) <= longest else cleaned[:-1]
    assert all(new in (old, REPLACEMENT) for new, old in zip(kept, text, strict=False))
    assert len(text) <= longest or not longest or cleaned[-1] == ELLIPSIS


def test_sixty_four_characters_unless_told_otherwise() -> None:
    assert clean("a" * 64) == "a" * 64
    assert clean("a" * 65) == "a" * 63 + ELLIPSIS
    assert clean("\x1b" * 65) == REPLACEMENT * 63 + ELLIPSIS
