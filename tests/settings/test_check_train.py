"""What turns with the shaft: told once with line, field and hint where it cannot be; understood where it can."""

from pathlib import Path

import pytest

from edgemon.model.machine import Belt, GearPair, Member, PlanetarySet, Train
from edgemon.settings.load import problems
from tests.settings.support import PLANT, loaded

MARK = "rpm = 2975"


def with_train(text: str) -> str:
    assert MARK in PLANT
    return PLANT.replace(MARK, f"{MARK}\n{text}", 1)


def of_planets(text: str) -> str:
    return f"train = {{ planetary = [{{ {text} }}] }}"


def test_a_train_is_understood_in_si(tmp_path: Path) -> None:
    belt, gear = "{ sheave_mm = 160, length_mm = 2500 }", "{ teeth = 17, driven_teeth = 89 }"
    text = f"train = {{ blades = 6, supply_hz = 50, poles = 2, rotor_bars = 28, belt = {belt}, gear = [{gear}] }}"
    machine = loaded(tmp_path, with_train(text))[0].machines[0]
    assert machine.train == Train(6, 50.0, 2, False, Belt(0.16, 2.5), (GearPair(17, 89),), 28)


def test_a_planetary_set_is_understood_and_what_follows_it_runs_at_its_very_speed(tmp_path: Path) -> None:
    """Carrier 18 / (18 + 72) = 0.2 and 23/67 of it: what is written with a few digits is taken for these shafts."""
    text = (
        "train = { planetary = [{ sun = 18, planet = 27, ring = 72, planets = 3 }, "
        '{ sun = 20, planet = 20, ring = 60, planets = 4, fixed = "sun", order = 0.0687, even = false }], '
        "gear = [{ teeth = 23, driven_teeth = 67, order = 0.2001 }, { teeth = 20, driven_teeth = 30, order = 0.5 }] }"
    )
    train = loaded(tmp_path, with_train(text))[0].machines[0].train
    assert train.planetary == (
        PlanetarySet(18, 27, 72, 3),
        PlanetarySet(20, 20, 60, 4, Member.SUN, Member.RING, 0.2 * 23 / 67, even=False),
    )
    assert train.gears == (GearPair(23, 67, 0.2), GearPair(20, 30, 0.5))


def test_a_bearing_whose_outer_ring_turns_is_understood(tmp_path: Path) -> None:
    geometry = "rolling_elements = 9, ball_diameter_mm = 7.94, pitch_diameter_mm = 39.04"
    for said, outer_turns in (("", False), (", outer_turns = true", True)):
        point = loaded(tmp_path, PLANT + f"bearing = {{ {geometry}{said} }}\n")[0].machines[0].points[0]
        assert point.bearing is not None
        assert (point.bearing.rolling_elements, point.bearing.outer_turns) == (9, outer_turns)


@pytest.mark.parametrize(
    ("text", "field", "what"),
    [
        ("train = { blades = 0 }", "blades", "1 to 500"),
        ("train = { supply_hz = 50, poles = 3 }", "poles", "even number"),
        ("train = { supply_hz = 5000 }", "supply_hz", "10 to 400"),
        ("train = { poles = 4 }", "poles", "of no use without supply_hz"),
        ("train = { rotor_bars = 28 }", "rotor_bars", "of no use without supply_hz"),
        ("train = { supply_hz = 50, rotor_bars = 1 }", "rotor_bars", "2 to 500"),
        ("train = { belt = { sheave_mm = 160 } }", "belt", "not complete"),
        ("train = { belt = { sheave_mm = 2500, length_mm = 160 } }", "length_mm", "does not reach round"),
        ("train = { belt = { sheave_mm = -1, length_mm = 160 } }", "sheave_mm", "above zero"),
        ("train = { gear = [{ teeth = 17 }] }", "driven_teeth", "is missing"),
        ('train = { gear = [{ teeth = "17", driven_teeth = 20 }] }', "teeth", "whole number, not the text"),
        (of_planets('sun = "18", planet = 27, ring = 72, planets = 3'), "sun", "whole number, not the text"),
        ("train = { gear = [{ teeth = 1, driven_teeth = 20 }] }", "teeth", "3 to 2000"),
        ("train = { gear = [{ teeth = 17, driven_teeth = 20, order = 0 }] }", "order", "above zero"),
        (of_planets("sun = 18, planet = 27, ring = 72"), "planets", "is missing"),
        (of_planets("sun = 2, planet = 27, ring = 56, planets = 2"), "sun", "3 to 2000"),
        (of_planets("sun = 18, planet = 27, ring = 82, planets = 4"), "ring", "does not go round"),
        (of_planets("sun = 18, planet = 27, ring = 74, planets = 2"), "ring", "2 more than sun + 2 planet = 72"),
        (of_planets("sun = 18, planet = 27, ring = 72, planets = 4"), "planets", "90 / 4, not whole"),
        (of_planets("sun = 18, planet = 27, ring = 72, planets = 5"), "planets", "have no room"),
        (of_planets('sun = 18, planet = 27, ring = 72, planets = 3, input = "ring"'), "input", "both fixed and input"),
        (of_planets("sun = 18, planet = 27, ring = 72, planets = 3, order = -1"), "order", "above zero"),
    ],
)
def test_what_cannot_be_is_told(text: str, field: str, what: str, tmp_path: Path) -> None:
    (tmp_path / "plant.toml").write_text(with_train(text))
    (tmp_path / "gateway.toml").write_text("")
    (problem,) = problems(tmp_path)
    assert problem.field.endswith(field)
    assert what in problem.what
    assert problem.hint
    assert problem.line == next(n for n, line in enumerate(with_train(text).splitlines(), 1) if line.startswith("train"))
