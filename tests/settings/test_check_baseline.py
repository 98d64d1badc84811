"""How baselines are learnt is a setting of the machine; numbers that make no sense are named with their line."""

from pathlib import Path

import pytest

from edgemon.settings.classes import SEVERITY_CLASSES
from edgemon.trend.baseline import CAPTURES
from edgemon.units import to_si
from tests.settings.support import LIMIT, MACHINE, PLANT, POINT, SITE, found, line_of, loaded, only

BASELINE = "[machine.baseline]\n"


def with_baseline(text: str) -> str:
    return SITE + MACHINE + BASELINE + text + POINT


def test_what_is_not_written_is_what_the_learning_is_made_for(tmp_path: Path) -> None:
    plant, _ = loaded(tmp_path)
    learning = plant.machines[0].learning
    assert (learning.captures, learning.speed_tolerance) == (CAPTURES, 0.03)


def test_what_is_written_holds(tmp_path: Path) -> None:
    plant, _ = loaded(tmp_path, with_baseline("captures = 40\nspeed_tolerance = 0.1\n"))
    learning = plant.machines[0].learning
    assert (learning.captures, learning.speed_tolerance) == (40, 0.1)


@pytest.mark.parametrize(
    ("line", "says"),
    [
        ("captures = 7", "must be 8 to 500, not 7"),
        ("captures = 501", "must be 8 to 500, not 501"),
        ("speed_tolerance = 0.0", "must be above 0"),
        ("speed_tolerance = 3.0", "at most 0.2, not 3"),
    ],
)
def test_numbers_without_sense_are_named_with_their_line(tmp_path: Path, line: str, says: str) -> None:
    text = with_baseline(line + "\n")
    problem = only(found(tmp_path, text))
    assert says in problem.what
    assert problem.line == line_of(text, line)
    assert problem.field == f"machine[hp-pump-1].baseline.{line.split()[0]}"


def test_a_key_that_does_not_exist_is_named(tmp_path: Path) -> None:
    text = with_baseline("count = 20\n")
    problem = only(found(tmp_path, text))
    assert problem.line == line_of(text, "count")


def test_zones_stand_beside_a_limit_whose_alert_comes_from_a_class_that_has_them(tmp_path: Path) -> None:
    def zones(plant_text: str) -> object:
        limit = loaded(tmp_path, plant_text)[0].machines[0].points[0].limit_of("velocity_rms")
        assert limit is not None
        return limit.zones and (limit.zones.upper_b, limit.zones.upper_c)

    # ISO 10816-3:2009 Table A.2, group 2, rigid: B/C 2.8, C/D 4.5 mm/s
    boundaries = pytest.approx((to_si(2.8, "mm/s"), to_si(4.5, "mm/s")))
    assert zones(PLANT) == boundaries
    assert zones(PLANT + LIMIT + "alarm = 4.0\n") == boundaries
    assert zones(PLANT + LIMIT + "alert = 2.0\n") is None
    assert zones(PLANT.replace("iso20816-3/group2/rigid", "iso14694/bv3/rigid")) is None
    assert zones(PLANT.replace('severity_class = "iso20816-3/group2/rigid"\n', "") + LIMIT + "alert = 2.0\n") is None


def test_only_fans_have_classes_without_zones() -> None:
    assert {row.name.split("/")[0] for row in SEVERITY_CLASSES.values() if not row.has_zones} == {"iso14694"}
