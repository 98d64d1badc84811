"""Names, notes and journal entries that try to steer the terminal: what is sent must hold no control of theirs."""

import unicodedata
from dataclasses import replace

import pytest

from edgemon.board.memory import MemorySource
from edgemon.board.widgets.lines import Lines
from edgemon.model.command import Person, Role
from edgemon.model.snapshot import JournalView, NoteView, Snapshot
from tests.board.driving import Board, board
from tests.support import sites

HOSTILE = [
    "[/]",
    "[/nope]",
    "[@click=app.bell]x[/]",
    "\x1b]0;title\x07",
    "\x9b5m",
    "\u202egnp",
    "a\nb\rc",
    "\ud800",
    "\u2028",
    "🧪\u200d🧪",
    "",
]


def hostile(text: str) -> Snapshot:
    machine = sites.machine(12)
    points = tuple(
        replace(
            point,
            name=text,
            reasons=(text,),
            sensor=text,
            levels=tuple(replace(level, title=text, origin=text, band=text, remark=text, unit=text) for level in point.levels),
            alarms=tuple(
                replace(alarm, machine_name=text, point_name=text, title=text, origin=text, unit=text) for alarm in point.alarms
            ),
        )
        for point in machine.points
    )
    assert machine.worst is not None
    worst = replace(machine.worst, title=text, point=text, unit=text)
    machine = replace(machine, name=text, kind=text, quality="bad", reasons=(text,), points=points, worst=worst)
    notes = (NoteView(sites.NOW, text, text, text),)
    return sites.snapshot([machine], site_name=text, notes=notes, store_ok=False, store_detail=text)


def sent(one: Board) -> str:
    """Everything the screen's widgets hand to the terminal as text."""
    return "".join(
        segment.text
        for lines in one.app.screen.query(Lines)
        for y in range(lines.size.height)
        for segment in lines.render_line(y)
    )


@pytest.mark.parametrize("text", HOSTILE)
async def test_no_control_of_theirs_reaches_the_terminal(text: str) -> None:
    source = MemorySource(Person(text, Role.OPERATOR, text), (JournalView(1, sites.NOW, text, text),))
    async with board((100, 30), source) as one:
        await one.hear(hostile(text), after=1.0)
        shown = sent(one)
        for keys in ("enter", "l", "a", "escape", "n", "j", "question_mark"):
            await one.press(keys)
            shown += sent(one)
        bad = {"Cc", "Cf", "Cs", "Zl", "Zp"}
        assert not {hex(ord(char)) for char in shown if unicodedata.category(char) in bad}
        assert "\x1b" not in shown
