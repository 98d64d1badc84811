"""What `edgemon diagnose` tells of a recording: sizes by closed forms, units and detectors named, and what is left out."""

import json
import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.io import wavfile

from edgemon.cli import npz_files
from edgemon.cli.main import main
from tests.cli.test_diagnose import write_npz

FS_HZ = 5120.0
TIME = np.arange(4 * 5120) / FS_HZ


def sine(rms: float, hz: float) -> NDArray[np.float64]:
    return rms * math.sqrt(2.0) * np.sin(2.0 * np.pi * hz * TIME + 0.4)


def csv(path: Path, values: NDArray[np.float64], head: str) -> Path:
    np.savetxt(path, np.column_stack((TIME, values)), delimiter=",", header=f"time,{head}", comments="", fmt="%.9g")
    return path


def told(capsys: pytest.CaptureFixture[str], *words: str) -> dict[str, Any]:
    assert main(["diagnose", "--json", *words]) == 0
    document: dict[str, Any] = json.loads(capsys.readouterr().out)
    return document


@pytest.mark.parametrize("off", [0.0, 0.3, 0.5])
def test_lines_are_as_of_the_sine_between_them(off: float, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Half a line off, a Hann window shows a sine 1.42 dB low (F. J. Harris, 1978): 15 %."""
    hz = 440.0 + off * FS_HZ / TIME.size
    noise = 0.01 * np.random.default_rng(1).standard_normal(TIME.size)
    (top,) = told(capsys, str(csv(tmp_path / "a.csv", sine(2.0, hz) + noise, "a (m/s2)")))["peaks"]["a"]
    assert (top["rms"], top["unit"]) == (pytest.approx(2.0, rel=2e-3), "m/s2")
    assert top["frequency_hz"] == pytest.approx(hz, abs=0.01)


def test_a_recording_of_velocity_has_the_levels_of_velocity(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """4.5 mm/s r.m.s. at 25 Hz are 81.0285 um peak-to-peak (closed form)."""
    path = str(csv(tmp_path / "v.csv", sine(4.5, 25.0), "v [mm/s]"))
    found = told(capsys, path)
    levels = found["levels"]["v"]
    assert levels["velocity_rms"] == {"value": pytest.approx(4.5, rel=2e-3), "unit": "mm/s", "band_hz": [10.0, 1000.0]}
    assert levels["velocity_peak"]["value"] == pytest.approx(4.5 * math.sqrt(2.0), rel=5e-3)
    assert (levels["displacement_pp"]["value"], levels["displacement_pp"]["unit"]) == (pytest.approx(81.03, rel=5e-3), "um")
    assert "velocity was recorded" in found["left_out"]["v"]["acceleration_rms"]
    assert (found["peaks"]["v"][0]["unit"], found["peaks"]["v"][0]["rms"]) == ("mm/s", pytest.approx(4.5, rel=2e-3))
    assert main(["diagnose", path]) == 0
    text = capsys.readouterr().out
    assert "lines    v, velocity r.m.s., mm/s: 25 Hz 4.5" in text
    assert (
        "left out v, acceleration_rms, acceleration_peak, envelope_rms, envelope_peak, crest_factor, kurtosis: made of" in text
    )


def test_a_slow_machine_s_velocity_counts_from_2_hz_on(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Below 600 r/min the band begins at 2 Hz (ISO 20816-3:2022): 3 mm/s at 5 Hz are 5 Hz's own, and hardly seen from 10 on."""
    path = str(csv(tmp_path / "a.csv", sine(3e-3 * 2.0 * np.pi * 5.0, 5.0), "a (m/s2)"))
    slow = told(capsys, path, "--speed", "300")["levels"]["a"]["velocity_rms"]
    assert slow == {"value": pytest.approx(3.0, rel=0.02), "unit": "mm/s", "band_hz": [2.0, 1000.0]}
    quick = told(capsys, path, "--speed", "1500")["levels"]["a"]["velocity_rms"]
    assert quick["band_hz"] == [10.0, 1000.0]
    assert quick["value"] < 1.0


def test_samples_without_a_unit_say_what_that_costs(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = str(csv(tmp_path / "a.csv", sine(1.0, 50.0), "a"))
    left = told(capsys, path)["left_out"]["a"]
    assert set(left) == {"velocity_rms", "velocity_peak", "displacement_pp"}
    assert "--unit" in left["velocity_rms"]
    assert main(["diagnose", path]) == 0
    assert "lines    a, acceleration r.m.s., as recorded: 50 Hz 1" in capsys.readouterr().out
    found = told(capsys, path, "--samples-unit", "g")
    assert found["left_out"]["a"] == {}
    # 1 g r.m.s. at 50 Hz is 9.80665 / (2 pi 50) m/s (closed form)
    assert found["levels"]["a"]["velocity_rms"]["value"] == pytest.approx(9806.65 / (100.0 * math.pi), rel=5e-3)


def test_text_gives_the_evidence_with_its_figures_and_the_rule_with_its_source(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = str(write_npz(tmp_path / "one.npz"))
    (best, *_) = told(capsys, path)["findings"]
    assert main(["diagnose", path]) == 0
    text = capsys.readouterr().out
    assert f"times its surroundings; harmonics {', '.join(map(str, best['evidence'][0]['harmonics']))}" in text
    assert f"source: {best['source']}" in text
    assert f"rule: {best['rule']}" in text


def test_amplitudes_of_evidence_name_unit_and_detector(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = str(csv(tmp_path / "a.csv", sine(4.5e-3 * 2.0 * np.pi * 25.0, 25.0), "a (m/s2)"))
    assert main(["diagnose", path, "--speed", "1500"]) == 0
    assert "- 1x (25 Hz; 1 x running speed; 4.5 mm/s r.m.s.; " in capsys.readouterr().out


def test_parts_that_nobody_told_of_are_named(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = str(csv(tmp_path / "a.csv", sine(1.0, 50.0), "a (m/s2)"))
    everything = ["gears", "blades", "belt", "supply frequency of a motor", "plain bearings"]
    assert told(capsys, path)["not_told"] == everything
    facts = ["--speed", "1480", "--gear", "20/40", "--supply-hz", "50"]
    assert told(capsys, path, *facts)["not_told"] == ["blades", "belt", "plain bearings"]
    assert main(["diagnose", path, *facts]) == 0
    assert "not told blades, belt, plain bearings: what only these show was not looked for" in capsys.readouterr().out


def failing(capsys: pytest.CaptureFixture[str], path: Path) -> str:
    assert main(["diagnose", str(path)]) == 1
    out, err = capsys.readouterr()
    assert out == ""
    assert "Warning" not in err
    assert path.name in err
    return err


def test_a_wave_file_that_was_cut_off_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "cut.wav"
    wavfile.write(path, int(FS_HZ), (sine(0.1, 50.0) * 2**15).astype("<i2"))
    whole = path.read_bytes()
    path.write_bytes(whole[:9000])
    assert f"ends after 9000 of {len(whole)} bytes" in failing(capsys, path)


def test_numbers_that_no_vibration_reaches_are_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert "values up to 1.41e+20" in failing(capsys, csv(tmp_path / "a.csv", sine(1e20, 50.0), "a (m/s2)"))


def test_one_sample_is_no_recording_to_judge(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    np.savez(tmp_path / "one.npz", samples=np.ones((1, 1)), fs_hz=FS_HZ)
    found = told(capsys, str(tmp_path / "one.npz"))
    assert (found["verdict"], found["peaks"]) == ("cannot-tell", {"1": []})
    assert found["remarks"] == ["fewer than 512 samples"]


def test_an_archive_is_weighed_before_it_is_unpacked(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(npz_files, "MAX_UNPACKED", 1_000_000)
    np.savez_compressed(tmp_path / "zeros.npz", samples=np.zeros(600_000, np.int16), fs_hz=FS_HZ)
    assert (tmp_path / "zeros.npz").stat().st_size < 10_000
    assert "bytes once unpacked (at most 1000000)" in failing(capsys, tmp_path / "zeros.npz")


def test_an_archive_without_samples_says_what_it_has(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    np.savez(tmp_path / "row.npz", raw=np.zeros((2, 1, 64), np.int16), t_s=np.arange(2.0))
    assert "samples: no array of this name (one or more channels; the archive has raw, t_s)" in failing(
        capsys, tmp_path / "row.npz"
    )


def test_times_that_go_back_are_named(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "back.csv"
    path.write_text("time,a\n0,1\n0.1,2\n0.05,3\n0.2,4\n", encoding="utf-8")
    assert "time: time does not rise: 0.05 follows 0.1" in failing(capsys, path)
