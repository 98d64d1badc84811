"""Contrast and separation are computed here from the published formulae, apart from the board's own code."""

import itertools
import math

import pytest
from rich.color import Color, ColorSystem

from edgemon.board.theme import MARKS, PALETTES, Role, Show
from edgemon.board.view.cells import width_of

Rgb = tuple[float, float, float]

# Machado, Oliveira, Fernandes, IEEE Trans. Vis. Comput. Graph. 15 (2009) 1291-1298, severity 1.0; from memory, rows sum to 1
MACHADO: dict[str, tuple[Rgb, Rgb, Rgb]] = {
    "normal": ((1, 0, 0), (0, 1, 0), (0, 0, 1)),
    "protan": ((0.152286, 1.052583, -0.204868), (0.114503, 0.786281, 0.099216), (-0.003882, -0.048116, 1.051998)),
    "deutan": ((0.367322, 0.860646, -0.227968), (0.280085, 0.672501, 0.047413), (-0.011820, 0.042940, 0.968881)),
    "tritan": ((1.255528, -0.076749, -0.178779), (-0.078411, 0.930809, 0.147602), (0.004733, 0.691367, 0.303900)),
}


def linear(hex_: str) -> Rgb:
    """IEC 61966-2-1 (sRGB)."""
    channels = [int(hex_[k : k + 2], 16) / 255 for k in (1, 3, 5)]
    red, green, blue = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels)
    return red, green, blue


def contrast(one: str, other: str) -> float:
    """WCAG 2.1, relative luminance and contrast ratio."""
    lights = sorted(0.2126 * r + 0.7152 * g + 0.0722 * b for r, g, b in (linear(one), linear(other)))
    return (lights[1] + 0.05) / (lights[0] + 0.05)


def lab(rgb: Rgb) -> Rgb:
    """CIE 1976 L*a*b*, D65."""
    r, g, b = (min(1.0, max(0.0, c)) for c in rgb)
    xyz = (
        (0.4124564 * r + 0.3575761 * g + 0.1804375 * b) / 0.95047,
        0.2126729 * r + 0.7151522 * g + 0.0721750 * b,
        (0.0193339 * r + 0.1191920 * g + 0.9503041 * b) / 1.08883,
    )
    x, y, z = (t ** (1 / 3) if t > (6 / 29) ** 3 else t / (3 * (6 / 29) ** 2) + 4 / 29 for t in xyz)
    return 116 * y - 16, 500 * (x - y), 200 * (y - z)


def ciede2000(one: Rgb, other: Rgb) -> float:
    """CIE 142-2001, as worked out by Sharma, Wu, Dalal, Color Res. Appl. 30 (2005) 21-30."""
    (l1, a1, b1), (l2, a2, b2) = one, other
    mean_c = (math.hypot(a1, b1) + math.hypot(a2, b2)) / 2
    g = 0.5 * (1 - math.sqrt(mean_c**7 / (mean_c**7 + 25.0**7)))
    a1, a2 = (1 + g) * a1, (1 + g) * a2
    c1, c2 = math.hypot(a1, b1), math.hypot(a2, b2)
    h1, h2 = (math.degrees(math.atan2(b, a)) % 360 if (a, b) != (0, 0) else 0.0 for a, b in ((a1, b1), (a2, b2)))
    dh = 0.0 if c1 * c2 == 0 else (h2 - h1 + 180) % 360 - 180
    dl, dc = l2 - l1, c2 - c1
    big_dh = 2 * math.sqrt(c1 * c2) * math.sin(math.radians(dh / 2))
    ml, mc = (l1 + l2) / 2, (c1 + c2) / 2
    mh = h1 + h2
    if c1 * c2:
        mh = mh / 2 if abs(h1 - h2) <= 180 else (mh + 360) / 2 if mh < 360 else (mh - 360) / 2
    t = 1 - 0.17 * _cos(mh - 30) + 0.24 * _cos(2 * mh) + 0.32 * _cos(3 * mh + 6) - 0.20 * _cos(4 * mh - 63)
    sl = 1 + 0.015 * (ml - 50) ** 2 / math.sqrt(20 + (ml - 50) ** 2)
    sc, sh = 1 + 0.045 * mc, 1 + 0.015 * mc * t
    turn = 30 * math.exp(-(((mh - 275) / 25) ** 2))
    rt = -2 * math.sqrt(mc**7 / (mc**7 + 25.0**7)) * math.sin(math.radians(2 * turn))
    return math.sqrt((dl / sl) ** 2 + (dc / sc) ** 2 + (big_dh / sh) ** 2 + rt * (dc / sc) * (big_dh / sh))


def _cos(degrees: float) -> float:
    return math.cos(math.radians(degrees))


def seen(hex_: str, by: str) -> Rgb:
    r, g, b = linear(hex_)
    red, green, blue = (row[0] * r + row[1] * g + row[2] * b for row in MACHADO[by])
    return lab((red, green, blue))


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
