import json
import os
import tomllib
from pathlib import Path
from typing import Any

import cbor2
import numpy as np
import pytest

from edgemon.settings.load import problems
from simulators.errors import SimulatorError
from simulators.payloads import encode_capture
from simulators.plantfile import gateway_toml, plant_toml, write_files
from simulators.publish import Broker
from simulators.recordings import captures, identifier_of, read_recordings, unit_of

START = 1_800_000_000.0
GATEWAY = gateway_toml(Broker("127.0.0.1", 1883), "edgemon/v1")


def record(folder: Path, name: str, channels: list[dict[str, str]], n: int = 1000, **extra: Any) -> dict[str, Any]:
    """Write one record as the format describes it and give its line of the manifest."""
    meta = {"id": name, "kind": "waveform", "file": f"{name}.npz", "channels": channels, "machine": "bench", **extra}
    counts = np.random.default_rng(n).integers(-32768, 32767, (len(channels), n)).astype(np.int16)
    scale = np.array([1e-4 * (1 + k * extra.get("differ", 0)) for k in range(len(channels))])
    np.savez(
        folder / f"{name}.npz", samples=counts, scale=scale, offset=np.zeros(len(channels)), fs_hz=2000.0, meta=json.dumps(meta)
    )
    return meta


def folder_with(tmp_path: Path, *records: dict[str, Any]) -> Path:
    (tmp_path / "manifest.json").write_text(json.dumps({"records": list(records)}))
    return tmp_path


G = {"name": "DE", "location": "drive end", "unit": "g (usual reading; the publisher states no unit)"}


def test_counts_arrive_as_they_are(tmp_path: Path) -> None:
    folder = folder_with(tmp_path, record(tmp_path, "bench-1", [G], shaft_speed_rpm=1796))
    (recording,), left_out = read_recordings(folder)
    assert left_out == []
    stored = np.load(tmp_path / "bench-1.npz")["samples"]
    waves = list(captures(recording, START, longest=300))
    assert [wave.axes["x"].size for wave in waves] == [300, 300, 300, 100]
    assert [wave.t for wave in waves] == [START, START + 0.15, START + 0.3, START + 0.45]
    assert len({wave.id for wave in waves}) == 4
    assert np.array_equal(np.concatenate([wave.axes["x"] for wave in waves]), stored[0])
    for wave in waves:
        (payload,) = encode_capture(wave)
        fields = cbor2.loads(payload)
        assert (fields["u"], fields["scale"], fields["fs"], fields["rpm"], fields["sim"]) == ("g", 1e-4, 2000.0, 1796.0, True)
        assert np.array_equal(np.frombuffer(fields["axes"]["x"], "<i2"), wave.axes["x"])


def test_channels_of_one_scale_go_together_and_others_apart(tmp_path: Path) -> None:
    together = record(tmp_path, "alike", [G, G, G])
    apart = record(tmp_path, "unlike", [G, G], differ=1)
    alike, unlike = read_recordings(folder_with(tmp_path, together, apart))[0]
    assert [set(wave.axes) for wave in captures(alike, START)] == [{"x", "y", "z"}]
    waves = list(captures(unlike, START))
    assert [(set(wave.axes), wave.scale, wave.id) for wave in waves] == [({"x"}, 1e-4, "c00000-x"), ({"y"}, 2e-4, "c00000-y")]


def test_snapshots_are_never_joined(tmp_path: Path) -> None:
    line = record(tmp_path, "snaps", [G], n=1000, snapshot_samples=400)
    ((recording,), _) = read_recordings(folder_with(tmp_path, line))
    assert [wave.axes["x"].size for wave in captures(recording, START)] == [400, 400, 200]
    assert [wave.axes["x"].size for wave in captures(recording, START, 300)] == [300, 100, 300, 100, 200]


def test_raw_snapshots_of_a_trend_are_captures(tmp_path: Path) -> None:
    meta = {"id": "life", "kind": "trend", "file": "life.npz", "raw_snapshots": 3, "fs_hz": 25600, "channels": [G, G]}
    raw = np.arange(3 * 2 * 50, dtype=np.int16).reshape(3, 2, 50)
    np.savez(tmp_path / "life.npz", raw=raw, raw_scale=1e-3, meta=json.dumps(meta))
    ((recording,), _) = read_recordings(folder_with(tmp_path, meta))
    waves = list(captures(recording, START))
    assert len(waves) == 3
    for k, wave in enumerate(waves):
        assert np.array_equal(wave.axes["x"], raw[k, 0])
        assert np.array_equal(wave.axes["y"], raw[k, 1])


def test_trends_without_waveforms_are_left_out_and_named(tmp_path: Path) -> None:
    found, left_out = read_recordings(folder_with(tmp_path, {"id": "loop", "kind": "trend", "file": "loop.npz"}))
    assert found == []
    assert left_out == ["loop: a trend without waveforms"]


@pytest.mark.parametrize(
    ("words", "name", "factor", "calibrated"),
    [
        ("g", "g", 1.0, True),
        ("g (usual reading; the publisher states no unit)", "g", 1.0, True),
        ("m/s2 including gravity", "m/s2", 1.0, True),
        ("V (sensor output; sensitivity not published, so levels are relative only)", "mV", 1000.0, False),
        ("unit not stated (uncalibrated)", "g", 1.0, False),
    ],
)
def test_units_are_read(words: str, name: str, factor: float, calibrated: bool) -> None:
    unit = unit_of(words)
    assert (unit.name, unit.factor, unit.calibrated) == (name, factor, calibrated)


def test_a_unit_that_is_no_acceleration_is_refused() -> None:
    for words in ("bar", "gauss", "mm/s"):
        with pytest.raises(SimulatorError, match="not understood"):
            unit_of(words)


def test_ids_become_identifiers() -> None:
    assert identifier_of("CWRU 97/ok") == "cwru-97-ok"
    assert len(identifier_of("a" * 100)) == 63
    with pytest.raises(SimulatorError, match="no identifier"):
        identifier_of("///")


def test_what_is_wrong_with_a_folder_is_named(tmp_path: Path) -> None:
    with pytest.raises(SimulatorError, match=r"manifest\.json: not a manifest"):
        read_recordings(tmp_path)
    (tmp_path / "manifest.json").write_text("[]")
    with pytest.raises(SimulatorError, match=r"manifest\.json: not a manifest"):
        read_recordings(tmp_path)
    folder_with(tmp_path, {"id": "gone", "kind": "waveform", "file": "gone.npz"})
    with pytest.raises(SimulatorError, match=r"gone\.npz: cannot be read"):
        read_recordings(tmp_path)
    (tmp_path / "gone.npz").write_bytes(b"not a zip")
    with pytest.raises(SimulatorError, match=r"gone\.npz: cannot be read"):
        read_recordings(tmp_path)
    with pytest.raises(SimulatorError, match="no record 'other'"):
        read_recordings(tmp_path, ("other",))


def test_the_plant_file_names_a_machine_a_record_and_a_point_a_channel(tmp_path: Path) -> None:
    bearing = {"type": "6205", "n_balls": 9, "ball_d_mm": 7.94, "pitch_d_mm": 39.04, "contact_deg": 0.0}
    fan_end = {"n_balls": 8, "ball_d_mm": 6.746, "pitch_d_mm": 28.5, "contact_deg": 0.0}
    other = {"name": "FE", "location": "fan end, top", "unit": "g"}
    volts = {"name": "a", "location": 'pedestal "A"', "unit": "V (relative)"}
    folder = folder_with(
        tmp_path,
        record(tmp_path, "one", [G, other], bearing=bearing, bearing_fan_end=fan_end, shaft_speed_rpm=1796),
        record(tmp_path, "two", [volts, volts]),
    )
    plant = tomllib.loads(plant_toml(read_recordings(folder)[0]))
    one, two = plant["machine"]
    assert (one["id"], one["rpm"], [point["axis"] for point in one["point"]]) == ("one", 1796, ["x", "y"])
    assert [point["name"] for point in one["point"]] == ["drive end", "fan end"]
    assert one["point"][1]["bearing"]["rolling_elements"] == 8
    assert one["point"][0]["bearing"] == {
        "rolling_elements": 9,
        "ball_diameter_mm": 7.94,
        "pitch_diameter_mm": 39.04,
        "contact_angle_deg": 0.0,
    }
    assert "rpm" not in two
    assert [point["axis"] for point in two["point"]] == ["x", "y"]
    assert two["point"][0]["name"] == 'pedestal "A"'
    sensors = {sensor["id"]: sensor for sensor in plant["sensor"]}
    assert set(sensors) == {"one", "two"}
    assert "sensitivity_mv_per_g" in sensors["two"]
    assert "sensitivity_mv_per_g" not in sensors["one"]


@pytest.mark.parametrize("severity_class", ["", "iso20816-3/group2/rigid"])
def test_the_settings_accept_what_is_written(tmp_path: Path, severity_class: str) -> None:
    line = record(tmp_path, "one", [G], bearing={"n_balls": 9, "ball_d_mm": 7.94, "pitch_d_mm": 39.04, "contact_deg": 0.0})
    plant = plant_toml(read_recordings(folder_with(tmp_path, line))[0], severity_class)
    write_files(tmp_path / "config", plant, GATEWAY, force=False)
    found = [str(problem) for problem in problems(tmp_path / "config")]
    assert all("warning" in problem for problem in found), found
    # Without a class nothing has a limit, and the settings say so.
    assert any("the point has no limit" in problem for problem in found) is (severity_class == "")


def test_records_whose_size_cannot_be_trusted_get_no_limits(tmp_path: Path) -> None:
    volts = {"name": "a", "location": "pedestal", "unit": "V (relative)"}
    folder = folder_with(tmp_path, record(tmp_path, "two", [volts]))
    assert "severity_class" not in plant_toml(read_recordings(folder)[0], "iso20816-3/group2/rigid")


def test_the_gateway_file_names_the_broker() -> None:
    gateway = tomllib.loads(gateway_toml(Broker("broker.example", 8883, tls=True, username="sensors"), "x/y"))
    assert gateway["broker"] == {"url": "mqtts://broker.example:8883", "username": "sensors"}
    assert gateway["gateway"]["root"] == "x/y"


def test_files_that_are_there_are_kept(tmp_path: Path) -> None:
    (tmp_path / "plant.toml").write_text("mine")
    with pytest.raises(SimulatorError, match="is there already"):
        write_files(tmp_path, plant_toml([]), GATEWAY, force=False)
    assert (tmp_path / "plant.toml").read_text() == "mine"
    assert not (tmp_path / "gateway.toml").exists()
    write_files(tmp_path, plant_toml([]), GATEWAY, force=True)
    assert tomllib.loads((tmp_path / "plant.toml").read_text())["site"]["id"] == "recordings"


@pytest.mark.recordings
def test_every_open_recording_survives_the_contract() -> None:
    place = os.environ.get("EDGEMON_RECORDINGS")
    if not place:
        pytest.skip("EDGEMON_RECORDINGS does not name the folder of open recordings")
    folder = Path(place)
    recordings, left_out = read_recordings(folder)
    assert len(recordings) + len(left_out) == len(json.loads((folder / "manifest.json").read_text())["records"])
    plant = tomllib.loads(plant_toml(recordings))
    assert len(plant["machine"]) == len(recordings)
    for recording in recordings:
        heard: dict[str, list[Any]] = {axis: [] for axis in recording.axes}
        for wave in captures(recording, START, 16_384):
            for payload in encode_capture(wave, 3):
                for axis, samples in cbor2.loads(payload)["axes"].items():
                    heard[axis].append(np.frombuffer(samples, "<i2"))
        with np.load(folder / f"{recording.id}.npz", allow_pickle=False) as stored:
            raw = (
                stored["samples"]
                if "samples" in stored
                else stored["raw"].transpose(1, 0, 2).reshape(stored["raw"].shape[1], -1)
            )
        for axis, expected in zip(recording.axes, raw, strict=True):
            assert np.array_equal(np.concatenate(heard[axis]), expected)
