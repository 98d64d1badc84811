"""The machine screen at 80 columns: remarks on the selected level, and rows of levels that are left out."""

from dataclasses import replace

from edgemon.board.theme import Look
from edgemon.board.view.cells import row_text, row_width
from edgemon.board.view.machine import LevelAt, beside, body
from edgemon.model.snapshot import MachineView
from tests.support.sites import NOW, machine

NARROW = 80
SHORT = "capture too short for the band"


def remarked(left_out: dict[str, str]) -> MachineView:
    made = machine(8)
    point = made.points[0]
    level = replace(point.levels[0], remark=SHORT)
    return replace(made, points=(replace(point, levels=(level, *point.levels[1:]), left_out=left_out), *made.points[1:]))


def test_a_remark_is_read_at_eighty_columns() -> None:
    made = remarked({})
    at = LevelAt(made.points[0].point, made.points[0].levels[0].name)
    row = beside(made, at, None, NOW, Look(), NARROW)[0]
    assert row_width(row) == NARROW
    assert SHORT in row_text(row)


def test_levels_left_out_stand_under_their_point_one_row_a_reason() -> None:
    hostile = "speed not known\x1b[31m"
    made = remarked({"velocity_1x": hostile, "velocity_2x": hostile, "hiss": "no line of the capture lies in 3000-4000 Hz"})
    rows = body(made, None, Look(), NARROW)
    texts = [row_text(row) for _, row in rows]
    assert all(row_width(row) == NARROW for _, row in rows)
    (first,) = [k for k, text in enumerate(texts) if "velocity_1x, velocity_2x left out: speed not known" in text]
    assert "hiss left out: no line of the capture lies in 3000-4000 Hz" in texts[first + 1]
    assert first == 1 + len(made.points[0].levels)  # under the point's own rows
    assert rows[first][0] is None  # nothing to select
    assert not any("\x1b" in text for text in texts)
    assert not any("left out" in row_text(row) for _, row in body(remarked({}), None, Look(), NARROW))
