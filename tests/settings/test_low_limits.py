"""Low limits in the plant file: what they become, and every doubt about them with its line."""

from pathlib import Path

import pytest

from edgemon.model.derived import Rule
from edgemon.model.limit import Side
from edgemon.model.machine import point_key
from tests.settings.support import LIMIT, MACHINE, PLANT, POINT, SITE, found, line_of, loaded, only

KEY = point_key("hp-pump-1", "motor-de-h")
OWN = SITE + MACHINE.replace('severity_class = "iso20816-3/group2/rigid"\n', "") + POINT
LOW = OWN + LIMIT + 'side = "below"\n'
TEMPERATURE = '[[machine.point.limit]]\nlevel = "temperature"\nunit = "Cel"\nside = "below"\n'
BOTH = (
    '[[machine.point.limit]]\nlevel = "temperature"\nunit = "Cel"\nalert = 80\nalarm = 95\n'
    '[[machine.point.derived]]\nname = "cold"\nof = "temperature"\nrule = "same"\n'
    '[[machine.point.limit]]\nlevel = "cold"\nunit = "Cel"\nside = "below"\nalert = 10\nalarm = -5\n'
)


def test_a_low_limit_becomes_one_and_the_class_fills_nothing_in(tmp_path: Path) -> None:
    plant, _ = loaded(tmp_path, LOW + "alert = 6.0\nalarm = 4.0\n")
    (one,) = plant.points[KEY].limits
    assert (one.side, one.zones, one.origin) == (Side.BELOW, None, "plant file")
    assert one.alert == pytest.approx(0.006)
    assert one.alarm == pytest.approx(0.004)
    assert one.deadband == pytest.approx(0.0004)  # 10 % of the lower one
    plant, _ = loaded(tmp_path, PLANT + TEMPERATURE + "alarm = 5\n")
    velocity, cold = plant.points[KEY].limits
    assert (velocity.side, cold.side, cold.deadband) == (Side.ABOVE, Side.BELOW, 2.0)


def test_a_level_has_its_other_side_under_another_name(tmp_path: Path) -> None:
    plant, _ = loaded(tmp_path, OWN + BOTH)
    hot, cold = plant.points[KEY].limits
    assert (hot.level, hot.side, hot.alarm) == ("temperature", Side.ABOVE, 95.0)
    assert (cold.level, cold.side, cold.alert, cold.alarm) == ("cold", Side.BELOW, 10.0, -5.0)
    assert plant.points[KEY].derived[0].rule is Rule.SAME


def test_what_falls_may_have_a_limit_below_zero(tmp_path: Path) -> None:
    rate = '[[machine.point.derived]]\nname = "fall"\nof = "velocity_rms"\nrule = "rate"\nover_s = 3600\n'
    text = OWN + rate + '[[machine.point.limit]]\nlevel = "fall"\nunit = "mm/s"\nside = "below"\nalert = -1.0\nalarm = -2.0\n'
    plant, _ = loaded(tmp_path, text)
    (one,) = plant.points[KEY].limits
    assert one.alarm == pytest.approx(-0.002)
    assert one.deadband == pytest.approx(0.0001)


@pytest.mark.parametrize(
    ("text", "at", "field", "says", "hint", "is_error"),
    [
        (LOW + "alert = 3\nalarm = 4\n", "alert", "alert", "alert is below alarm", "alert above alarm", True),
        (LOW + "alert = 4\nalarm = 4\n", "alert", "alert", "alert equals alarm", "alert above alarm", False),
        (LOW + "alarm = -4\n", "alarm", "alarm", "must be above zero", "a limit of velocity", True),
        (LOW + "deadband = -1\nalarm = 4\n", "deadband", "deadband", "must not be below zero", "usually 0.4 mm/s", True),
        (LOW, "[[machine.point.limit]]", "", "sets neither alert nor alarm", "at least one", True),
        (LOW.replace('"below"', '"under"') + "alarm = 4\n", "side", "side", "under", "below", True),
        (
            LOW.replace("velocity_rms", "crest_factor").replace('unit = "mm/s"\n', "") + "alarm = 1\n",
            "alarm", "alarm", "never reached", "above 1", True,
        ),
        (
            LOW + "alarm = 4\n" + LIMIT.replace("level =", "level  =") + 'side = "below"\nalarm = 3\n',
            "level  =", "level", "two limits here on one side", 'the other side is side = "above"', True,
        ),
    ],
)  # fmt: skip
def test_what_is_doubtful_is_said_with_its_line(
    tmp_path: Path, text: str, at: str, field: str, says: str, hint: str, is_error: bool
) -> None:
    problem = only(found(tmp_path, text))
    assert says in problem.what
    assert hint in problem.hint
    assert problem.is_error is is_error
    assert problem.line == line_of(text, f"\n{at}") + 1
    assert problem.field.endswith(field)
    assert problem.file.endswith("plant.toml")


def test_a_low_limit_under_the_standstill_rule_would_never_be_judged(tmp_path: Path) -> None:
    rule = 'standstill = { level = "velocity_rms", below = 0.5, unit = "mm/s" }\n'
    text = LOW.replace(POINT, rule + POINT) + "alert = 6\nalarm = 0.4\n"
    problem = only(found(tmp_path, text))
    assert "at its low limit of 0.4 mm/s counts as not running" in problem.what
    assert problem.line == line_of(text, "standstill")
    assert not found(tmp_path, text.replace("alarm = 0.4", "alarm = 4"))


def test_a_temperature_under_another_name_stands_where_the_temperature_is_told(tmp_path: Path) -> None:
    second = POINT.replace("motor-de-h", "motor-de-v").replace('axis = "x"', 'axis = "y"')
    cold = BOTH[BOTH.index("[[machine.point.derived]]") :]
    text = OWN + second + cold + LIMIT + "alarm = 4\n"
    problem = only(one for one in found(tmp_path, text) if one.is_error)
    assert 'watched at point "motor-de-h" only' in problem.what
    assert problem.line == line_of(text, 'of = "temperature"')
    assert not [one for one in found(tmp_path, OWN + second + BOTH) if one.is_error]
    assert not [one for one in found(tmp_path, OWN + cold + second) if one.is_error]
