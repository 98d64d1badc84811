"""A plain console: what is drawn is ASCII on every screen and in every question, whatever the plant's names hold."""

import sys
from dataclasses import replace
from random import Random

import pytest
from textual.strip import Strip

from edgemon.board.memory import MemorySource
from edgemon.board.theme import is_plain
from edgemon.board.view.cells import plain, row_text, width_of
from edgemon.board.widgets.lines import Lines
from edgemon.model.command import Person, Role
from tests.board.driving import Board, board
from tests.board.terminal import terminal
from tests.board.test_ahead import COMING
from tests.board.test_point import SOURCE, looking, spectrum, waveform
from tests.board.test_random_use import OPENINGS, Calm
from tests.board.unruly import Unruly
from tests.support import sites


def drawn(one: Board) -> list[Strip]:
    """All that goes to the terminal: frames and what lies behind a question, too."""
    return one.app.screen._compositor.render_strips()


async def opened(source: MemorySource, opening: str) -> str:
    source.person = Person("engineer", Role.ENGINEER, "desk")
    async with board((100, 30), source, ascii=True) as one:
        await one.hear(sites.snapshot(), after=1.0)
        await one.press(*OPENINGS[opening].split())
        await one.wait(0.5)
        assert all(lines.rows for lines in one.app.screen.query(Lines))
        if not isinstance(source, Unruly):  # what is drawn has forms of its own in ASCII, not mere question marks
            assert all(row_text(row).isascii() for lines in one.app.screen.query(Lines) for row in lines.rows)
        return "\n".join(strip.text for strip in drawn(one))


@pytest.mark.parametrize("opening", OPENINGS)
async def test_every_screen_and_question_is_drawn_with_ascii_only(opening: str) -> None:
    source = looking()
    named = replace(SOURCE, capture="c-7")
    source.lines, source.wave = replace(spectrum(), source=named), replace(waveform(), source=named)
    source.coming = COMING
    text = await opened(source, opening)
    assert text.isascii(), {char for char in text if not char.isascii()}


@pytest.mark.parametrize("opening", ["plant", "point, spectrum", "shift", "journal"])
async def test_names_that_are_not_ascii_keep_their_width(opening: str) -> None:
    source = Unruly(Random(1))
    source.chance = Calm()
    text = await opened(source, opening)
    assert text.isascii()


async def test_a_name_is_still_read_without_its_accents() -> None:
    machine = replace(sites.machine(0), name="Kühlturmlüfter 漢")
    async with board((100, 30), ascii=True) as one:
        await one.hear(sites.snapshot([machine]), after=1.0)
        assert "Kuhlturmlufter ??" in "\n".join(strip.text for strip in drawn(one))


@pytest.mark.parametrize("text", ["Kühlturm", "漢字", "m/s²", "ﬁ", "°", "■▲"])
def test_plain_text_takes_as_many_cells(text: str) -> None:
    assert plain(text).isascii()
    assert width_of(plain(text)) == width_of(text)


@pytest.mark.parametrize(
    ("term", "encoding", "colours", "is_so"),
    [
        ("linux", "utf-8", 8, True),
        ("linux-16color", "utf-8", 16, True),
        ("vt220", "utf-8", None, True),
        ("xterm-256color", "ISO-8859-1", 256, True),
        ("xterm-256color", "ascii", 256, True),
        ("xterm", "utf-8", 8, True),
        ("xterm-mono", "utf-8", -1, True),
        ("xterm-256color", "UTF8", 256, False),
        ("tmux-direct", "utf_8", None, False),
        ("xterm-16color", "utf-8", 16, False),
    ],
)
def test_which_terminal_is_plain(term: str, encoding: str, colours: int | None, is_so: bool) -> None:
    assert is_plain(term, encoding, colours) is is_so


@pytest.mark.slow  # processes of its own
@pytest.mark.parametrize(
    "env", [{"TERM": "linux"}, {"TERM": "xterm-256color", "PYTHONIOENCODING": "latin-1"}], ids=["linux", "latin-1"]
)
def test_the_bytes_a_console_is_sent_are_ascii(env: dict[str, str]) -> None:
    command = [sys.executable, "-m", "edgemon", "demo"]
    with terminal(command, (80, 24), {**env, "COLORTERM": "", "PYTHONUTF8": "0"}) as screen:
        assert screen.wait_for("UTC", "Booster pump 3", "#2", within=60.0), screen.seen[-2000:]
        for key in ("l", "\x1b", "\r", "?"):
            screen.type(key)
            screen.settle()
        screen.type("q")
        screen.settle(1.0)
        assert screen.child.wait(20) == 0
    assert screen.seen.isascii()
