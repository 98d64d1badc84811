"""Limits on both sides of one level, and what a point's own limit takes over from its machine's."""

from pathlib import Path

import pytest

from edgemon.model.derived import Rule
from edgemon.model.limit import Delay, Side
from edgemon.model.machine import point_key
from tests.settings.support import LIMIT, MACHINE, PLANT, POINT, SITE, found, line_of, loaded, only

KEY = point_key("hp-pump-1", "motor-de-h")
OWN = SITE + MACHINE.replace('severity_class = "iso20816-3/group2/rigid"\n', "")
UP = LIMIT + "alert = 6\nalarm = 9\n"
LOW = LIMIT + 'side = "below"\nalert = 3\nalarm = 2\n'
OF_MACHINE = "[[machine.limit]]"


def of_machine(text: str) -> str:
    return text.replace("[[machine.point.limit]]", OF_MACHINE)


@pytest.mark.parametrize(
    "plant",
    [OWN + POINT + UP + LOW, OWN + POINT + LOW + UP, OWN + of_machine(UP + LOW) + POINT, OWN + of_machine(UP) + POINT + LOW,
     OWN + of_machine(LOW) + POINT + UP],
)  # fmt: skip
def test_either_order_and_place_gives_two_limits_with_names_of_their_own(tmp_path: Path, plant: str) -> None:
    loaded_plant, _ = loaded(tmp_path, plant)
    point = loaded_plant.points[KEY]
    upper, low = point.limits
    assert (upper.level, upper.side) == ("velocity_rms", Side.ABOVE)
    assert (low.level, low.side) == ("velocity_rms_below", Side.BELOW)
    assert [upper.alarm, low.alarm] == pytest.approx([0.009, 0.002])
    (spec,) = point.derived
    assert (spec.name, spec.rule, spec.of.name) == ("velocity_rms_below", Rule.SAME, "velocity_rms")
    assert spec.kind.title == "velocity r.m.s., low"


def test_one_side_alone_keeps_the_name_of_the_level(tmp_path: Path) -> None:
    for text in (UP, LOW):
        plant, _ = loaded(tmp_path, OWN + POINT + text)
        (one,) = plant.points[KEY].limits
        assert one.level == "velocity_rms"
        assert plant.points[KEY].derived == ()


def test_a_low_limit_stands_beside_those_of_the_class(tmp_path: Path) -> None:
    plant, _ = loaded(tmp_path, PLANT + LIMIT + 'side = "below"\nalarm = 0.5\n')
    upper, low = plant.points[KEY].limits
    assert [upper.alert, upper.alarm] == pytest.approx([0.0028, 0.0045])  # ISO 10816-3:2009 group 2, rigid
    assert upper.zones is not None
    assert (low.alert, low.origin) == (None, "plant file")
    assert low.alarm == pytest.approx(0.0005)


def test_the_machines_low_temperature_is_watched_at_the_first_point_of_a_sensor_only(tmp_path: Path) -> None:
    both = '[[machine.limit]]\nlevel = "temperature"\nunit = "degF"\nalarm = 212\n'
    both += '[[machine.limit]]\nlevel = "temperature"\nunit = "Cel"\nside = "below"\nalarm = 5\n'
    second = POINT.replace("motor-de-h", "motor-de-v").replace('axis = "x"', 'axis = "y"')
    plant, _ = loaded(tmp_path, OWN + both + POINT + UP + second + UP)
    first, other = plant.points.values()
    assert [one.level for one in first.limits] == ["velocity_rms", "temperature", "temperature_below"]
    assert [one.alarm for one in first.limits] == pytest.approx([0.009, 100.0, 5.0])
    assert [one.level for one in other.limits] == ["velocity_rms"]


def test_what_follows_from_a_level_has_two_sides_too_also_a_difference_in_kelvin(tmp_path: Path) -> None:
    rate = '[[machine.point.derived]]\nname = "warming"\nof = "temperature"\nrule = "rate"\nover_s = 3600\n'
    limits = '[[machine.point.limit]]\nlevel = "warming"\nunit = "K"\nalert = 8\n'
    limits += '[[machine.point.limit]]\nlevel = "warming"\nunit = "K"\nside = "below"\nalert = -8\ndeadband = 1\n'
    plant, _ = loaded(tmp_path, OWN + POINT + rate + limits)
    up, down = plant.points[KEY].limits
    assert (up.level, up.alert) == ("warming", 8.0)
    assert (down.level, down.alert, down.deadband, down.side) == ("warming_below", -8.0, 1.0, Side.BELOW)
    assert [spec.of.name for spec in plant.points[KEY].derived] == ["temperature", "warming"]


def test_each_side_has_its_response(tmp_path: Path) -> None:
    says = '[[machine.point.response]]\nlevel = "velocity_rms_below"\naction = "look whether the screen is fed"\n'
    plant, _ = loaded(tmp_path, OWN + POINT + UP + LOW + says)
    assert {level for level, _ in plant.points[KEY].responses} == {"velocity_rms_below"}


@pytest.mark.parametrize(
    ("text", "at", "says", "hint"),
    [
        (OWN + POINT + UP + LOW.replace("alert = 3", "alert = 7"), LOW[: LOW.index("below")],
         "the low limit of 7 mm/s does not lie below the upper one of 6 mm/s", "swapped"),
        (PLANT + LIMIT + 'side = "below"\nalarm = 3\n', "[[machine.point.limit]]", "low limit of 3 mm/s", "swapped"),
        (OWN + of_machine(UP) + POINT + LOW.replace("= 3", "= 7"), "[[machine.point.limit]]", "of 7 mm/s", "swapped"),
        (OWN + POINT + LIMIT.replace("rms", "rms_below") + "alarm = 3\n", "[[machine.point.limit]]", "not a level",
         'level = "velocity_rms" and side = "below"'),
    ],
)  # fmt: skip
def test_what_cannot_be_is_said_with_its_line(tmp_path: Path, text: str, at: str, says: str, hint: str) -> None:
    problem = only(one for one in found(tmp_path, text) if one.is_error)
    assert says in problem.what
    assert hint in problem.hint
    assert problem.line == line_of(text, at) + 1


def test_what_is_wrong_with_a_machines_limits_is_said_once_however_many_points_it_has(tmp_path: Path) -> None:
    second = POINT.replace("motor-de-h", "motor-de-v").replace('axis = "x"', 'axis = "y"')
    band = '[[machine.level]]\nname = "velocity_rms_below"\nquantity = "velocity"\nlow_hz = 10\nhigh_hz = 20\n'
    text = OWN + band + of_machine(UP + LOW.replace("= 3", "= 7")) + POINT + second
    taken, crossed = sorted((one for one in found(tmp_path, text) if one.is_error), key=lambda one: "does not lie" in one.what)
    assert "watched under the name" in taken.what
    assert "does not lie below" in crossed.what
    assert crossed.line == taken.line == line_of(text, 'side = "below"') - 2  # that of its level


def test_sides_judged_at_different_speeds_may_cross(tmp_path: Path) -> None:
    slow, fast = UP.replace("alert = 6\nalarm = 9", "alarm = 2\nhigh_rpm = 800"), LOW + "low_rpm = 1000\n"
    assert not found(tmp_path, OWN + POINT + slow + fast)


def test_a_name_that_is_taken_is_told(tmp_path: Path) -> None:
    band = '[[machine.point.level]]\nname = "velocity_rms_below"\nquantity = "velocity"\nlow_hz = 10\nhigh_hz = 20\n'
    problem = only(one for one in found(tmp_path, OWN + POINT + band + UP + LOW) if one.is_error)
    assert 'watched under the name "velocity_rms_below"' in problem.what


def test_a_points_limit_takes_over_delays_and_deadband_of_its_machines_where_it_says_none(tmp_path: Path) -> None:
    general = of_machine(UP) + "on_delay = { alert = 5, alarm = 3 }\noff_delay_s = 120\ndeadband = 0.4\n"
    plant, _ = loaded(tmp_path, OWN + general + POINT + LIMIT + "alert = 4\non_delay_s = { alarm = 60 }\n")
    (one,) = plant.points[KEY].limits
    assert one.alert == pytest.approx(0.004)
    assert one.alarm is None  # values are the point's own, all of them
    assert (one.on_delay_alert, one.on_delay_alarm, one.off_delay) == (Delay(5), Delay(seconds=60.0), Delay(seconds=120.0))
    assert one.deadband == pytest.approx(0.0004)


def test_a_deadband_is_taken_over_across_units_and_not_from_the_other_side(tmp_path: Path) -> None:
    general = of_machine(UP).replace("mm/s", "m/s").replace("6", "0.006").replace("9", "0.009") + "deadband = 0.0005\n"
    plant, _ = loaded(tmp_path, OWN + general + POINT + LIMIT + "alarm = 8\n" + LOW)
    upper, low = plant.points[KEY].limits
    assert upper.deadband == pytest.approx(0.0005)
    assert low.deadband == pytest.approx(0.0002)  # 10 % of the lowest value


def test_a_deadband_taken_over_that_would_never_clear_is_told(tmp_path: Path) -> None:
    text = OWN + of_machine(UP) + "deadband = 2\n" + POINT + LIMIT + "alarm = 1.5\n"
    problem = only(one for one in found(tmp_path, text) if one.is_error)
    assert "the deadband of 2 mm/s that its machine's limit sets" in problem.what
    assert "smaller than 1.5 mm/s" in problem.hint
    assert problem.line == line_of(text, "[[machine.point.limit]]") + 1
