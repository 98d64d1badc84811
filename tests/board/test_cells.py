import unicodedata

from hypothesis import given
from hypothesis import strategies as st
from rich.cells import cell_len

from edgemon.board.theme import Role
from edgemon.board.view.cells import Span, fit, fit_row, row_width, safe, sides, width_of, wrap


@given(st.text(max_size=100))
def test_safe_text_steers_nothing_and_every_character_takes_a_cell(text: str) -> None:
    shown = safe(text)
    assert len(shown) <= 64
    assert all(unicodedata.category(char) not in {"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"} for char in shown)
    assert all(cell_len(char) > 0 for char in shown)


def test_escapes_and_bidirectional_marks_are_shown_not_obeyed() -> None:
    assert safe("\x1b[31mPump") == "\N{REPLACEMENT CHARACTER}[31mPump"
    assert safe("a\u202eb") == "a\N{REPLACEMENT CHARACTER}b"
    assert safe("Pu\u0308mpe") == "Pümpe"
    assert safe("[/]") == "[/]"


@given(st.text(max_size=80), st.integers(0, 60), st.booleans())
def test_fitted_text_is_as_wide_as_asked(text: str, width: int, right: bool) -> None:
    assert width_of(fit(safe(text), width, right=right)) == width


@given(st.lists(st.text(max_size=20), max_size=8), st.integers(0, 60))
def test_fitted_rows_are_as_wide_as_asked(texts: list[str], width: int) -> None:
    spans = [Span(safe(text)) for text in texts]
    assert row_width(fit_row(spans, width)) == width
    assert row_width(sides(spans, spans[:1], width, Role.BANNER)) == width


@given(st.text(max_size=200), st.integers(2, 40))
def test_wrapped_lines_lose_nothing_and_fit(text: str, width: int) -> None:
    shown = safe(text, 200)
    lines = wrap(shown, width)
    assert all(width_of(line) <= width for line in lines)
    assert "".join("".join(lines).split()) == "".join(shown.split())
