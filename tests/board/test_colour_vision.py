"""Every screen as it is drawn, cell by cell: each word can be read, and no state is told by its colour alone.

Contrast: WCAG 2.1, 1.4.3 (words, 4.5:1) and 1.4.11 (what is drawn, 3:1). Eyes: Machado, Oliveira, Fernandes (2009), full
severity (`eyes.py`; matrices from memory). Difference: CIEDE2000; 13 is the house's choice, twice what the palette's worst pair
of an everyday terminal has. The colours of a terminal of 16 are those that xterm and the VGA have by default (common tables).
"""

import itertools
from collections.abc import AsyncIterator, Iterator
from contextlib import asynccontextmanager
from typing import NamedTuple

import pytest
from rich.color import Color, ColorSystem

from edgemon.board.theme import MARKS, PALETTES, Role, Show
from tests.board.driving import Board, plant
from tests.board.eyes import MACHADO, ciede2000, contrast, seen
from tests.board.furnished import source
from tests.board.test_random_use import OPENINGS


def _table(*rows: str) -> list[str]:
    return " ".join(rows).split()


WORDS, DRAWN, APART = 4.5, 3.0, 13.0
SEEN = 3.0
"""For eyes that lack one kind of cone. The worst is the word of an alarm to protanopes: 4.1:1, 3.7:1 in the row selected."""
VGA_DRAWN = 2.8
"""Of lines in bright black of a VGA, which the terminal decides; there is nothing between it and white."""
VGA = _table(
    "000000 aa0000 00aa00 aa5500 0000aa aa00aa 00aaaa aaaaaa", "555555 ff5555 55ff55 ffff55 5555ff ff55ff 55ffff ffffff"
)
XTERM = _table(
    "000000 cd0000 00cd00 cdcd00 0000ee cd00cd 00cdcd e5e5e5", "7f7f7f ff0000 00ff00 ffff00 5c5cff ff00ff 00ffff ffffff"
)
SIGNS = {
    Role.ALARM: (Show.ALARM, Show.LATCHED),
    Role.ALERT: (Show.ALERT,),
    Role.NO_DATA: (Show.NO_DATA, Show.DOUBTFUL),
}
SAID_ELSE = {
    Role.ALARM: (),
    Role.ALERT: ("TEST", "store", "!", "near", "approaching"),
    Role.NO_DATA: ("simulated", "SIMULATED", "NO ", "link", "behind", "rejected", "stale", "--", "waiting for", "never heard"),
}
"""What the hue of a state is used for beside it, and how that is said in words."""


class Piece(NamedTuple):
    """Cells of one row in one style, as the terminal is sent them."""

    text: str
    ink: str
    ground: str

    @property
    def least(self) -> float:
        """The contrast it needs."""
        return WORDS if any(char.isalnum() for char in self.text) else DRAWN


def rendered(one: Board) -> Iterator[list[Piece]]:
    """Give the rows of the screen after every filter of the terminal library, questions over it included."""
    for strip in one.app.screen._compositor.render_strips():
        row = []
        for segment in strip:
            if segment.text.strip():
                assert segment.style is not None
                ink, ground = segment.style.color, segment.style.bgcolor
                assert ink is not None, segment
                assert ground is not None, segment
                row.append(Piece(segment.text, ink.get_truecolor().hex, ground.get_truecolor().hex))
        yield row


@asynccontextmanager
async def opened(opening: str, size: tuple[int, int], theme: str = "dark") -> AsyncIterator[list[list[Piece]]]:
    """Open a screen, all it can show on it, and give what is drawn."""
    async with plant(size, source(), theme=theme) as one:
        await one.press(*OPENINGS[opening].split())
        await one.wait(0.5)
        await one.wait(0.5)
        yield list(rendered(one))


def roles_of(piece: Piece, theme: str) -> list[Role]:
    """Give the states whose hue a piece is drawn in or on."""
    found = []
    for role, fill in ((Role.ALARM, Role.ALARM_FILL), (Role.ALERT, Role.ALERT_FILL), (Role.NO_DATA, Role.NO_DATA_FILL)):
        hues = {
            (paint.ink, ground)
            for paint in (PALETTES[theme][role], PALETTES[theme][fill])
            for ground in (paint.ground, paint.selected)
        }
        if (piece.ink, piece.ground) in hues:
            found.append(role)
    return found


def is_whole(opening: str) -> bool:
    """Say whether nothing lies over the rows of the screen, as a question does."""
    return not opening.startswith("question")


def says(row: list[Piece], role: Role) -> bool:
    """Say whether a row tells a state by a glyph, or a word, beside its colour."""
    text = "".join(piece.text for piece in row)
    marks = [MARKS[show] for show in SIGNS[role]]
    signs = [sign for mark in marks for sign in (mark.glyph, mark.word, mark.short)] + [
        f"{mark.outline}{mark.digit}" for mark in marks
    ]
    return any(sign in text for sign in (*signs, *SAID_ELSE[role]))


@pytest.mark.parametrize("size", [(80, 24), (200, 60)], ids=["80x24", "200x60"])
@pytest.mark.parametrize("opening", OPENINGS)
async def test_a_screen_can_be_read_by_every_eye(opening: str, size: tuple[int, int]) -> None:
    for theme in ("dark", "light"):
        async with opened(opening, size, theme) as rows:
            assert any(rows)
            signals = set()
            for row in rows:
                for piece in row:
                    assert contrast(piece.ink, piece.ground) >= piece.least, (theme, piece)
                    for eyes in MACHADO:
                        assert contrast(piece.ink, piece.ground, eyes) >= SEEN, (theme, eyes, piece)
                    for role in roles_of(piece, theme) if is_whole(opening) else ():
                        assert says(row, role), (theme, role, "".join(one.text for one in row))
                        plain = piece.ground in (PALETTES[theme][Role.TEXT].ground, PALETTES[theme][Role.TEXT].selected)
                        signals.add((role, piece.ink if plain else piece.ground))
            for (role, one), (other_role, other) in itertools.combinations(sorted(signals), 2):
                for eyes in MACHADO:
                    assert role is other_role or ciede2000(seen(one, eyes), seen(other, eyes)) >= APART, (
                        theme,
                        one,
                        other,
                        eyes,
                    )


@pytest.mark.parametrize("opening", OPENINGS)
async def test_without_colour_there_is_none_and_every_word_can_be_read(opening: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("NO_COLOR", "1")
    async with opened(opening, (80, 24)) as rows:
        for piece in itertools.chain(*rows):
            assert contrast(piece.ink, piece.ground) >= piece.least, piece
            for colour in (piece.ink, piece.ground):
                assert colour[1:3] == colour[3:5] == colour[5:7], piece


@pytest.mark.parametrize("opening", OPENINGS)
async def test_in_sixteen_colours_every_word_can_be_read_and_states_have_their_own(
    opening: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("TERM", "xterm-16color")
    monkeypatch.delenv("COLORTERM")
    async with opened(opening, (80, 24), "light") as rows:  # where there are only 16, it is drawn dark all the same
        for row in rows:
            for piece in row:
                ink, ground = (_number(colour) for colour in (piece.ink, piece.ground))
                for table, drawn in ((XTERM, DRAWN), (VGA, VGA_DRAWN)):
                    least = WORDS if piece.least == WORDS else drawn
                    assert contrast(f"#{table[ink]}", f"#{table[ground]}") >= least - 0.05, (piece, ink, ground)
                for role in roles_of(piece, "dark") if is_whole(opening) else ():
                    assert {ink, ground} & {_number(PALETTES["dark"][role].ink)}, piece
                    assert says(row, role), "".join(one.text for one in row)


def _number(colour: str) -> int:
    number = Color.parse(colour).downgrade(ColorSystem.STANDARD).number
    assert number is not None
    return number
