"""The worked timelines of config/scenarios, played through the product's own logic; each file says where it comes from."""

import tomllib
from dataclasses import replace
from pathlib import Path

import pytest

from edgemon.alarms.scenario_file import Scenario, read_document
from edgemon.engine.scenario import play

FOLDER = Path(__file__).parents[2] / "config" / "scenarios"
FILES = sorted(FOLDER.glob("*.toml"))
SCENARIOS = [
    scenario for file in FILES for scenario in read_document(tomllib.loads(file.read_text(encoding="utf-8")), file.name)
]


@pytest.mark.parametrize("scenario", SCENARIOS, ids=lambda scenario: scenario.id)
def test_scenario_comes_true(scenario: Scenario) -> None:
    outcome = play(scenario)
    assert outcome.passed, "\n".join(outcome.differences)
    assert scenario.expected


def test_all_are_there() -> None:
    assert len(SCENARIOS) == 31


@pytest.mark.parametrize("scenario", SCENARIOS, ids=lambda scenario: scenario.id)
def test_a_wrong_expectation_is_told(scenario: Scenario) -> None:
    for name, rows in scenario.expected.items():
        for wrong in (rows[:-1] if rows else ((1.0, "UNACK", "ALERT"),), (*rows, (1e6, *rows[-1][1:])) if rows else ((0.0,),)):
            outcome = play(replace(scenario, expected={name: wrong}))
            assert not outcome.passed
            assert outcome.differences[0].startswith(f"{name}: ")


def test_without_expectation_a_scenario_only_reports() -> None:
    outcome = play(replace(SCENARIOS[0], expected={}))
    assert outcome.passed
    assert outcome.states


def test_the_whole_can_be_moved_in_time() -> None:
    """Nothing depends on where zero is: the same timelines at an instant of today, where doubles are 0.24 us apart."""
    offset = 1.75e9
    for scenario in SCENARIOS:
        moved = replace(
            scenario,
            samples=tuple(replace(sample, t=sample.t + offset, arrival=sample.arrival + offset) for sample in scenario.samples),
            actions=tuple(replace(action, t=action.t + offset) for action in scenario.actions),
            subject=replace(scenario.subject, reference=tuple((t + offset, value) for t, value in scenario.subject.reference)),
            run_until=None if scenario.run_until is None else scenario.run_until + offset,
            expected={name: tuple((row[0] + offset, *row[1:]) for row in rows) for name, rows in scenario.expected.items()},
        )
        outcome = play(moved)
        assert outcome.passed, (scenario.id, outcome.differences)
