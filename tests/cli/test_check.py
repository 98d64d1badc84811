"""The command `check`: what it prints, and its exit code."""

import argparse
import json
from pathlib import Path

import pytest

from edgemon.cli import check
from tests.settings.support import PLANT, line_of, write

DEMO = Path(__file__).parents[2] / "config" / "saltmarsh"


def run(*arguments: str) -> int:
    """Run the command as the program would."""
    parser = argparse.ArgumentParser()
    check.add(parser.add_subparsers())
    args = parser.parse_args(["check", *arguments])
    code = args.run(args)
    assert isinstance(code, int)
    return code


def test_good_settings_give_one_line_and_0(capsys: pytest.CaptureFixture[str]) -> None:
    assert run("--config", str(DEMO)) == 0
    out, err = capsys.readouterr()
    (line,) = out.splitlines()
    assert line.startswith("26 machines, 58 points, 43 sensors, limits from plant file (47); ISO 20816-3:2022 group 2, rigid")
    assert err == ""


def test_each_error_is_a_line_and_the_exit_code_is_2(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    plant = PLANT.replace("2975", "0").replace('axis = "x"', 'axes = "x"')
    assert run("--config", str(write(tmp_path, plant, "[broker]\nqueue = 0\nsession_expiry_s = 0\n"))) == 2
    lines = capsys.readouterr().out.splitlines()
    file = tmp_path / "plant.toml"
    assert lines[0].startswith(f"{file}:{line_of(plant, 'rpm')}: machine[hp-pump-1].rpm: must be above zero, not 0 (")
    assert lines[1].startswith(
        f'{file}:{line_of(plant, "axes")}: machine[hp-pump-1].point[motor-de-h].axes: unknown key "axes" (did'
    )
    assert lines[2].startswith(f"{tmp_path / 'gateway.toml'}:2: broker.queue: must be 1 to 65535")
    assert lines[3].startswith(f"{tmp_path / 'gateway.toml'}:3: warning: broker.session_expiry_s: ")
    assert lines[4:] == ["3 errors, 1 warning"]


def test_a_warning_is_told_and_the_exit_code_is_0(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run("--config", str(write(tmp_path, PLANT, "[broker]\nsession_expiry_s = 0\n"))) == 0
    warning, summary = capsys.readouterr().out.splitlines()
    assert ":2: warning: broker.session_expiry_s:" in warning
    assert summary.startswith("1 machine, 1 point, 1 sensor, limits from ISO 20816-3:2022")
    assert summary.endswith("; 1 warning")


def test_planetary_sets_are_told_with_their_frequencies(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Sun 18, planets 27, ring 72, three planets, sun at 1500 r/min (kinematics, recomputed)."""
    train = "train = { planetary = [{ sun = 18, planet = 27, ring = 72, planets = 3 }] }"
    plant = PLANT.replace("rpm = 2975", f"rpm = 1500\n{train}")
    assert run("--config", str(write(tmp_path, plant))) == 0
    line, summary = capsys.readouterr().out.splitlines()
    assert line == (
        "hp-pump-1: planetary 18/27/72 with 3 planets: sun 25, ring 0, carrier 5, mesh 360, planet pass 15, sun tooth 60, "
        "planet tooth 26.67, ring tooth 15 (Hz at 1500 r/min)"
    )
    assert summary.startswith("1 machine")
    assert run("--config", str(write(tmp_path, plant.replace("rpm = 1500", ""))), "--json") == 0
    (row,) = json.loads(capsys.readouterr().out)["summary"]["planetary"]
    assert run("--config", str(write(tmp_path, plant.replace("planets = 3", "planets = 1")))) == 0
    assert "with 1 planet: " in capsys.readouterr().out
    assert (row["rpm"], row["orders"]["carrier"]) == (None, pytest.approx(0.2))


def test_shafts_behind_a_planetary_set_are_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Carrier 18 / (18 + 72) = 0.2 drives 23/67: 0.0686567 (recomputed)."""
    pair = "gear = [{ teeth = 23, driven_teeth = 67, order = 0.2 }]"
    train = f"planetary = [{{ sun = 18, planet = 27, ring = 72, planets = 3 }}], {pair}"
    plant = PLANT.replace("rpm = 2975", f"rpm = 1500\ntrain = {{ {train} }}")
    assert run("--config", str(write(tmp_path, plant))) == 0
    lines = capsys.readouterr().out.splitlines()
    assert lines[2] == (
        "hp-pump-1: shafts, in multiples of its own: gear pair 1 driving 0.2, gear pair 1 driven 0.068657, "
        "planetary set 1 sun 1, planetary set 1 carrier 0.2"
    )
    # 23 teeth at 5 Hz; 23 and 67 have no common factor, so that the same two teeth meet once in 23 x 67 meshes (recomputed)
    assert lines[1] == (
        "hp-pump-1: gears 23/67: mesh 115, driven shaft 1.716, hunting tooth 0.07463, assembly phase 115 (Hz at 1500 r/min)"
    )


def test_motors_are_told_with_slip_and_pole_pass(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """4 poles at 50 Hz and 1480 r/min: slip 20 of 1500 r/min, 4 poles times 1/3 Hz (W. R. Finley et al., 2000; recomputed)."""
    plant = PLANT.replace("rpm = 2975", "rpm = 1480\ntrain = { supply_hz = 50, poles = 4 }")
    assert run("--config", str(write(tmp_path, plant))) == 0
    assert capsys.readouterr().out.splitlines()[0] == (
        "hp-pump-1: motor of 4 poles at 50 Hz: synchronous speed 1500 r/min, slip 1.33 %, pole pass 1.333 Hz, "
        "twice supply 100 Hz (at 1480 r/min)"
    )
    assert run("--config", str(write(tmp_path, plant.replace("rpm = 1480", "rpm = 1510")))) == 0
    assert "motor" not in capsys.readouterr().out  # faster than its field


def test_json_says_the_same(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run("--config", str(write(tmp_path, PLANT.replace("2975", "0"))), "--json") == 2
    document = json.loads(capsys.readouterr().out)
    assert (document["ok"], document["errors"], document["warnings"], document["summary"]) == (False, 1, 0, None)
    (problem,) = document["problems"]
    assert problem["file"] == str(tmp_path / "plant.toml")
    assert (problem["line"], problem["field"], problem["is_error"]) == (7, "machine[hp-pump-1].rpm", True)
    assert problem["what"]
    assert problem["hint"]
    assert run("--config", str(write(tmp_path)), "--json") == 0
    summary = json.loads(capsys.readouterr().out)["summary"]
    assert (summary["machines"], summary["points"], summary["sensors"]) == (1, 1, 1)
    assert summary["limits_from"] == {"ISO 20816-3:2022 group 2, rigid: zone boundaries B/C and C/D": 1}


def test_a_directory_that_is_not_there(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    gone = tmp_path / "gone"
    assert run("--config", str(gone)) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert err == f"{gone}: there is no such directory (a directory with plant.toml and gateway.toml)\n"
    assert run("--config", str(gone), "--json") == 2
    (problem,) = json.loads(capsys.readouterr().out)["problems"]
    assert (problem["file"], problem["what"]) == (str(gone), "there is no such directory")


def test_a_directory_without_the_files(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run("--config", str(tmp_path)) == 2
    lines = capsys.readouterr().out.splitlines()
    assert lines[0].startswith(f"{tmp_path / 'plant.toml'}:1: file: no such file or directory")
    assert lines[1].startswith(f"{tmp_path / 'gateway.toml'}:1: file: no such file or directory")
    assert lines[2] == "2 errors"


def test_the_config_directory_must_be_named(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as caught:
        run()
    assert caught.value.code == 2
    assert "--config" in capsys.readouterr().err
