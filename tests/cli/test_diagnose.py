"""`edgemon diagnose`: every kind of file, the contract's fields, exit codes and errors that name file and field."""

import json
import math
import wave
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy.io import wavfile

from edgemon.cli.main import main
from edgemon.units import STANDARD_GRAVITY
from tests.diagnosis.making import FS_HZ, simulated

BEARING = {"n_balls": 9, "ball_d_mm": 7.94, "pitch_d_mm": 39.04, "contact_deg": 0.0}
CHANNELS = [
    {"name": "h", "unit": "g", "axis": "horizontal"},
    {"name": "v", "unit": "g", "axis": "vertical"},
    {"name": "a", "unit": "g", "axis": "axial"},
]


def counts(fault: str = "bearing-outer-race") -> tuple[np.ndarray[Any, Any], np.ndarray[Any, Any]]:
    """Samples in g as int16 and the scale of each channel."""
    in_g = simulated(fault, n=32768).samples / STANDARD_GRAVITY
    scale = np.abs(in_g).max(axis=1) / 32000.0
    return np.rint(in_g / scale[:, None]).astype(np.int16), scale


def write_npz(path: Path, **change: Any) -> Path:
    samples, scale = counts()
    meta = {"fs_hz": FS_HZ, "channels": CHANNELS, "quantity": "acceleration", "shaft_speed_rpm": 2975, "bearing": BEARING}
    fields: dict[str, Any] = {
        "samples": samples,
        "scale": scale,
        "offset": np.zeros(3),
        "fs_hz": FS_HZ,
        "meta": json.dumps(meta),
    }
    fields |= change
    np.savez(path, **{key: value for key, value in fields.items() if value is not None})
    return path


def documents(capsys: pytest.CaptureFixture[str]) -> list[dict[str, Any]]:
    return [json.loads(line) for line in capsys.readouterr().out.splitlines()]


def test_an_npz_file_gives_the_contract_s_fields(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = write_npz(tmp_path / "one.npz")
    assert main(["diagnose", str(path), "--json"]) == 0
    (found,) = documents(capsys)
    assert found["file"] == str(path)
    assert found["verdict"] == "fault"
    assert found["speed_origin"] == "estimated"  # the record's own lines placed it
    assert found["speed_confidence"] is None or 0.9 < found["speed_confidence"] <= 1.0
    best = found["findings"][0]
    assert {"fault", "confidence", "channel", "evidence", "rule", "source", "alternatives", "actions"} <= set(best)
    assert best["fault"] == "bearing-outer-race"
    line = best["evidence"][0]
    assert line["frequency_hz"] == pytest.approx(3.5848 * 2975 * 0.995 / 60.0, rel=0.02)
    assert line["harmonics"][:2] == [1, 2]
    assert set(found["levels"]) == {"h", "v", "a"}


def test_lines_that_stand_out_are_listed(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A sine of 2 m/s2 r.m.s. on a line, in noise: its frequency and r.m.s. value."""
    n = 25600
    sine = 2.0 * math.sqrt(2.0) * np.sin(2.0 * np.pi * 440.0 * np.arange(n) / FS_HZ)
    wave_ = sine + 0.1 * np.random.default_rng(1).standard_normal(n)
    np.savetxt(tmp_path / "sine.csv", wave_, header="a (m/s2)", comments="")
    assert main(["diagnose", str(tmp_path / "sine.csv"), "--json", "--fs", str(FS_HZ), "--speed", "1320"]) == 0
    (top, *_) = documents(capsys)[0]["peaks"]["a"]
    assert top["frequency_hz"] == pytest.approx(440.0, abs=1.0)
    assert top["order"] == pytest.approx(20.0, abs=0.05)
    assert (top["rms"], top["unit"]) == (pytest.approx(2.0, rel=0.02), "m/s2")


def test_levels_are_those_of_numpy(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = write_npz(tmp_path / "one.npz")
    samples, scale = counts()
    main(["diagnose", str(path), "--json"])
    levels = documents(capsys)[0]["levels"]["h"]
    in_si = samples[0] * scale[0] * STANDARD_GRAVITY
    resolved = [pytest.approx(FS_HZ / samples.shape[1], rel=1e-4), FS_HZ / 2.0]
    assert levels["acceleration_rms"] == {"value": pytest.approx(in_si.std(), rel=2e-3), "unit": "m/s2", "band_hz": resolved}
    assert levels["kurtosis"]["value"] == pytest.approx(np.mean((in_si - in_si.mean()) ** 4) / in_si.var() ** 2, rel=0.02)
    assert levels["velocity_rms"]["unit"] == "mm/s"
    assert levels["velocity_rms"]["band_hz"] == [10.0, 1000.0]


def test_text_names_bands_and_says_where_a_capture_is_too_short(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Fewer than eight periods of 10 Hz make velocity read high by more than 1 %: 1 / (2 k^2) for k periods (closed form)."""
    samples = counts()[0][:, : int(FS_HZ * 0.5)]
    wavfile.write(tmp_path / "short.wav", int(FS_HZ), samples.T.astype("<i2"))
    assert main(["diagnose", str(tmp_path / "short.wav"), "--unit", "g"]) == 0
    shown = capsys.readouterr().out.splitlines()
    assert any(line.startswith("  levels   1, 10-1000 Hz: velocity_rms ") and "short" in line for line in shown), shown
    assert not any(line.startswith("  levels") and " 1," in line.partition(":")[2] for line in shown), "a ratio has no unit"


def test_wave_csv_and_universal_files(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    pyuff = pytest.importorskip("pyuff", reason="pip install edgemon[files]")
    samples, scale = counts()
    in_g = samples * scale[:, None]
    with wave.open(str(tmp_path / "a.wav"), "wb") as sound:
        sound.setnchannels(3)
        sound.setsampwidth(2)
        sound.setframerate(int(FS_HZ))
        sound.writeframes(samples.T.astype("<i2").tobytes())
    lines = ["time,h (g),v (g),a (g)"]
    lines += [f"{i / FS_HZ:.9f},{x:.6f},{y:.6f},{z:.6f}" for i, (x, y, z) in enumerate(in_g.T)]
    (tmp_path / "b.csv").write_text("\n".join(lines), encoding="utf-8")
    for row, name in zip(in_g, "hva", strict=True):
        kinds = {f"{axis}_spec_data_type": 0 for axis in ("orddenom", "z_axis")}
        places = {"rsp_node": 1, "rsp_dir": 1, "ref_dir": 1, "ref_node": 1, "func_type": 1, "binary": 0}
        steps = {"x": np.arange(row.size) / FS_HZ, "abscissa_inc": 1.0 / FS_HZ, "abscissa_spacing": int(name != "h")}
        units = {"ordinate_axis_units_lab": "g", "ordinate_spec_data_type": 12, "abscissa_spec_data_type": 17}
        one = pyuff.prepare_58(id1=name, data=row, **kinds, **places, **steps, **units)
        pyuff.UFF(str(tmp_path / "c.uff")).write_sets(one, "add")
    files = [str(tmp_path / name) for name in ("a.wav", "b.csv", "c.uff")]
    code = main(["diagnose", *files, "--json", "--speed", "2975", "--bearing", "9,7.94,39.04,0"])
    assert code == 0
    found = documents(capsys)
    assert [one["findings"][0]["fault"] for one in found] == ["bearing-outer-race"] * 3
    assert found[0]["levels"]["1"]["acceleration_rms"]["unit"] == "as recorded"
    second, third = (found[i]["levels"]["h"] for i in (1, 2))
    for name, level in second.items():
        assert math.isclose(level["value"], third[name]["value"], rel_tol=2e-3)


@pytest.mark.parametrize("kind", ["<i4", "<f4", "<f8", "u1"])
def test_a_wave_file_of_any_kind_of_numbers_says_the_same(
    kind: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The library scipy writes them; the levels are those of the same samples as 16-bit numbers."""
    sixteen = counts()[0].T.astype("<i2")
    wavfile.write(tmp_path / "sixteen.wav", int(FS_HZ), sixteen)
    shares = sixteen / 2**15
    full = {"<i4": 2.0**31 * shares, "u1": np.rint(128 * shares + 128)}.get(kind, shares)
    wavfile.write(tmp_path / "other.wav", int(FS_HZ), full.astype(kind))
    assert main(["diagnose", str(tmp_path / "sixteen.wav"), str(tmp_path / "other.wav"), "--json"]) == 0
    first, second = (one["levels"] for one in documents(capsys))
    tolerance = 0.1 if kind == "u1" else 1e-6  # a step of 8 bits is a hundredth of these samples
    for channel, levels in first.items():
        assert second[channel]["acceleration_rms"]["value"] == pytest.approx(levels["acceleration_rms"]["value"], rel=tolerance)


@pytest.mark.parametrize("mark", [";", "\t", " "])
def test_a_decimal_comma_is_read(mark: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    samples = counts()[0][0] * counts()[1][0]
    points = [f"time{mark}h", *(f"{i / FS_HZ:.9f}{mark}{x:.6f}" for i, x in enumerate(samples))]
    (tmp_path / "point.csv").write_text("\n".join(points), encoding="utf-8")
    (tmp_path / "comma.csv").write_text("\n".join(points).replace(".", ","), encoding="utf-8")
    assert main(["diagnose", str(tmp_path / "point.csv"), str(tmp_path / "comma.csv"), "--json"]) == 0
    first, second = documents(capsys)
    assert first["levels"] == second["levels"]


def test_text_for_people(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["diagnose", str(write_npz(tmp_path / "one.npz"))]) == 0
    text = capsys.readouterr().out
    assert "bearing-outer-race" in text
    assert "BPFO at" in text
    assert "could also be" in text
    assert "qualified analyst" in text


def test_channels_can_be_chosen(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = write_npz(tmp_path / "one.npz")
    assert main(["diagnose", str(path), "--json", "--channel", "v", "--channel", "3"]) == 0
    assert list(documents(capsys)[0]["levels"]) == ["v", "a"]
    assert main(["diagnose", str(path), "--channel", "w"]) == 1
    assert "no channel 'w'" in capsys.readouterr().err


BAD: dict[str, tuple[dict[str, Any], str]] = {
    "no samples": ({"samples": None}, "samples"),
    "wrong scale": ({"scale": np.ones(2)}, "scale"),
    "no rate": ({"fs_hz": None, "meta": None}, "fs_hz"),
    "rate zero": ({"fs_hz": 0.0}, "fs_hz"),
    "not JSON": ({"meta": "{"}, "meta"),
    "speed is text": ({"meta": json.dumps({"shaft_speed_rpm": "fast"})}, "meta.shaft_speed_rpm"),
    "ball beyond pitch": ({"meta": json.dumps({"bearing": BEARING | {"ball_d_mm": 50.0}})}, "meta.bearing"),
    "a temperature": ({"meta": json.dumps({"quantity": "temperature"})}, "quantity"),
    "pickled": ({"samples": np.array([{}], dtype=object)}, "npz"),
}


@pytest.mark.parametrize("case", sorted(BAD))
def test_bad_fields_are_named_and_the_other_files_done(case: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    change, field = BAD[case]
    bad, good = write_npz(tmp_path / "bad.npz", **change), write_npz(tmp_path / "good.npz")
    assert main(["diagnose", str(bad), str(good), "--json"]) == 1
    out, err = capsys.readouterr()
    assert [json.loads(line)["file"] for line in out.splitlines()] == [str(good)]
    assert "bad.npz" in err
    assert field in err
    assert "Traceback" not in err


@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("a.npz", b"rubbish"),
        ("a.npz", b""),
        ("a.wav", b"RIFFrubbish"),
        ("a.csv", b"t,x\n0,1\n1,two\n"),
        ("a.csv", b"time,x\n0,1\n0.1,2\n0.7,3\n0.8,3\n"),
        ("a.csv", b"\xff\xfe\x00"),
        ("a.csv", b""),
        ("a.uff", b"rubbish"),
        ("a.txt", b"1 2 3"),
    ],
)
def test_rubbish_is_an_error_that_names_the_file(
    name: str, content: bytes, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / name).write_bytes(content)
    assert main(["diagnose", str(tmp_path / name), str(tmp_path / "missing.npz")]) == 1
    err = capsys.readouterr().err
    assert name in err
    assert "missing.npz" in err


@pytest.mark.parametrize(
    ("options", "named"),
    [
        (["--speed", "-5"], "--speed"),
        (["--bearing", "9,7"], "--bearing"),
        (["--bearing", "9,50,39"], "--bearing"),
        (["--gear", "23:67"], "--gear"),
        (["--planetary", "18/27/72"], "--planetary"),
        (["--planetary", "18/27/72/3,ring,ring"], "--planetary"),
        (["--planetary", "18/27/90/3"], "--planetary"),
        (["--unit", "furlong"], "--unit"),
        (["--direction", "h=up"], "--direction"),
        (["--speed", "fast"], "--speed"),
    ],
)
def test_bad_usage_is_exit_code_two(options: list[str], named: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["diagnose", str(write_npz(tmp_path / "one.npz")), *options]) == 2
    assert named in capsys.readouterr().err


def test_a_gear_is_compared_with_a_recording_of_its_baseline(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for name, fault in (("then.npz", ""), ("now.npz", "gear")):
        wave = simulated(fault, "gear-motor", n=32768)
        meta = {"fs_hz": FS_HZ, "channels": [c | {"unit": "m/s2"} for c in CHANNELS], "quantity": "acceleration"}
        np.savez(tmp_path / name, samples=wave.samples, fs_hz=FS_HZ, meta=json.dumps(meta))
    now, facts = str(tmp_path / "now.npz"), ["--speed", "1480", "--gear", "17/68", "--json"]
    assert main(["diagnose", now, *facts]) == 0
    assert main(["diagnose", now, *facts, "--baseline", str(tmp_path / "then.npz")]) == 0
    alone, compared = documents(capsys)
    assert alone["verdict"] == "cannot-tell"
    assert any("no baseline" in remark for remark in alone["remarks"])
    assert compared["verdict"] == "fault"
    assert compared["findings"][0]["fault"] == "gear"
    assert main(["diagnose", now, *facts, "--baseline", str(tmp_path / "missing.npz")]) == 2
    assert "--baseline" in capsys.readouterr().err


def test_files_of_one_machine_get_one_answer(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    paths = [str(write_npz(tmp_path / name)) for name in ("motor.npz", "pump.npz")]
    places = ["--place", "motor=driver:drive", "--place", "pump=driven:drive"]
    assert main(["diagnose", "--machine", "--json", *places, *paths]) == 0
    (found,) = documents(capsys)
    assert found["files"] == paths
    assert sorted(found["levels"]) == [f"{name} {axis}" for name in ("motor", "pump") for axis in "ahv"]
    assert found["findings"][0]["fault"] == "bearing-outer-race"
    assert any("compared with pump h, pump v, pump a" in remark for remark in found["remarks"])


def test_a_machine_of_which_one_file_fails_gets_no_answer(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    missing = str(tmp_path / "none.npz")
    assert main(["diagnose", "--machine", str(write_npz(tmp_path / "one.npz")), missing]) == 1
    said = capsys.readouterr()
    assert said.out == ""
    assert missing in said.err


@pytest.mark.parametrize("word", ["pump=sideways:drive", "pump=driven:up", "pump"])
def test_places_that_are_none_are_bad_usage(word: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["diagnose", "--place", word, str(tmp_path / "one.npz")]) == 2
    assert "--place" in capsys.readouterr().err
