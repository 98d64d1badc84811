"""`edgemon battery`: the table, the line for plant.toml, each sensor of a plant, and errors that name the option."""

import json
from pathlib import Path

import pytest

from edgemon.cli.battery import shown
from edgemon.cli.main import main

SALTMARSH = Path(__file__).parents[2] / "config" / "saltmarsh"
SENSOR = ("--sleep", "5uA", "--capture", "15mA:2s", "--capture", "30mA:1.5s", "--capacity", "2.4Ah")


def row(out: str, interval: str) -> str:
    (found,) = [" ".join(line.split()) for line in out.splitlines() if " ".join(line.split()).startswith(interval)]
    return found


def test_the_table_says_life_and_captures_of_each_interval(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["battery", *SENSOR]) == 0
    out = capsys.readouterr().out
    assert row(out, "1 h") == "1 h 24 25.83 uA 19.4 % 7.7 years"  # by hand in tests/planning/test_battery.py
    assert [row(out, name).split()[2] for name in ("10 min", "2 h", "8 h", "24 h")] == ["144", "12", "3", "1"]
    assert "captures_per_percent = 921.6" in out
    assert "a capture: 270 mJ, 0.02083 mAh" in out
    for caveat in ("no fuel gauge", "very low drain and at a high one", "cold"):
        assert caveat in out


def test_the_whole_capacity_and_intervals_asked_for(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["battery", *SENSOR, "--usable", "100", "--self-discharge", "0%", "--every", "1h", "2s", "4s"]) == 0
    out = capsys.readouterr().out
    assert row(out, "1 h") == "1 h 24 25.83 uA 19.4 % 10.6 years"
    assert row(out, "2 s") == "2 s 43200 too often: a capture takes longer"
    assert row(out, "4 s").endswith("5.33 days")  # 2.4 Ah over 18.755 mA = 127.97 h
    assert "captures_per_percent = 1152" in out


def test_for_programs(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["battery", *SENSOR, "--every", "1h", "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    (one,) = told["intervals"]
    assert one["life_years"] == pytest.approx(7.666, rel=1e-3)
    assert one["average_a"] == pytest.approx(25.833e-6, rel=1e-4)
    assert (told["captures_per_percent"], told["energy_j_per_capture"]) == (pytest.approx(921.6), pytest.approx(0.27))
    assert told["battery"] == {"capacity_ah": 2.4, "usable_share": 0.8, "self_discharge_per_year": 0.01}


def test_each_sensor_of_a_plant_at_its_interval(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    assert main(["battery", *SENSOR, "--config", str(SALTMARSH), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert {one["sensor"]: one["interval_s"] for one in told["sensors"]}["s-0001"] == 6.0
    assert main(["battery", *SENSOR, "--config", str(tmp_path)]) == 2
    assert str(tmp_path / "plant.toml") in capsys.readouterr().err


@pytest.mark.parametrize(
    ("extra", "option", "why"),
    [
        (("--sleep", "5"), "--sleep", "units: A, mA, uA"),
        (("--sleep", "500A"), "--sleep", "0 to 100 A"),
        (("--capture", "15mA"), "--capture", "write 15mA:2s"),
        (("--capture", "0mA:2s"), "--capture", "not possible"),
        (("--also", "10mA:0.1s:often"), "--also", "not a number of times a day"),
        (("--also", "10mA:40000s:3"), "--also", "times a day"),
        (("--also", "10mA:40000s:2", "--also", "10mA:40000s:2"), "--also", "160000 s a day"),
        (("--capacity", "2.4"), "--capacity", "write 2.4Ah"),
        (("--capacity", "2.4mA"), "--capacity", "write 2.4Ah"),
        (("--capacity", "0Ah"), "--capacity", "not possible"),
        (("--usable", "150"), "--usable", "percentage from 0 to 100"),
        (("--usable", "0"), "--usable", "not possible"),
        (("--self-discharge", "nan"), "--self-discharge", "percentage from 0 to 100"),
        (("--voltage", "nan"), "--voltage", "not possible"),
        (("--every", "0s"), "--every", "not possible"),
        (("--every", "soon"), "--every", "not a duration"),
    ],
)
def test_an_impossible_number_is_told_by_its_option(
    extra: tuple[str, ...], option: str, why: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["battery", *SENSOR, *extra]) == 2
    told = capsys.readouterr().err.splitlines()[-1]
    assert option in told
    assert why in told


def test_the_number_for_a_plant_file_is_never_rounded_to_none() -> None:
    assert [shown(one) for one in (0.00123456, 921.6, 1152.4, 1e7)] == ["0.001235", "921.6", "1152", "10000000"]
