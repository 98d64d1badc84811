"""Names, notes and journal entries that try to steer the terminal: what is sent must hold no control of theirs."""

import re
import sys
import unicodedata
from dataclasses import replace

import pytest

from edgemon.board.memory import MemorySource
from edgemon.board.widgets.lines import Lines
from edgemon.model.command import Person, Role
from edgemon.model.finding import Evidence, Fault, Finding
from edgemon.model.snapshot import DiagnosisView, JournalView, MachineView, NoteView, Snapshot
from tests.board.driving import Board, board
from tests.board.terminal import terminal
from tests.support import sites

STEERING = re.compile(r"\x1b\[[0-9;:?<>=$ ]*[a-zA-Z]|\x1b[=>78]|\x1b\]22;[a-z-]*(\x1b\\|\x07)|\x1bP\+q[0-9A-F]*\x1b\\")
"""What the terminal library itself sends: CSI sequences (ECMA-48), keypad modes, the pointer's shape, a query; no title."""

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


def hostile(*texts: str) -> Snapshot:
    """A site with one machine for each text, and that text in every place of it."""
    notes = tuple(NoteView(sites.NOW, text, text, text) for text in texts)
    machines = [_machine(text, number) for number, text in enumerate(texts)]
    return sites.snapshot(machines, site_name=texts[0], notes=notes, store_ok=False, store_detail=texts[-1])


def _machine(text: str, number: int) -> MachineView:
    machine = sites.machine(12)
    points = tuple(
        replace(
            point,
            name=text,
            diagnosis=_diagnosis(text),
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
    id_ = f"{machine.id}-{number}"
    return replace(machine, id=id_, name=text, kind=text, quality="bad", reasons=(text,), points=points, worst=worst)


def _diagnosis(text: str) -> DiagnosisView:
    finding = Finding(Fault.RUB, 0.6, text, (Evidence(text),), text, text, (), (text,), text, text)
    return DiagnosisView(sites.NOW, "fault" if len(text) % 2 else text, (finding,), (text,), text)


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


@pytest.mark.slow  # a process of its own
def test_the_bytes_a_real_terminal_is_sent_hold_no_control_of_theirs() -> None:
    with terminal([sys.executable, "-m", "tests.board.hostile_app"], (100, 30), {"TERM": "xterm-256color"}) as screen:
        assert screen.wait_for("UTC", "[/nope]"), screen.seen[-2000:]
        for key in ("\r", "l", "a", "\x1b", "n", "j", "?", "\x1b"):
            screen.type(key)
            screen.settle()
        screen.type("q")
        screen.settle(1.0)
        assert screen.child.wait(10) == 0
    text = screen.seen.decode("utf-8")  # strictly: not one byte that is no UTF-8
    left = STEERING.sub("", text)
    bad = {"Cc", "Cf", "Cs", "Zl", "Zp"}
    assert not {hex(ord(char)) for char in left if unicodedata.category(char) in bad and char not in "\r\n"}
    assert not any(steering in text for steering in ("\x1b]0;", "\x9b", "\x1b[5m", "\u202e"))
