"""Levels of the plant file's own: what is read, and every doubt with its line."""

from pathlib import Path

import pytest

from edgemon.model.level import Detector, LevelSpec
from edgemon.units import Quantity
from tests.settings.support import MACHINE, PLANT, POINT, SITE, found, line_of, loaded, only

ORDERS = 'name = "velocity_1x"\ntitle = "velocity at 1 x"\nquantity = "velocity"\nlow_order = 0.8\nhigh_order = 1.2\n'
HZ = 'name = "high"\nquantity = "acceleration"\ndetector = "peak"\nlow_hz = 1000\nhigh_hz = 5000\n'
LIMIT = '[[machine.point.limit]]\nlevel = "velocity_1x"\nunit = "mm/s"\nalert = 2.0\nalarm = 4.0\n'


def test_levels_of_machine_and_point_are_read_and_the_points_own_comes_first(tmp_path: Path) -> None:
    text = SITE + MACHINE + f"[[machine.level]]\n{ORDERS}" + POINT + f"[[machine.point.level]]\n{HZ}"
    (point,) = loaded(tmp_path, text)[0].machines[0].points
    one_x = LevelSpec("velocity_1x", Quantity.VELOCITY, Detector.RMS, 0.8, 1.2, True, "velocity at 1 x")
    assert point.levels == (one_x, LevelSpec("high", Quantity.ACCELERATION, Detector.PEAK, 1000.0, 5000.0))
    own = ORDERS.replace("1.2", "1.5")
    (point,) = loaded(tmp_path, text.replace(HZ, own))[0].machines[0].points
    assert [spec.high for spec in point.levels] == [1.5]


def test_a_limit_names_such_a_level(tmp_path: Path) -> None:
    (point,) = loaded(tmp_path, PLANT + f"[[machine.point.level]]\n{ORDERS}" + LIMIT)[0].machines[0].points
    limit = point.limit_of("velocity_1x")
    assert limit is not None
    plant, _ = loaded(tmp_path, PLANT + f"[[machine.point.level]]\n{ORDERS}")
    assert plant.sensors[point.sensor].levels == {"velocity_1x": Quantity.VELOCITY}
    assert (limit.quantity, limit.alert, limit.alarm) == (Quantity.VELOCITY, 2e-3, 4e-3)


def test_a_limit_of_the_machine_cannot_name_a_level_of_one_point(tmp_path: Path) -> None:
    limit = LIMIT.replace("machine.point.limit", "machine.limit")
    text = SITE + MACHINE + limit + POINT + f"[[machine.point.level]]\n{ORDERS}"
    problem = only(found(tmp_path, text))
    assert "is not a level" in problem.what
    assert problem.line == line_of(text, 'level = "velocity_1x"')


@pytest.mark.parametrize(
    ("old", "new", "what", "at"),
    [
        ('name = "velocity_1x"', 'name = "velocity_rms"', "has a meaning already", "velocity_rms"),
        ('name = "velocity_1x"', 'name = "monitoring"', "has a meaning already", "monitoring"),
        ('name = "velocity_1x"', 'name = "1 X"', "is not an identifier", "1 X"),
        ('quantity = "velocity"', 'quantity = "temperature"', "quantity", "temperature"),
        ("low_order = 0.8", "low_order = -1", "must not be below zero", "low_order"),
        ("high_order = 1.2", "high_order = 0.5", "before it begins", "high_order"),
        ("high_order = 1.2", "high_hz = 100", "in Hz and in orders", "low_order"),
        ('title = "velocity at 1 x"', 'detector = "mean"', "mean", "mean"),
    ],
)
def test_doubts_name_the_line(tmp_path: Path, old: str, new: str, what: str, at: str) -> None:
    text = PLANT + "[[machine.point.level]]\n" + ORDERS.replace(old, new)
    problem = only(found(tmp_path, text))
    assert what in str(problem)
    assert problem.line == line_of(text, at)


@pytest.mark.parametrize(
    "gone", ['name = "velocity_1x"\n', 'quantity = "velocity"\n', "low_order = 0.8\n", "high_order = 1.2\n"]
)
def test_what_is_missing_is_named(tmp_path: Path, gone: str) -> None:
    problem = only(found(tmp_path, PLANT + "[[machine.point.level]]\n" + ORDERS.replace(gone, "")))
    assert gone.split(" ", maxsplit=1)[0] in str(problem)
    assert "is missing" in str(problem)


def test_a_name_that_stands_twice_and_a_level_without_a_band(tmp_path: Path) -> None:
    text = PLANT + f"[[machine.point.level]]\n{ORDERS}" * 2
    assert "is there twice" in only(found(tmp_path, text)).what
    bare = 'name = "bare"\nquantity = "velocity"\n'
    assert "has no band" in only(found(tmp_path, PLANT + f"[[machine.point.level]]\n{bare}")).what


def test_a_band_of_the_envelope_is_read_and_has_no_peak(tmp_path: Path) -> None:
    own = ORDERS.replace('"velocity"', '"envelope"')
    (point,) = loaded(tmp_path, PLANT + f"[[machine.point.level]]\n{own}")[0].machines[0].points
    title = "velocity at 1 x"
    assert point.levels == (LevelSpec("velocity_1x", Quantity.ACCELERATION, Detector.RMS, 0.8, 1.2, True, title, True),)
    text = PLANT + f'[[machine.point.level]]\n{own}detector = "peak"\n'
    problem = only(found(tmp_path, text))
    assert "of a band of the envelope" in problem.what
    assert problem.line == line_of(text, 'detector = "peak"')
