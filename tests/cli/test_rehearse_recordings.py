"""`edgemon rehearse` over recordings: recorded traffic, and files of waveforms with a time each."""

import json
import os
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy.io import wavfile

from edgemon.cli.capture_files import write_capture
from edgemon.cli.main import main
from edgemon.cli.timed_files import stamp_of
from edgemon.cli.traffic import Header, header_line, message_line
from edgemon.model.ids import CaptureId, SensorId
from edgemon.model.message import Message
from edgemon.model.reading import Capture
from edgemon.mqtt.port import Delivery
from simulators.payloads import Waveform, encode_capture
from tests.settings.support import SITE

T = 1_760_000_000.0
FS, N, F = 4096, 4096, 64.0
G = 9.80665  # m/s2, standard gravity, ISO 80000-3
MACHINE = '[[machine]]\nid = "fan-1"\nrpm = 1500\n'
POINT = '[[machine.point]]\nid = "brg"\nsensor = "s-0001"\naxis = "x"\nstale_after_s = 7200\n'
LIMIT = '[[machine.point.limit]]\nlevel = "acceleration_rms"\nunit = "m/s2"\non_delay = 1\noff_delay = 1\n'
PLANT = SITE + MACHINE + POINT + LIMIT + "alert = 2.5\nalarm = 4.5\n"
LOWER = PLANT.replace("alert = 2.5", "alert = 1.5")
RMS = [1.0, 2.0, 3.0, 5.0]
"""Of sines, m/s2, 600 s apart: the alert of 2.5 is reached by the third, that of 1.5 by the second, the alarm by the fourth."""
AFTER = {2.5: 1200.0, 1.5: 600.0, 4.5: 1800.0}


def sine(rms: float) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    found: np.ndarray[tuple[int], np.dtype[np.float64]] = np.sqrt(2.0) * rms * np.sin(2.0 * np.pi * F * np.arange(N) / FS)
    return found


@pytest.fixture
def config(tmp_path: Path) -> Path:
    (tmp_path / "plant.toml").write_text(PLANT)
    (tmp_path / "lower.toml").write_text(LOWER)
    (tmp_path / "gateway.toml").write_text("")
    failed = "2025-10-09T09:53:20Z"  # T + 3600 by `date -u -d @1760003600`
    (tmp_path / "events.toml").write_text(f'[[event]]\nmachine = "fan-1"\nt = {failed}\nname = "bearing failed"\n')
    (tmp_path / "held").mkdir()
    return tmp_path


def rehearsed(config: Path, capsys: pytest.CaptureFixture[str], *more: str, code: int = 0) -> dict[str, Any]:
    asked = ("--config", str(config), "--candidate", str(config / "lower.toml"), "--events", str(config / "events.toml"))
    assert main(["rehearse", *asked, "--json", *more]) == code, capsys.readouterr().err
    found: dict[str, Any] = json.loads(capsys.readouterr().out)
    return found


def check(found: dict[str, Any]) -> None:
    """Compare with what follows by hand from the r.m.s. values and their times."""
    (point,) = found["points"]
    assert [point[one][what] for one in ("before", "after") for what in ("alerts", "alarms")] == [1, 1, 1, 1]
    (known,) = found["known_events"]
    assert known["before"] == {"alert_s": 3600.0 - AFTER[2.5], "alarm_s": 3600.0 - AFTER[4.5]}
    assert known["after"] == {"alert_s": 3600.0 - AFTER[1.5], "alarm_s": 3600.0 - AFTER[4.5]}


def traffic(config: Path, sim: bool = False) -> list[bytes]:
    step = 2e-4
    lines = []
    for k, rms in enumerate(RMS):
        counts = np.rint(sine(rms) / step).astype(np.int16)
        wave = Waveform(f"c{k}", T + 600.0 * k, FS, "m/s2", step, {"x": counts}, rpm=1500.0, sim=sim)
        (payload,) = encode_capture(wave)
        message = Message("edgemon/v1/sensor/s-0001/capture", payload, T + 600.0 * k + 3.0)
        lines.append(message_line(Delivery(message, 1, k, 1)))
    return lines


def recorded(config: Path, *lines: bytes) -> str:
    path = config / "held" / "traffic.jsonl"
    path.write_bytes(header_line(Header("edgemon/v1", T)) + b"".join(lines))
    return str(path)


def test_recorded_traffic_is_decoded_measured_and_judged_with_both(config: Path, capsys: pytest.CaptureFixture[str]) -> None:
    check(rehearsed(config, capsys, recorded(config, *traffic(config))))


def test_a_repeat_changes_nothing_and_what_cannot_be_used_is_named(config: Path, capsys: pytest.CaptureFixture[str]) -> None:
    lines = traffic(config)
    strange = message_line(Delivery(Message("edgemon/v1/sensor/s-0099/reading", b"[]", T + 5.0), 1, 9, 1))
    found = rehearsed(
        config, capsys, recorded(config, lines[0], strange, *lines[:3], b"half a", b" line\n", strange, lines[3]), code=1
    )
    check(found)
    assert [(Path(one["where"]).name, one["count"]) for one in found["left_out"]] == [
        ("traffic.jsonl:7", 1),
        ("traffic.jsonl", 2),
    ]
    assert "s-0099 is not in plant.toml" in found["left_out"][1]["why"]


def test_simulated_traffic_is_a_past_of_its_own(config: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = recorded(config, *traffic(config, sim=True))
    assert main(["rehearse", "--config", str(config), path]) == 1
    assert "no real measurement" in capsys.readouterr().err
    check(rehearsed(config, capsys, "--sim", path))


def test_exported_captures_say_sensor_axis_and_time_themselves(config: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for k, rms in enumerate(RMS):
        counts = np.rint(sine(rms) / 2e-4).astype(np.int16)
        at = T + 600.0 * k
        one = Capture(SensorId("s-0001"), CaptureId(f"c{k}"), at, at, FS, "m/s2", 2e-4, 2e-4, {"x": counts}, rpm=1500.0)
        write_capture(config / "held", one)
    check(rehearsed(config, capsys, str(config / "held")))


def test_wave_files_have_their_time_in_their_name_and_their_point_said(
    config: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    for stamp, rms in zip(("085320", "090320", "091320", "092320"), RMS, strict=True):  # `date -u -d @1760000000`, + 10 min
        counts = np.rint(sine(rms) / G * 3276.8).astype(np.int16)  # a tenth of full scale is 1 g
        wavfile.write(config / "held" / f"brg_20251009_{stamp}.wav", FS, counts)
    said = ("--place", "brg_*=fan-1/brg", "--unit", "g")
    found = rehearsed(config, capsys, *said, str(config / "held"))
    before = found["points"][0]["before"]
    assert before["alerts"] == before["alarms"] == 0  # full scale is 1 in the unit given: a tenth of the true size
    (config / "plant.toml").write_text(PLANT.replace("2.5", "0.25").replace("4.5", "0.45"))
    (config / "lower.toml").write_text(LOWER.replace("1.5\n", "0.15\n").replace("4.5", "0.45"))
    check(rehearsed(config, capsys, *said, str(config / "held")))


def test_numbered_text_files_follow_one_another_from_a_begin(config: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for k, rms in enumerate(RMS):
        rows = "\n".join(f"{n / FS:.6f},{value:.5f}" for n, value in enumerate(sine(rms)))
        (config / "held" / f"acc_{8 + k}.csv").write_text(f"t,x (m/s2)\n{rows}\n")  # 8, 9, 10, 11
    said = ("--begin", "2025-10-09T08:53:20Z", "--every", "10m", "--place", "x=fan-1/brg")
    check(rehearsed(config, capsys, *said, str(config / "held")))


@pytest.mark.parametrize(
    ("options", "why"),
    [
        ((), "no time in the file nor in its name"),
        (("--begin", "2025-10-09"), "belongs to no point: channel 1"),
        (("--begin", "2025-10-09", "--place", "1=fan-1/brg"), "sample rate not known"),
        (("--begin", "2025-10-09", "--place", "1=fan-1/brg", "--fs", "4096"), "unit of channel '1' not known"),
        (("--begin", "2025-10-09", "--place", "1=fan-1/brg", "--fs", "4096", "--unit", "mm/s"), "captures are of acceleration"),
    ],
)
def test_a_file_that_cannot_be_used_is_named_with_the_reason_and_what_to_do(
    config: Path, capsys: pytest.CaptureFixture[str], options: tuple[str, ...], why: str
) -> None:
    (config / "held" / "a.csv").write_text("\n".join(f"{value:.5f}" for value in sine(1.0)))
    assert main(["rehearse", "--config", str(config), *options, str(config / "held")]) == 1
    said = capsys.readouterr().err
    assert why in said
    assert "a.csv" in said


@pytest.mark.parametrize(
    ("arguments", "code", "why"),
    [
        (("--place", "1=fan-1/none"), 2, "no point 'fan-1/none'"),
        (("--unit", "furlong"), 2, "--unit"),
        ((), 2, "no recording in this folder; file endings there: .txt"),
    ],
)
def test_options_that_cannot_be_meant(
    config: Path, capsys: pytest.CaptureFixture[str], arguments: tuple[str, ...], code: int, why: str
) -> None:
    (config / "held" / "a.txt").write_text("nothing")
    assert main(["rehearse", "--config", str(config), *arguments, str(config / "held")]) == code
    assert why in capsys.readouterr().err


def test_a_candidate_that_watches_a_point_with_another_sensor_or_not_at_all_is_no_obstacle(
    config: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (config / "held" / "a_20251009_085320.csv").write_text("\n".join(f"{value:.5f}" for value in sine(3.0)))
    said = ("--place", "1=fan-1/brg", "--fs", "4096", "--unit", "m/s2", str(config / "held"))
    (config / "lower.toml").write_text(LOWER.replace("s-0001", "s-0002"))
    (point,) = rehearsed(config, capsys, *said)["points"]
    assert (point["before"]["alerts"], point["after"]["alerts"]) == (1, 1)
    (config / "lower.toml").write_text(LOWER.replace('"brg"', '"other"'))
    found = rehearsed(config, capsys, *said, code=1)
    assert found["points"][0]["after"] is None
    assert "belongs to no point" in found["left_out"][0]["why"]


def test_dead_and_clipped_captures_in_files_raise_and_clear_nothing(config: Path, capsys: pytest.CaptureFixture[str]) -> None:
    clipped = np.clip(np.rint(3.0 * 32767 * np.sin(2.0 * np.pi * F * np.arange(N) / FS)), -32768, 32767).astype(np.int16)
    dead = np.tile(np.array([0, 1], np.int16), N // 2)
    for k, counts in enumerate((clipped, dead)):
        at = T + 600.0 * k
        one = Capture(SensorId("s-0001"), CaptureId(f"c{k}"), at, at, FS, "m/s2", 1e-2, 1e-2, {"x": counts}, rpm=1500.0)
        write_capture(config / "held", one)
    before = rehearsed(config, capsys, str(config / "held"))["points"][0]["before"]
    assert (before["alerts"], before["alarms"]) == (0, 0)  # 320 m/s2, were it fit


@pytest.mark.parametrize(
    ("name", "at"),
    [
        ("s-0001-2025-10-09T085320-250Z", T + 0.25),
        ("2025.10.09.08.53.20", T),
        ("brg20251009085320", T),
        ("acc_00001", None),
        ("20251399_085320", None),
    ],
)
def test_times_in_names(name: str, at: float | None) -> None:
    assert stamp_of(name) == at


RECORDINGS = Path(os.environ.get("EDGEMON_RECORDINGS", "/none"))


@pytest.mark.recordings
@pytest.mark.skipif(not (RECORDINGS / "femto-1-2.npz").exists(), reason="EDGEMON_RECORDINGS names no folder of recordings")
@pytest.mark.parametrize(("record", "delay"), [("femto-1-1", 2), ("femto-1-2", 2), ("femto-3-1", 1)])
def test_on_a_run_to_failure_a_lower_limit_warns_earlier_by_the_lead_that_follows_by_hand(
    config: Path, capsys: pytest.CaptureFixture[str], record: str, delay: int
) -> None:
    """Second method: standard deviation of the same samples; the first capture at the limit, or the second in a row."""
    with np.load(RECORDINGS / f"{record}.npz") as held:
        seconds = held["t_s"][held["raw_index"]].astype(float)
        rms = (held["raw"][:, 0] * float(held["raw_scale"])).astype(float).std(axis=1)
        end = float(held["t_s"][-1])
    early, late = float(np.quantile(rms, 0.90)), float(np.quantile(rms, 0.97))

    def lead(limit: float) -> float:
        beyond = rms >= limit
        told = beyond if delay == 1 else np.append(False, beyond[1:] & beyond[:-1])
        return end - float(seconds[told][0])

    assert lead(early) > lead(late) > 0.0
    both = (LIMIT + f"alert = {late}\n").replace("m/s2", "g").replace("on_delay = 1", f"on_delay = {delay}")
    (config / "plant.toml").write_text(SITE + MACHINE + POINT + both)
    (config / "lower.toml").write_text(SITE + MACHINE + POINT + both.replace(f"{late}", f"{early}"))
    failed = np.datetime64("2025-10-09T08:53:20") + np.timedelta64(int(end), "s")
    (config / "events.toml").write_text(f'[[event]]\nmachine = "fan-1"\nt = {failed}Z\nname = "end of life"\n')
    said = ("--begin", "2025-10-09T08:53:20Z", "--place", "h=fan-1/brg")
    found = rehearsed(config, capsys, *said, str(RECORDINGS / f"{record}.npz"))
    (known,) = found["known_events"]
    assert known["before"]["alert_s"] == pytest.approx(lead(late), abs=1e-3)
    assert known["after"]["alert_s"] == pytest.approx(lead(early), abs=1e-3)
