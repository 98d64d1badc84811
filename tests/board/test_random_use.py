"""Whatever is pressed, pasted, resized or said, from every screen and every question: no crash, nothing outside, quit works."""

import os
import unicodedata
from contextlib import suppress
from random import Random

import pytest
from textual import events
from textual.errors import NoWidget

from edgemon.board import keys
from edgemon.board.app import SCREENS_BY_NAME, BoardApp
from edgemon.board.screens.base import BoardScreen
from edgemon.board.screens.question import QuestionScreen
from edgemon.board.view.cells import row_text, row_width
from edgemon.board.widgets.lines import Lines
from edgemon.model.command import Person, Role
from tests.board.driving import Board, board
from tests.board.unruly import RUBBISH, Unruly, said
from tests.support import sites

SEEDS = int(os.environ.get("EDGEMON_RANDOM_USE", "1"))
"""Runs from each screen; set it to some hundreds for an hour of it."""
STEPS = 60 if SEEDS > 1 else 6

OPENINGS = {
    "plant": "",
    "plant, searching": "slash",
    "machine": "enter",
    **{f"point, {word}": f"enter enter {n}" for n, word in enumerate(("trend", "waveform", "spectrum", "envelope"), 1)},
    "alarms": "l",
    "notes": "n",
    "sensors": "e",
    "shift": "t",
    "performance": "p",
    "journal": "j",
    "commission": "g",
    "lamps": "k enter",
    "help": "question_mark",
    "question: acknowledge": "a",
    "question: shelve": "l h",
    "question: service": "l o",
    "question: silence": "c",
    "question: diagnose": "enter enter d",
    "question: lamp test": "k",
    "question: log": "t w",
    "question: proof": "enter y",
    "question: take over": "t enter",
    "question: find": "j slash",
}
"""Every screen and question, and the keys that lead there."""

BOUND = sorted({one for _, group in keys.HELPED for key in group for one in key.key.split(",")} - {"q", "ctrl+q"})
"""Every key of the board but those that close it."""
UNBOUND = [
    "ctrl+a",
    "ctrl+c",
    "ctrl+p",
    "f1",
    "delete",
    "insert",
    "ctrl+home",
    "z",
    "Q",
    "5",
    "ß",
    "漢",
    "space",
    "backspace",
    "shift+left",
]


def test_every_screen_and_question_is_begun_from() -> None:
    assert {name.split(",")[0] for name in OPENINGS if ":" not in name} == {"plant", "machine", "point", *SCREENS_BY_NAME}


@pytest.mark.parametrize("seed", range(SEEDS))
@pytest.mark.parametrize("opening", OPENINGS)
async def test_nothing_breaks_it(opening: str, seed: int) -> None:
    chance = Random(f"{opening} {seed}")
    source = Unruly(Random(f"daemon {opening} {seed}"))
    by_chance, source.chance, source.person = source.chance, Calm(), Person("engineer", Role.ENGINEER, "desk")
    async with board((100, 30), source, ascii=chance.random() < 0.3, still=chance.random() < 0.3) as one:
        await one.hear(sites.snapshot(), after=1.0)
        await one.press(*OPENINGS[opening].split())
        assert (":" in opening) == isinstance(one.app.screen, QuestionScreen), "the opening no longer leads there"
        source.chance = by_chance
        done: list[str] = []
        for _ in range(STEPS):
            done.append(await step(one, chance))
            await laid_out(one)
            look_over(one, done)
        await one.press("escape", "q")
        assert one.app._exit, f"no way out of {one.app.screen} after {done}"


class Calm(Random):
    """No chance: every answer comes, and is a yes."""

    def random(self) -> float:
        return 0.5


async def step(one: Board, chance: Random) -> str:
    """Do something; says what."""
    match chance.randrange(10):
        case 0:
            size = chance.randint(40, 250), chance.randint(10, 80)
            await one.pilot.resize_terminal(*size)
            await one.wait(0.5)
            return f"resize {size}"
        case 1:
            text = chance.choice(RUBBISH)
            one.app.screen.post_message(events.Paste(text))
            await one.pilot.pause()
            return f"paste {text[:40]!r}"
        case 2 | 3:
            update = said(chance)
            await one.hear(update, after=chance.choice((0.5, 0.5, 2.5, 11.0)))
            return f"hear {str(update)[:60]}"
        case 4:
            at = chance.randrange(one.app.size.width), chance.randrange(one.app.size.height)
            with suppress(NoWidget):  # a screen that has not been laid out yet
                await one.pilot.click(offset=at, times=chance.choice((1, 2)))
            return f"click {at}"
        case 5:
            key = chance.choice(UNBOUND)
        case _:
            key = chance.choice(BOUND)
    await one.press(key)
    return f"press {key}"


async def laid_out(one: Board) -> None:
    """Give the terminal library the moment it takes after a change of size, or of screen after one; a second at most."""
    for _ in range(100):
        screen = one.app.screen
        if screen.size == one.app.size and (not isinstance(screen, BoardScreen) or covered(one) == one.app.size.area):
            return
        await one.pilot.pause(0.01)


def covered(one: Board) -> int:
    return sum(lines.size.area for lines in one.app.screen.query(Lines))


def look_over(one: Board, done: list[str]) -> None:
    """Nothing has broken; widgets lie on the screen and cover it, every row fills its widget; nothing steers the terminal."""
    app: BoardApp = one.app
    assert app._exception is None, done
    assert not app._exit, done
    for widget in app.screen.query("*"):
        assert app.screen.region.contains_region(widget.region), (widget, widget.region, app.size, done)
    if isinstance(app.screen, BoardScreen):
        assert covered(one) == app.size.area, (app.screen, app.size, [one.size for one in app.screen.query(Lines)], done[-4:])
    for lines in app.screen.query(Lines):
        assert all(row_width(row) == lines.size.width for row in lines.rows), done
        bad = {
            char for row in lines.rows for char in row_text(row) if unicodedata.category(char) in ("Cc", "Cf", "Cs", "Zl", "Zp")
        }
        assert not bad, (bad, lines, done)
