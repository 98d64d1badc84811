"""The command `report`: what it collects from a store, what it writes, and its exit codes."""

import asyncio
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from edgemon.cli.evidence import bearing_markers, speed_markers
from edgemon.cli.main import main
from edgemon.cli.material import Request, collect
from edgemon.cli.report import read_time
from edgemon.engine.memory import Setting, setting_of
from edgemon.errors import SettingsError
from edgemon.model.alarm import AlarmState, Priority
from edgemon.model.baseline import Baseline, BaselineApproved, BaselineState
from edgemon.model.event import AlarmChanged, Event, SimulationNoted
from edgemon.model.gateway_event import GatewayStarted
from edgemon.model.ids import AlarmKey, CaptureId, PointKey, SensorId
from edgemon.model.instant import parse_instant
from edgemon.model.level import Band, Detector, Level, Measurement
from edgemon.model.limit import Severity
from edgemon.model.machine import point_key
from edgemon.model.quality import Flaw, Verdict
from edgemon.model.reading import Capture, Counts, Reading
from edgemon.model.spectrum import LineForm
from edgemon.report.port import Material
from edgemon.report.service import Format
from edgemon.report.service import write as written
from edgemon.settings.load import load_all
from edgemon.store.memory import MemoryStore
from edgemon.store.port import Commit
from edgemon.store.sqlite import SqliteStore
from edgemon.units import Quantity
from tests.settings.support import PLANT, write

BEARING = (
    "bearing = { rolling_elements = 9, ball_diameter_mm = 7.94, pitch_diameter_mm = 39.04, contact_angle_deg = 0 }\n"
    "stale_after_s = 1000\n"
)
END = parse_instant("2026-03-02T06:00:00Z")
POINT = point_key("hp-pump-1", "motor-de-h")
SENSOR = SensorId("s-0001")
FS_HZ, COUNT, SCALE = 6400.0, 4096, 0.005
STEPS = 24


def folder(tmp_path: Path) -> Path:
    return write(tmp_path, PLANT + BEARING, '[store]\npath = "state/edgemon.sqlite"\n')


def counts(velocity_rms: float, hz: float = 50.0) -> Counts:
    """A sine of a velocity r.m.s. in m/s: a = sqrt(2) v 2 pi f (closed form)."""
    t = np.arange(COUNT) / FS_HZ
    wave = np.sqrt(2.0) * velocity_rms * 2.0 * np.pi * hz * np.sin(2.0 * np.pi * hz * t)
    samples: Counts = np.round(wave / SCALE).astype(np.int16)
    return samples


def capture(
    at: float, velocity_rms: float, rpm: float | None = 3000.0, sim: bool = False, missing: tuple[int, ...] = ()
) -> Capture:
    return Capture(
        SENSOR,
        CaptureId(f"c{at:.0f}"),
        at,
        at + 1,
        FS_HZ,
        "m/s2",
        SCALE,
        SCALE,
        {"x": counts(velocity_rms)},
        rpm,
        sim=sim,
        missing_parts=missing,
    )


def measurement(at: float, value: float, sim: bool = False, fit: bool = True) -> Measurement:
    level = Level("velocity_rms", value, Quantity.VELOCITY, Detector.RMS, Band(10.0, 1000.0))
    return Measurement(POINT, at, at + 1, (level,), Verdict() if fit else Verdict((Flaw.CLIPPED,), ("clipped",)), sim=sim)


def reading(name: str, value: float, at: float, quantity: Quantity, sim: bool = False) -> Reading:
    return Reading(SENSOR, name, "", at, at, value, quantity, sim)


def raised(at: float, sim: bool = False, machine: PointKey = POINT) -> AlarmChanged:
    key = AlarmKey(*machine, "velocity_rms", sim)
    return AlarmChanged(
        at, key, "RAISED", AlarmState.NORM, AlarmState.UNACK, Severity.ALERT, 1, Priority.MEDIUM, False, 0.003, 0.0028, "mm/s"
    )


def commit(sim: bool = False, captures: tuple[Capture, ...] | None = None, events: tuple[Event, ...] | None = None) -> Commit:
    """Two hours at one in five minutes, rising from 1 to 3.3 mm/s, above the alert limit of 2.8 mm/s at the end."""
    times = [END - 300.0 * k for k in reversed(range(STEPS))]
    levels = [0.001 + 0.0001 * k for k in range(STEPS)]
    told = (raised(END - 1000.0, sim), GatewayStarted(END - 9000.0, "0.1.0", "x")) if events is None else events
    whole = tuple(capture(at, level, sim=sim) for at, level in zip(times, levels, strict=True))
    return Commit(
        recorded_at=END,
        captures=whole if captures is None else captures,
        measurements=tuple(measurement(at, level, sim) for at, level in zip(times, levels, strict=True)),
        readings=(
            *(reading("rpm", 50.0, at, Quantity.FREQUENCY, sim) for at in times),
            reading("battery", 81.0, END, Quantity.CHARGE, sim),
            reading("rssi", -70.0, END, Quantity.SIGNAL, sim),
        ),
        events=told,
    )


def fill(directory: Path, *commits: Commit) -> None:
    async def filled() -> None:
        store = await SqliteStore.open(directory / "state" / "edgemon.sqlite")
        for one in commits:
            await store.commit(one)
        await store.close()

    asyncio.run(filled())


def setting(directory: Path) -> Setting:
    return setting_of(*load_all(directory))


async def collected(
    directory: Path, *commits: Commit, sim: bool = False, since: float = END - 86_400.0, until: float = END
) -> Material:
    store = MemoryStore()
    for one in commits:
        await store.commit(one)
    known = setting(directory)
    return await collect(store, known, Request(known.plant.machines[0], since, until, sim), END + 9.0, "abc")


def report(directory: Path, *more: str) -> int:
    return main(["report", "--config", str(directory), "--machine", "hp-pump-1", "--until", "2026-03-02T06:00:01Z", *more])


def test_a_report_says_what_the_store_holds(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    directory = folder(tmp_path)
    fill(directory, commit())
    stored = (directory / "state" / "edgemon.sqlite").read_bytes()
    assert report(directory, "--format", "txt", "--out", "-") == 0
    page = " ".join(capsys.readouterr().out.split())
    assert "ALERT: ABOVE THE ALERT LIMIT" in page
    assert "velocity r.m.s. at motor-de-h is 3.30 mm/s, above its alert limit of 2.8 mm/s" in page
    assert "24 captures of about 24 due (every 300 s)" in page
    assert "81 % | -70 dBm" in page
    assert "alert raised at 3 mm/s (limit 2.8)" in page
    assert "SIMULATED" not in page
    assert (directory / "state" / "edgemon.sqlite").read_bytes() == stored


def test_the_limit_of_an_approved_baseline_is_the_one_reported(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    directory = folder(tmp_path)
    learnt = Baseline(POINT, "velocity_rms", Quantity.VELOCITY, 20, END - 9e3, END - 8e3, 0.001, 0.001, 1e-5, 3000.0, None, END)
    approved = replace(learnt, state=BaselineState.APPROVED, approved_by="ann", approved_at=END - 7e3)
    event = BaselineApproved(END - 7e3, approved, "mm/s", 0.0017, "rule", "ann", "office", "quiet week")
    fill(directory, commit(events=(event,)))
    assert report(directory, "--format", "txt", "--out", "-") == 0
    page = " ".join(capsys.readouterr().out.split())
    # ISO 10816-3:2009 5.4.1: 1.0 mm/s + 25 % of B/C, 2.8 mm/s
    assert "above its alert limit of 1.7 mm/s" in page
    assert "baseline 1.00 mm/s approved by ann" in page


def test_the_file_is_named_after_machine_and_day_and_html(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    directory = folder(tmp_path)
    fill(directory, commit())
    monkeypatch.chdir(tmp_path)
    assert report(directory) == 0
    assert capsys.readouterr().out == "report-hp-pump-1-2026-03-02.html\n"
    page = (tmp_path / "report-hp-pump-1-2026-03-02.html").read_text("utf-8")
    assert page.startswith("<!DOCTYPE html>")
    assert page.count("<svg ") == 4
    assert [file.name for file in tmp_path.iterdir() if file.name.startswith(".")] == []


def test_the_ending_of_the_file_says_the_format(tmp_path: Path) -> None:
    directory = folder(tmp_path)
    fill(directory, commit())
    assert report(directory, "--out", str(tmp_path / "a.pdf")) == 0
    assert (tmp_path / "a.pdf").read_bytes().startswith(b"%PDF-")


def test_the_analysts_text_beside_the_configuration_is_taken_in(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    directory = folder(tmp_path)
    fill(directory, commit())
    (directory / "reports").mkdir()
    (directory / "reports" / "hp-pump-1.txt").write_text("# Verdict\nExchange the coupling.\n", "utf-8")
    assert report(directory, "--format", "txt", "--out", "-") == 0
    assert "Exchange the coupling." in capsys.readouterr().out
    other = tmp_path / "other.txt"
    other.write_text("# Verdict\nRun on.\n", "utf-8")
    assert report(directory, "--format", "txt", "--out", "-", "--text", str(other)) == 0
    page = capsys.readouterr().out
    assert "Run on." in page
    assert "coupling" not in page


def test_simulated_data_needs_its_option_and_is_marked(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    directory = folder(tmp_path)
    fill(directory, commit(sim=True))
    assert report(directory, "--format", "txt", "--out", "-") == 1
    told = capsys.readouterr().err
    assert "no real data of this machine" in told
    assert "add --sim" in told
    assert report(directory, "--format", "txt", "--out", "-", "--sim") == 0
    assert capsys.readouterr().out.startswith("SIMULATED DATA")


@pytest.mark.parametrize(
    ("more", "code", "told"),
    [
        (["--machine", "hp-pump-2"], 2, "the plant file has no machine 'hp-pump-2' (one of hp-pump-1)"),
        (["--since", "yesterday"], 2, "--since: not a time: 'yesterday'"),
        (["--since", "2027-01-01"], 2, "--since: the period begins at 2027-01-01T00:00:00.000Z and ends at 2026-03-02"),
        (["--text", "nowhere.txt"], 2, "nowhere.txt: cannot be read: No such file or directory"),
        (["--sim"], 1, "no simulated data of this machine"),
        (["--store", "nowhere.sqlite"], 1, "there is no store here"),
        (["--out", "nowhere/a.txt"], 1, "nowhere/a.txt: the report cannot be written: No such file or directory"),
    ],
    ids=["machine", "time", "order", "text", "no simulated data", "no store", "no folder"],
)
def test_what_cannot_be_done_is_told(
    more: list[str], code: int, told: str, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    directory = folder(tmp_path)
    fill(directory, commit())
    monkeypatch.chdir(tmp_path)
    assert report(directory, "--format", "txt", *more) == code
    out, err = capsys.readouterr()
    assert told in err
    assert out == ""


def test_a_store_that_was_never_made_is_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert report(folder(tmp_path)) == 1
    assert "there is no store here (has the gateway run with this configuration?)" in capsys.readouterr().err


async def test_a_machine_that_never_spoke_is_told(tmp_path: Path) -> None:
    made = await collected(folder(tmp_path))
    assert made.remarks == ("Nothing was ever stored for this machine: does its sensor send, does the daemon run?",)
    page = " ".join(written(made, Format.TEXT).decode().split())
    assert "NOT KNOWN: DATA IS MISSING" in page
    assert "No level with a limit has values in the period" in page


async def test_the_newest_fit_capture_of_the_running_machine_is_shown(tmp_path: Path) -> None:
    good = capture(END - 900.0, 0.002)
    captures = (
        capture(END - 1200.0, 0.001),
        good,
        capture(END - 600.0, 0.003, missing=(2,)),
        capture(END - 300.0, 0.0, rpm=0.0),
        capture(END - 10.0, 0.004, sim=True),
    )
    made = await collected(folder(tmp_path), commit(captures=captures))
    (point,) = made.points
    assert point.capture is not None
    assert point.before is not None
    assert point.capture.key == good.key
    assert point.before.key == captures[0].key
    assert made.sensors[0].captures == 4
    assert made.sensors[0].unfit
    velocity = next(level for level in point.capture.levels if level.name == "velocity_rms")
    assert velocity.value == pytest.approx(0.002, rel=0.01)
    assert point.capture.velocity is not None
    assert point.capture.velocity.amplitude.argmax() * point.capture.velocity.line_hz == pytest.approx(50.0, abs=0.8)


@pytest.mark.parametrize(("slow", "chosen"), [(1000.0, 1), (2990.0, 0)])
async def test_a_capture_at_usual_speed_goes_before_one_of_a_stop(slow: float, chosen: int, tmp_path: Path) -> None:
    """Like conditions: 3 % about the nominal 2975 r/min."""
    captures = (capture(END - 300.0, 0.001, rpm=slow), capture(END - 600.0, 0.002, rpm=2970.0))
    (point,) = (await collected(folder(tmp_path), commit(captures=captures))).points
    assert point.capture is not None
    assert point.capture.key == captures[chosen].key
    (tmp_path / "alone").mkdir()
    (alone,) = (await collected(folder(tmp_path / "alone"), commit(captures=captures[:1]))).points
    assert alone.capture is not None
    assert alone.capture.key == captures[0].key


async def test_a_sensor_that_sends_spectra_has_its_spectrum_and_diagnosis_in_the_report(tmp_path: Path) -> None:
    """A sine of 2 mm/s r.m.s. at 50 Hz, its lines under a Hann window 0.5, 1, 0.5 (closed form), sent as acceleration."""
    lines = np.zeros(800)
    lines[39:42] = 0.002 * 2.0 * np.pi * 50.0 * np.array([0.5, 1.0, 0.5])
    words = np.rint(lines / 1e-4).astype("<u2").view("<i2")
    form = LineForm(Quantity.ACCELERATION, Detector.RMS, 1.25, 0.0, 1.5, "hann", 8)
    sent = Capture(
        SENSOR, CaptureId("p-1"), END - 60.0, END - 59.0, 2000.0, "m/s2", 1e-4, 1e-4, {"x": words}, rpm=2990.0, form=form
    )
    made = await collected(folder(tmp_path), commit(captures=(sent,)))
    (point,) = made.points
    assert point.capture is not None
    assert point.capture.velocity is not None
    assert point.capture.velocity.amplitude.argmax() == 40
    assert float(point.capture.velocity.amplitude.max()) == pytest.approx(0.002, rel=1e-3)
    assert (point.capture.samples.size, point.capture.envelope) == (0, None)
    assert made.sensors[0].diagnosis is not None
    page = " ".join(written(made, Format.TEXT).decode().split())
    assert "one line every 1.25 Hz, the sensor's hann window, amplitude as r.m.s." in page
    assert "velocity r.m.s., 10-1000" in page
    assert "[Waveform]" not in page
    assert written(made, Format.HTML)


async def test_history_is_of_this_machine_this_period_and_this_kind_of_data(tmp_path: Path) -> None:
    other = point_key("hp-pump-9", "motor-de-h")
    events: tuple[Event, ...] = (
        raised(END - 90_000.0),
        raised(END - 500.0),
        raised(END - 400.0, sim=True),
        raised(END - 300.0, machine=other),
        SimulationNoted(END - 200.0, "a", "b", POINT.machine),
        raised(END + 500.0),
    )
    made = await collected(folder(tmp_path), commit(events=events))
    assert [one.event.at for one in made.earlier] == [END - 90_000.0]
    assert [one.event.at for one in made.history] == [END - 500.0]


async def test_a_long_journal_is_read_to_its_beginning(tmp_path: Path) -> None:
    rest = tuple(GatewayStarted(END - 600.0 + k * 0.01, "0.1.0", "x") for k in range(4100))
    made = await collected(folder(tmp_path), commit(events=(raised(END - 700.0), *rest)))
    assert [one.event.at for one in made.history] == [END - 700.0]


async def test_a_rising_level_has_a_forecast_of_its_alarm_and_the_diagnosis_names_points(tmp_path: Path) -> None:
    made = await collected(folder(tmp_path), commit())
    (level,) = made.points[0].levels
    assert level.outlook is not None
    alarm = level.outlook.forecasts[-1]
    # closed form: 0.1 mm/s in 300 s from 3.3 mm/s reaches 4.5 mm/s after 3600 s
    assert alarm.likely == pytest.approx(END + 3600.0, abs=300.0)
    diagnosis = made.sensors[0].diagnosis
    assert diagnosis is not None
    assert {finding.channel for finding in diagnosis.findings} <= {"motor-de-h"}


def test_bearing_lines_agree_with_published_ones(tmp_path: Path) -> None:
    """Multiples of running speed published with the bearing data of Case Western Reserve University (6205, drive end)."""
    point = setting(folder(tmp_path)).plant.points[POINT]
    lines = {marker.label: marker.hz for marker in bearing_markers(60.0, point)}
    assert lines["BPFO"] == pytest.approx(3.5848, abs=5e-4)
    assert lines["BPFI"] == pytest.approx(5.4152, abs=5e-4)
    assert lines["FTF"] == pytest.approx(0.39828, abs=5e-5)
    assert lines["2 BSF"] == pytest.approx(4.7135, abs=5e-4)
    assert lines["3 x BPFO"] == pytest.approx(3 * lines["BPFO"])
    assert bearing_markers(None, point) == speed_markers(None, 6) == ()
    assert [marker.hz for marker in speed_markers(3000.0, 3)] == [50.0, 100.0, 150.0]


@pytest.mark.parametrize(
    ("text", "back"),
    [("30s", 30.0), ("2min", 120.0), ("36h", 129_600.0), ("7d", 604_800.0), ("2 w", 1_209_600.0), ("1.5d", 129_600.0)],
)
def test_how_far_back(text: str, back: float) -> None:
    assert read_time(text, END, "--since") == END - back


def test_times_and_days() -> None:
    assert read_time("2026-03-02T07:00:00+01:00", END, "--until") == END
    assert read_time("2026-03-02", END, "--until") == END - 6 * 3600.0
    for wrong in ("", "7", "d", "2026-13-01", "2026-03-02T06:00:00", "999999999999d"):
        with pytest.raises(SettingsError, match="not a time"):
            read_time(wrong, END, "--until")


@pytest.mark.parametrize(("sim", "kind", "advice"), [(False, "simulated", "with --sim"), (True, "real", "without --sim")])
async def test_data_of_the_other_kind_in_the_period_is_left_out_and_said(
    tmp_path: Path, sim: bool, kind: str, advice: str
) -> None:
    at = folder(tmp_path)
    both = await collected(at, commit(), commit(sim=True), sim=sim)
    said = f"There is {kind} data in the period too, the newest of "
    assert any(one.startswith(said) and one.endswith(f": left out; ask for it {advice}.") for one in both.remarks)
    alone = await collected(at, commit(sim=sim), sim=sim)
    assert not any("left out" in one for one in alone.remarks)
    before = await collected(at, commit(sim=sim), commit(sim=not sim), sim=sim, since=END + 1.0, until=END + 2.0)
    assert not any("left out" in one for one in before.remarks)  # none of either kind in the period
