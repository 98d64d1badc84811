from dataclasses import replace

import pytest

from edgemon.board.theme import Show
from edgemon.board.view import status
from edgemon.board.view.lead import lead, trend, vibration
from edgemon.model.snapshot import LevelView, MachineView, WorstView
from tests.support import sites

WARM = sites.level("temperature", 51.0, 80.0, 105.0, "Cel")
"""49 % of its alarm limit on a quiet machine."""


def of(*levels: LevelView, state: str = "normal", unit_of_worst: str = "Cel") -> MachineView:
    machine = sites.machine(3)
    point = replace(machine.points[0], levels=levels, state=state, alarms=(), trend=(0.1, 0.2))
    other = replace(point, point="pump-de-h", levels=(), trend=(0.7, 0.8))
    worst = WorstView(point.point, "temperature", "temperature", 51.0, unit_of_worst, 80.0, 105.0, 51.0 / 105.0)
    return replace(machine, state=state, worst=worst, points=(point, other), trend=(0.1, 0.2))


def shown(machine: MachineView) -> str:
    found = lead(machine)
    assert found is not None
    return found.level


def test_the_level_furthest_up_to_its_alarm_limit_is_shown_and_beside_a_temperature_a_vibration() -> None:
    machine = of(WARM, sites.level("velocity_rms", 1.0, 2.8, 4.5), sites.level("envelope_rms", 2.0, 5.0, 10.0, "m/s2"))
    assert shown(machine) == "temperature"
    other = vibration(machine)
    assert other is not None
    assert other.level == "envelope_rms"  # 40 % of its alert limit, velocity 36 %
    assert vibration(sites.machine(3)) is None


@pytest.mark.parametrize(("state", "value"), [("normal", 4.2), ("alert", 5.05)])
def test_a_machine_that_is_what_it_is_by_another_level_shows_that_one(state: str, value: float) -> None:
    envelope = sites.level("envelope_rms", value, 5.0, 12.0, "m/s2")  # less of its alarm limit than the temperature
    machine = of(WARM, envelope, state=state)
    assert status.of_machine(machine) is (Show.NEAR if state == "normal" else Show.ALERT)
    assert shown(machine) == "envelope_rms"
    assert vibration(machine) is None


def test_the_short_trend_is_that_of_the_point_shown() -> None:
    machine = of(WARM)
    point = replace(machine.points[1], levels=(sites.level("envelope_rms", 4.2, 5.0, 12.0, "m/s2"),))
    assert trend(machine) == (0.1, 0.2)
    assert trend(replace(machine, points=(machine.points[0], point))) == (0.7, 0.8)


@pytest.mark.parametrize(
    ("value", "alert", "unit", "near"),
    [
        (3.99, 5.0, "m/s2", False),
        (4.0, 5.0, "m/s2", True),
        (74.9, 80.0, "Cel", False),  # 94 % of the number, but 5.1 K of the limit
        (75.0, 80.0, "Cel", True),
        (167.0, 176.0, "degF", True),  # 80 Cel and 75 Cel
        (166.0, 176.0, "degF", False),
        (4.0, 5.0, "furlong/fortnight", True),
        (-50.0, -40.0, "dB", False),
    ],
)
def test_near_a_limit(value: float, alert: float, unit: str, near: bool) -> None:
    machine = of(sites.level("x", value, alert, 2 * abs(alert), unit))
    assert (status.of_machine(machine) is Show.NEAR) is near


def test_a_level_without_a_limit_or_a_machine_that_stands_is_never_near() -> None:
    assert status.of_machine(of(sites.level("x", 9.0, None, None))) is Show.NORMAL
    assert status.of_machine(of(sites.level("x", 4.9, 5.0, 9.0), state="not-running")) is Show.STOPPED
