"""Contrast and separation are computed here from the published formulae, apart from the board's own code."""

import itertools

import pytest
from rich.color import Color, ColorSystem

from edgemon.board.theme import MARKS, PALETTES, Role, Show
from edgemon.board.view.cells import width_of
from tests.board.eyes import MACHADO, ciede2000, contrast, seen


def test_the_ruler_itself_is_right() -> None:
    """Pairs 1, 17 and 25 of the test data published with Sharma, Wu, Dalal (2005), Table 1; WCAG: black on white is 21."""
    assert ciede2000((50.0, 2.6772, -79.7751), (50.0, 0.0, -82.7485)) == pytest.approx(2.0425, abs=1e-4)
    assert ciede2000((50.0, 2.5, 0.0), (73.0, 25.0, -18.0)) == pytest.approx(27.1492, abs=1e-4)
    assert ciede2000((60.2574, -34.0099, 36.2677), (60.4626, -34.1751, 39.4387)) == pytest.approx(1.2644, abs=1e-4)
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)


@pytest.mark.parametrize("name", PALETTES)
def test_every_word_can_be_read(name: str) -> None:
    for role, paint in PALETTES[name].items():
        if role is not Role.RULE:
            assert contrast(paint.ink, paint.ground) >= 4.5, role
            assert contrast(paint.ink, paint.selected) >= 4.5, role


def signal(name: str, role: Role) -> str:
    """What the eye takes for the colour of a role: its ground where that is not the board's own, else its ink."""
    paint = PALETTES[name][role]
    return paint.ink if paint.ground == PALETTES[name][Role.TEXT].ground else paint.ground


@pytest.mark.parametrize("name", ["dark", "light"])
@pytest.mark.parametrize("eyes", MACHADO)
def test_states_are_told_apart_by_every_eye(name: str, eyes: str) -> None:
    inks = [signal(name, role) for role in (Role.ALARM, Role.ALERT, Role.NO_DATA, Role.TEXT)]
    inks.append(PALETTES[name][Role.TEXT].ground)
    for one, other in itertools.combinations(inks, 2):
        assert ciede2000(seen(one, eyes), seen(other, eyes)) >= 13.0, (one, other)


def test_colours_come_out_the_same_in_256_and_apart_in_16() -> None:
    for name in ("dark", "light"):
        for paint in PALETTES[name].values():
            for hex_ in (paint.ink, paint.ground):
                got = Color.parse(hex_).downgrade(ColorSystem.EIGHT_BIT).get_truecolor().hex
                assert got == hex_ or (
                    hex_[1:3] == hex_[3:5] == hex_[5:7] and abs(int(got[1:3], 16) - int(hex_[1:3], 16)) <= 10
                )
    roles = (Role.ALARM, Role.ALERT, Role.NO_DATA, Role.TEXT)
    hues = [Color.parse(PALETTES["dark"][role].ink).downgrade(ColorSystem.STANDARD).number for role in roles]
    assert hues == [9, 11, 14, 7]  # bright red, bright yellow, bright cyan, white: plain red and blue are too dark on black


def test_alert_and_alarm_differ_in_shape_digit_word_and_colour() -> None:
    alert, alarm = MARKS[Show.ALERT], MARKS[Show.ALARM]
    assert (alert.digit, alarm.digit) == ("1", "2")
    for name in ("word", "short", "glyph", "outline", "ascii", "role", "fill"):
        assert getattr(alert, name) != getattr(alarm, name)


@pytest.mark.parametrize("name", PALETTES)
def test_near_a_limit_is_brighter_than_normal_and_has_no_hue(name: str) -> None:
    """It must be found without the colour of an alert, by every eye, and never flash: one form, one role."""
    near, palette = MARKS[Show.NEAR], PALETTES[name]
    for ink in (palette[near.role].ink, palette[MARKS[Show.NORMAL].role].ink):
        assert ink[1:3] == ink[3:5] == ink[5:7], "a grey"
    ground = palette[Role.TEXT].ground
    assert contrast(palette[near.role].ink, ground) >= 1.4 * contrast(palette[MARKS[Show.NORMAL].role].ink, ground)
    assert near.glyph == near.outline
    assert near.role is near.fill
    for eyes in MACHADO:
        for role in (Role.ALARM, Role.ALERT, Role.NO_DATA):
            assert ciede2000(seen(signal(name, role), eyes), seen(palette[near.role].ink, eyes)) >= (
                13.0 if name != "mono" else 0.0
            )


def test_no_two_marks_share_word_or_sign() -> None:
    for part in ("word", "short"):
        words = [getattr(mark, part) for mark in MARKS.values()]
        assert len(set(words)) == len(words)
    known = [show for show in MARKS if show is not Show.DOUBTFUL]  # doubtful and no data share `?`, words and digits differ
    for part in ("glyph", "ascii"):
        signs = [getattr(MARKS[show], part) for show in known]
        assert len(set(signs)) == len(signs), signs


def test_every_mark_is_one_cell_and_ascii_where_it_says_so() -> None:
    for mark in MARKS.values():
        assert [width_of(char) for char in (mark.glyph, mark.outline, mark.ascii, mark.digit)] == [1, 1, 1, 1]
        assert mark.ascii.isascii()
        assert mark.outline != " " or mark.glyph == " "
        assert len(mark.short) <= 8
    assert set(MARKS) == set(Show)
    assert all(set(palette) == set(Role) for palette in PALETTES.values())
