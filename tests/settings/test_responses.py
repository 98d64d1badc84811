"""What operators are told to do: the nearest table counts, field by field (IEC 62682: no action, no alarm)."""

from pathlib import Path

import pytest

from edgemon.model.limit import Severity
from edgemon.model.machine import point_key
from edgemon.model.response import Response
from tests.settings.support import LIMIT, MACHINE, PLANT, POINT, SITE, found, line_of, loaded, only

SITE_WIDE = """[[response]]
action = "Tell the analyst."
within_min = 60
[[response]]
level = "velocity_rms"
severity = "alarm"
cause = "Unbalance."
action = "Change over."
"""
OF_THE_MACHINE = '[[machine.response]]\ncause = "The worn coupling."\n'
OF_THE_POINT = '[[machine.point.response]]\nseverity = "alarm"\nwithin_min = 5\n'
FULL = SITE + SITE_WIDE + MACHINE + OF_THE_MACHINE + POINT + LIMIT + "alert = 2.8\nalarm = 4.5\n" + OF_THE_POINT


def test_the_nearest_table_counts_field_by_field(tmp_path: Path) -> None:
    plant, _ = loaded(tmp_path, FULL)
    written = plant.points[point_key("hp-pump-1", "motor-de-h")].responses
    assert written["velocity_rms", Severity.ALARM] == Response("The worn coupling.", "", "Change over.", "", 300.0)
    assert written["velocity_rms", Severity.ALERT] == Response("The worn coupling.", "", "Tell the analyst.", "", 3600.0)
    assert written["monitoring", Severity.ALARM].action == "Tell the analyst."


def test_the_kind_of_machine_is_looked_at(tmp_path: Path) -> None:
    text = SITE + '[[response]]\nkind = "fan"\naction = "Stop the fan."\n' + MACHINE + 'kind = "pump"\n' + POINT
    plant, _ = loaded(tmp_path, text)
    assert not plant.points[point_key("hp-pump-1", "motor-de-h")].responses


def test_alarms_without_an_action_are_told_once_a_site_has_begun_to_write_them_down(tmp_path: Path) -> None:
    assert found(tmp_path, PLANT) == ()
    problem = only(found(tmp_path, PLANT + '[[machine.point.response]]\nseverity = "alarm"\naction = "Look."\n'))
    assert not problem.is_error
    assert "of 1 limits" in problem.what
    assert "hp-pump-1/motor-de-h/velocity_rms" in problem.what


@pytest.mark.parametrize(
    ("table", "key", "what"),
    [
        ('level = "speed"\naction = "Look."\n', "level", "is not a level"),
        ('within_min = -1\naction = "Look."\n', "within_min", "above zero"),
        ('severity = "alarm"\n', "[[machine.point.response]]", "says nothing"),
    ],
)
def test_each_mistake_is_named(tmp_path: Path, table: str, key: str, what: str) -> None:
    text = PLANT + "[[machine.point.response]]\n" + table
    problem = only(found(tmp_path, text))
    assert what in problem.what
    assert problem.line == line_of(text, key)
