"""The train of a machine in one line: components in the points' order, every point with its mark."""

from dataclasses import replace

import pytest

from edgemon.board.theme import ASCII, Look
from edgemon.board.view.cells import row_text, row_width
from edgemon.board.view.train import components, train
from edgemon.model.snapshot import MachineView
from tests.board.driving import plant
from tests.support import sites

NAMES = ("Motor DE horizontal", "Motor DE vertical", "Pump DE horizontal", "Pump DE vertical", "Pump DE axial")


def pump(row: int = 8, names: tuple[str, ...] = NAMES) -> MachineView:
    machine = sites.machine(row)
    return replace(machine, points=tuple(replace(one, name=name) for one, name in zip(machine.points, names, strict=False)))


def test_points_stand_on_what_their_names_say() -> None:
    assert [(part.name, [place for _, place in part.points]) for part in components(pump())] == [
        ("Motor", ["DE h", "DE v"]),
        ("Pump", ["DE h", "DE v", "DE a"]),
    ]
    odd = components(pump(names=("DE", "Lagerstelle 4", "Gearbox input horizontal", "", "Motor NDE axial")))
    assert [part.name for part in odd] == ["DE", "Lagerstelle 4", "Gearbox", "pump-de-v", "Motor"]


def test_the_line_shows_every_mark_and_the_shaft_between() -> None:
    names, line = (row_text(row) for row in train(pump(), "", Look(), 100))
    assert names.split() == ["Motor", "Pump"]
    assert line.count("━━━━") >= 1
    assert line.count("DE h") == 2
    assert "▲1" in line


@pytest.mark.parametrize("width", [20, 30, 40, 60, 80, 200])
def test_whatever_the_width_nothing_is_cut(width: int) -> None:
    rows = train(pump(), "pump-de-h", Look(), width)
    assert all(row_width(row) == width for row in rows)
    assert "…" not in "".join(row_text(row) for row in rows)
    if rows:
        assert row_text(rows[1]).count("[") == row_text(rows[1]).count("]") == 2


def test_ascii_alone_and_hostile_names() -> None:
    rows = train(pump(names=("Motor\x1b[2J DE horizontal", *NAMES[1:])), "", Look(glyphs=ASCII), 100)
    assert "\x1b" not in "".join(row_text(row) for row in rows)
    assert "====" in row_text(rows[1])


async def test_the_machine_screen_draws_it_where_there_is_room() -> None:
    for size, drawn in (((80, 24), False), ((120, 40), True)):
        async with plant(size) as one:
            await one.press("enter")
            assert any("[" in line and "━━━━" in line for line in one.lines("body")[:4]) is drawn
