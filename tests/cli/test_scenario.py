"""`edgemon scenario`: answers by the contract, exit codes, and errors that name file, scenario and field."""

import argparse
import json
from pathlib import Path
from typing import Any

import pytest

from edgemon.cli import scenario
from edgemon.errors import SettingsError

FOLDER = Path(__file__).parents[2] / "config" / "scenarios"
BASIC = {
    "id": "basic",
    "samples": [[0, 3.9], [5, 4.8], [10, 4.8], [15, 4.8]],
    "actions": [[18, "ack", {"occ": 1}], [19, "ack", {"occ": 1}]],
}


def run(*arguments: str) -> int:
    parser = argparse.ArgumentParser()
    scenario.add(parser.add_subparsers())
    options = parser.parse_args(["scenario", *arguments])
    return int(options.run(options))


def write(folder: Path, *scenarios: Any, name: str = "timeline.json") -> str:
    file = folder / name
    file.write_text(json.dumps({"scenario": list(scenarios)}), encoding="utf-8")
    return str(file)


def refused(folder: Path, *scenarios: Any) -> str:
    with pytest.raises(SettingsError) as caught:
        run(write(folder, *scenarios), "--json")
    return str(caught.value)


@pytest.mark.parametrize("file", sorted(FOLDER.glob("*.toml")), ids=lambda file: file.stem)
def test_shipped_scenarios_pass(file: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(str(file), "--json") == 0
    answer = json.loads(capsys.readouterr().out)
    assert {one["passed"] for one in answer["scenarios"]} == {True}


def test_the_answer_is_the_contracts(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(write(tmp_path, BASIC), "--json") == 0
    (one,) = json.loads(capsys.readouterr().out)["scenarios"]
    assert one["id"] == "basic"
    assert one["passed"] is True
    assert one["states"] == [[15, "UNACK", "ALERT"], [18, "ACKED", "ALERT"]]
    assert one["monitoring"] == []
    assert one["rejected"] == [[19, "ack"]]
    assert one["late"] == []


def test_toml_and_json_say_the_same(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    toml = tmp_path / "timeline.toml"
    toml.write_text(
        '[[scenario]]\nid = "basic"\nsamples = [[0, 3.9], [5, 4.8], [10, 4.8], [15, 4.8]]\n'
        'actions = [[18, "ack", { occ = 1 }], [19, "ack", { occ = 1 }]]\n',
        encoding="utf-8",
    )
    bare = tmp_path / "timeline"
    bare.write_text((tmp_path / "timeline.toml").read_text(encoding="utf-8"), encoding="utf-8")
    answers = []
    for file in (write(tmp_path, BASIC), str(toml), str(bare)):
        assert run(file, "--json") == 0
        answers.append(capsys.readouterr().out)
    assert answers[0] == answers[1] == answers[2]


def test_a_difference_is_exit_1_and_is_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    wrong = BASIC | {"expect": [[15, "UNACK", "ALARM"], [18, "ACKED", "ALERT"]]}
    fine = BASIC | {"id": "fine"}
    file = write(tmp_path, wrong, fine)
    assert run(file) == 1
    out = capsys.readouterr().out
    assert "DIFFERS basic" in out
    assert "expected 15 UNACK ALARM, got 15 UNACK ALERT" in out
    assert "passed  fine" in out
    assert run(file, "--json") == 1
    assert [one["passed"] for one in json.loads(capsys.readouterr().out)["scenarios"]] == [False, True]


@pytest.mark.parametrize(
    ("change", "named"),
    [
        ({"id": ""}, "scenario 1: id"),
        ({"alert": "high"}, "alert: not a number"),
        ({"alert": True}, "alert: not a number"),
        ({"alert": 9.0}, "alert: the alert limit 9 is above the alarm limit 7.1"),
        ({"deadband": -0.1}, "deadband"),
        ({"stale_after_s": 0}, "stale_after_s"),
        ({"on_delay_s": 10}, "on_delay_s: not a table"),
        ({"on_delay_s": {"alrt": 10}}, "on_delay_s.alrt: unknown field"),
        ({"runup": {"k": 0.5, "s": 60}}, "runup.k"),
        ({"latch": ["ALRM"]}, "latch: unknown word 'ALRM'"),
        ({"latch": "ALARM"}, "latch: not a list"),
        ({"samples": [[0, 3.9], [5]]}, "samples[1]"),
        ({"samples": [[0, None]]}, "samples[0]: not a number"),
        ({"samples": [[0, 1.0, "FINE"]]}, "samples[0]: unknown word 'FINE'"),
        ({"samples": 5}, "samples: not a list"),
        ({"actions": [[5, "acknowledge", {}]]}, "actions[0]: unknown word 'acknowledge'"),
        ({"actions": [[5, ["ack"], {}]]}, "actions[0]: unknown word"),
        ({"actions": [[5, "ack", {"occurrence": 1}]]}, "actions[0].occurrence"),
        ({"actions": [[5, "ack", {"occ": "1"}]]}, "actions[0].occ"),
        ({"actions": [[5, "ack", 1]]}, "actions[0]: arguments"),
        ({"actions": [[5, "run", {}]]}, "actions[0]: run needs"),
        ({"actions": [[5, "shelve", {"s": "long"}]]}, "actions[0].s"),
        ({"expect": [[5, "UNACKED", "ALERT"]]}, "expect[0]: unknown word 'UNACKED'"),
        ({"expect": [[5, "UNACK"]]}, "expect[0]"),
        ({"expect_monitoring": [[5, "UNACK", "ALERT"]]}, "expect_monitoring[0]"),
        ({"late": ["12"]}, "late[0]: not a number"),
        ({"low": {}}, "low: sets neither alert nor alarm"),
        ({"low": {"alert": 1, "alarm": 2}}, "alert: the alert limit 1 is below the alarm limit 2"),
        ({"low": {"alert": 4.5}}, "low: 4.5 does not lie below the upper limit 4.5"),
        ({"low": {"alert": 3, "on_delay": 2}}, "on_delay: unknown field"),
        ({"low": {"alert": 3}, "side": "below", "alert": 9, "alarm": 8}, "low: the limits are low ones already"),
        ({"expect_low": []}, "expect_low: there is no low limit"),
        ({"actions": [[5, "ack", {"side": "below"}]]}, "actions[0].side: there is no low limit"),
        ({"actions": [[5, "ack", {"side": "left"}]]}, "actions[0].side: unknown word 'left'"),
        ({"reject": [[5, "dance"]]}, "reject[0]"),
        ({"run_until": "40"}, "run_until"),
        ({"sample": []}, "sample: unknown field"),
        ({"side": "under"}, "side: unknown word 'under'"),
        ({"side": "below"}, "alert: sets neither alert nor alarm"),
        ({"side": "below", "alert": 3.0, "alarm": 4.0}, "alert: the alert limit 3 is below the alarm limit 4"),
        ({"level": "velocty_rms"}, "level: unknown level 'velocty_rms'"),
        ({"level": "gear_mesh", "quantity": "noise"}, "quantity: unknown word 'noise'"),
        ({"level": "temperature", "quantity": "velocity"}, "quantity: temperature measures temperature"),
        ({"level": "temperature", "alarm": 90, "unit": "mm/s"}, "unit: 'mm/s' is a unit of velocity"),
        ({"unit": "furlong"}, "unit: 'furlong' is not a known unit"),
        ({"level": "temperature"}, "alert: sets neither alert nor alarm"),
        ({"derived": {"rule": "trend"}}, "derived: rule: unknown word 'trend'"),
        ({"derived": 5}, "derived: not a table"),
        ({"derived": {"rule": "change"}, "alert": 1}, "baseline: a scenario cannot learn a baseline"),
        ({"derived": {"rule": "spread", "baseline": 1}, "alert": 3}, "spread: a scenario cannot learn a spread"),
        ({"derived": {"rule": "rate"}, "alert": 3}, "over_s: a rate needs the time"),
        ({"derived": {"rule": "rise"}, "alert": 3}, "rule: a rise is one of temperature"),
        ({"level": "temperature", "derived": {"rule": "rise"}, "alert": 3}, "reference: a rise needs the temperature"),
        ({"level": "temperature", "derived": {"rule": "change", "baseline": 1}, "alert": 3}, "a temperature has no baseline"),
        ({"level": "temperature", "unit": "degF", "derived": {"rule": "rate", "over_s": 60}, "alert": 3}, "unit: a difference"),
        ({"reference": [[0, 1]]}, "reference: only a rise"),
        ({"derived": {"rule": "same"}, "reference": [[0, 1]]}, "reference: only a rise"),
        ({"mask": {}, "alert": 2}, "lines: a scenario cannot learn a mask from captures"),
        ({"mask": {"lines": [[10, 1]], "floor": 1}, "alert": 2}, "mask: floor: unknown field"),
        ({"mask": {"lines": [[100, 1], [10, 1]]}, "alert": 2}, "mask: lines: frequencies must rise"),
        ({"mask": {"lines": [[10, 1], [100, 1]]}, "alert": 2}, "samples[0]: a spectrum is due, not 3.9"),
        ({"mask": {"lines": [[10, 1], [100, 1]]}, "alert": 2, "samples": [[0, [[500, 1]]]]}, "500 Hz lies outside the mask"),
        ({"mask": {"lines": [[10, 1], [100, 1]]}, "alert": 2, "unit": "Cel"}, "unit: 'Cel' is no unit of velocity or accel"),
        ({"mask": {"lines": [[10, 1]]}, "derived": {"rule": "same"}}, "mask: the limit is on one level"),
        ({"mask": {"lines": [[10, 1]]}, "level": "temperature"}, "level: the samples of a mask are spectra"),
        ({"samples": [[0, [[50, 1]]]]}, "samples[0]: not a number"),
        ({"low_rpm": 900, "high_rpm": 800}, "high_rpm: no speed lies between 900 and 800"),
        ({"actions": [[5, "run", {"running": True, "rpm": 0}]]}, "actions[0].rpm: a machine runs above 10 r/min"),
        ({"actions": [[5, "run", {"running": True, "rpm": "fast"}]]}, "actions[0].rpm: not a number"),
    ],
)
def test_bad_fields_are_named(tmp_path: Path, change: dict[str, Any], named: str) -> None:
    text = refused(tmp_path, BASIC | change)
    assert "timeline.json: scenario" in text
    assert named in text


def test_the_same_id_twice(tmp_path: Path) -> None:
    assert "used twice" in refused(tmp_path, BASIC, BASIC)


def test_not_a_table(tmp_path: Path) -> None:
    assert "scenario 2: not a table" in refused(tmp_path, BASIC, 5)


@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("a.toml", "[[scenario]\n"),
        ("a.json", "{"),
        ("a.json", "[]"),
        ("a.json", '{"scenario": {}}'),
        ("a.json", '{"scenario": [], "other": 1}'),
        ("a.toml", ""),
        ("a.json", "[" * 100_000),
    ],
)
def test_bad_files_are_named(tmp_path: Path, name: str, content: str) -> None:
    (tmp_path / name).write_text(content, encoding="utf-8")
    with pytest.raises(SettingsError, match=name):
        run(str(tmp_path / name))


def test_unreadable_files_are_named(tmp_path: Path) -> None:
    (tmp_path / "binary.toml").write_bytes(b"\xff\xfe\x00")
    for file in (tmp_path / "missing.toml", tmp_path / "binary.toml", tmp_path):
        with pytest.raises(SettingsError, match="cannot be read") as caught:
            run(str(file))
        assert caught.value.where == str(file)


def test_the_older_names_of_two_fields_are_understood(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    lost = {
        "id": "lost",
        "samples": [[0, 3.9]],
        "run_until": 40,
        "actions": [[35, "ack_nd", {}]],
        "expect": [],
        "expect_nd": [[30, "UNACK"], [35, "ACKED"]],
    }
    assert run(write(tmp_path, lost), "--json") == 0
    (one,) = json.loads(capsys.readouterr().out)["scenarios"]
    assert one["monitoring"] == [[30, "UNACK"], [35, "ACKED"]]


def test_limits_may_be_left_unset(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(write(tmp_path, BASIC | {"alert": None, "actions": []}), "--json") == 0
    assert json.loads(capsys.readouterr().out)["scenarios"][0]["states"] == []


def test_samples_wait_while_the_gateway_is_down(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    down = {
        "id": "down",
        "samples": [[0, 3.9], [5, 4.8], [10, 4.8], [15, 4.8]],
        "actions": [[7, "kill", {}], [8, "ack", {}], [20, "restart", {}]],
        "expect": [[15, "UNACK", "ALERT"]],
        "reject": [[8, "ack"]],
    }
    assert run(write(tmp_path, down), "--json") == 0
    assert json.loads(capsys.readouterr().out)["scenarios"][0]["passed"]


def test_the_low_side_is_told_beside_the_upper_one_only_where_there_is_one(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    both = BASIC | {"id": "both", "low": {"alarm": 2.0}, "samples": [[0, 3.9], [5, 1.0], [8, 1.0]], "actions": []}
    assert run(write(tmp_path, BASIC, both), "--json") == 0
    plain, low = json.loads(capsys.readouterr().out)["scenarios"]
    assert "low_states" not in plain
    assert (low["states"], low["low_states"]) == ([], [[8, "UNACK", "ALARM"]])  # on-delay of an alarm: 3 s
