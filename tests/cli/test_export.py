"""`edgemon export`: what comes out is what lies in the store, to the last bit."""

import asyncio
import csv
import io
import json
import os
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from edgemon.cli.export import text
from edgemon.cli.main import main
from edgemon.cli.npz_files import read_npz
from edgemon.model.event import MessageRejected
from edgemon.model.ids import AlarmKey, CaptureId, MachineId, PointId, PointKey, SensorId
from edgemon.settings.load import load_all
from edgemon.store.port import Commit
from edgemon.store.sqlite import SqliteStore
from edgemon.units import SI_UNIT, Quantity, from_si
from tests.store import builders as make
from tests.support.daemon import plant_toml

OTHER = PointKey(MachineId("hp-pump-2"), PointId("motor-de-h"))
SECOND = SensorId("s-0002")
EVIL = '=HYPERLINK("http://x")'
Rows = list[dict[str, str]]


def values(count: int) -> list[float]:
    return [float(one) for one in np.random.default_rng(7).uniform(0.001, 0.005, count)]


@pytest.fixture
async def config(tmp_path: Path) -> Path:
    """Two pumps, some of everything."""
    (tmp_path / "plant.toml").write_text(plant_toml(2))
    (tmp_path / "gateway.toml").write_text('[broker]\nurl = "mqtt://127.0.0.1:1883"\n[store]\npath = "edgemon.sqlite"\n')
    store = await SqliteStore.open(tmp_path / "edgemon.sqlite")
    point = points()[0]
    measured = [make.measurement(v, taken_at=make.T0 + k / 3.0, point=point) for k, v in enumerate(values(50))]
    measured += [make.measurement(0.002, point=points()[1]), make.measurement(0.009, point=point, sim=True)]
    measured += [make.measurement(0.5, taken_at=make.T0 + 90.0, point=point, fit=False)]
    evil = replace(make.capture(3), id=CaptureId(EVIL), rpm=None)
    captures = (make.capture(1), make.capture(2, sensor=SECOND, missing_parts=(2, 3)), evil, make.capture(4, sim=True))
    spectra = (make.spectrum(1), make.spectrum(5))  # a waveform's columns do not fit them
    rejected = MessageRejected(make.T0, "too-large", "a/topic", '=1+1, "quoted"\nand more', 3)
    await store.commit(
        Commit(
            make.T0,
            captures=captures + spectra,
            measurements=tuple(measured),
            readings=(
                make.reading(88.0),
                replace(make.reading(0.0031, name="velocity_rms", axis="x"), quantity=Quantity.VELOCITY),
            ),
            events=(make.started(), make.raised(), rejected, replace(make.raised(), by="=cmd", change="ACK")),
        )
    )
    await store.close()
    return tmp_path


def points() -> tuple[PointKey, PointKey]:
    return PointKey(MachineId("hp-pump-1"), PointId("pump-de-h")), PointKey(MachineId("hp-pump-2"), PointId("pump-de-h"))


def exported(config: Path, capsys: pytest.CaptureFixture[str], what: str, *more: str) -> Rows:
    assert main(["export", what, "--config", str(config), "--format", "csv", *more]) == 0
    return list(csv.DictReader(io.StringIO(capsys.readouterr().out)))


async def test_captures_have_their_facts(config: Path, capsys: pytest.CaptureFixture[str]) -> None:
    rows = exported(config, capsys, "captures")
    assert [(row["sensor"], row["id"]) for row in rows] == [("s-0001", "c-1"), ("s-0002", "c-2"), ("s-0001", "'" + EVIL)]
    first = make.capture(1)
    assert float(rows[0]["t"]) == first.taken_at
    assert (float(rows[0]["fs"]), float(rows[0]["rpm"]), rows[0]["battery_pct"]) == (6400.0, 2975.0, "")
    assert (rows[1]["missing_parts"], rows[2]["rpm"]) == ("2 3", "")
    assert [row["id"] for row in exported(config, capsys, "captures", "--sim")] == ["c-4"]
    assert [row["id"] for row in exported(config, capsys, "captures", "--sensor", "s-0002")] == ["c-2"]
    assert [row["id"] for row in exported(config, capsys, "captures", "--machine", "hp-pump-2")] == ["c-2"]
    since = ("--since", "2027-01-15T08:10:00.25Z", "--until", "2027-01-15T08:15:00.25Z")
    assert [row["id"] for row in exported(config, capsys, "captures", *since)] == ["c-2"]


async def test_spectra_that_sensors_sent_have_a_row_a_line(config: Path, capsys: pytest.CaptureFixture[str]) -> None:
    rows = exported(config, capsys, "spectra")
    stored = {one.id: one for one in (make.spectrum(1), make.spectrum(5))}
    assert {row["id"] for row in rows} == set(stored)
    for name, one in stored.items():
        form = one.form
        assert form is not None
        for axis, words in one.axes.items():
            mine = [row for row in rows if (row["id"], row["axis"]) == (name, axis)]
            sent = np.ascontiguousarray(words).view("<f4" if form.is_float else "<u2").astype(float) * one.si_per_count
            np.testing.assert_array_equal([float(row["value"]) for row in mine], sent)
            assert [float(row["hz"]) for row in mine] == pytest.approx(
                (form.first_hz + form.line_hz * np.arange(sent.size)).tolist()
            )
            assert {(row["detector"], row["unit"]) for row in mine} == {("r.m.s.", SI_UNIT[form.quantity])}
    assert exported(config, capsys, "spectra", "--machine", "hp-pump-2") == []


async def test_readings_are_the_stored_values_in_the_unit_beside_them(config: Path, capsys: pytest.CaptureFixture[str]) -> None:
    rows = exported(config, capsys, "readings", "--point", "hp-pump-1/pump-de-h")
    velocity = [row for row in rows if row["level"] == "velocity_rms"]
    assert {row["unit"] for row in velocity} == {"mm/s"}
    assert [float(row["value"]) for row in velocity] == [from_si(v, "mm/s") for v in [*values(50), 0.5]]
    assert [float(row["t"]) for row in velocity] == [make.T0 + k / 3.0 for k in range(50)] + [make.T0 + 90.0]
    assert [row["fit"] for row in velocity] == ["1"] * 50 + ["0"]
    assert {(row["level"], row["unit"]) for row in rows} == {("velocity_rms", "mm/s"), ("temperature", "Cel")}
    assert {(row["machine"], row["point"], row["sensor"]) for row in rows} == {("hp-pump-1", "pump-de-h", "")}


async def test_what_a_sensor_says_has_its_sensor_and_simulated_values_stay_apart(
    config: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    said = [row for row in exported(config, capsys, "readings") if row["sensor"]]
    assert [(row["level"], float(row["value"]), row["unit"]) for row in said] == [
        ("battery", 88.0, "%EL"),
        ("x/velocity_rms", from_si(0.0031, "mm/s"), "mm/s"),
    ]
    assert main(["export", "readings", "--config", str(config)]) == 0
    assert "simulated data is left out" in capsys.readouterr().err
    simulated = exported(config, capsys, "readings", "--sim")
    assert {(row["level"], row["value"], row["sim"]) for row in simulated} >= {
        ("velocity_rms", repr(from_si(0.009, "mm/s")), "1")
    }
    assert len(simulated) == 2
    assert {row["machine"] for row in exported(config, capsys, "readings", "--machine", "hp-pump-2")} == {"hp-pump-2"}
    assert {row["sensor"] for row in exported(config, capsys, "readings", "--machine", "hp-pump-1")} == {"", "s-0001"}


async def test_the_journal_is_whole_and_its_texts_are_no_formulas(config: Path, capsys: pytest.CaptureFixture[str]) -> None:
    rows = exported(config, capsys, "journal")
    kinds = ["gateway-started", "alarm-changed", "message-rejected", "alarm-changed"]
    assert [(row["seq"], row["kind"]) for row in rows] == [(str(k), kind) for k, kind in enumerate(kinds, 1)]
    assert float(rows[1]["t"]) == make.T0
    assert json.loads(rows[1]["document"])["value"] == from_si(0.0046, "mm/s")
    assert json.loads(rows[2]["document"])["detail"] == '=1+1, "quoted"\nand more'
    assert rows[3]["person"] == "'=cmd"
    assert not [value for row in rows for value in row.values() if value.startswith(("=", "+", "-", "@"))]
    assert [row["seq"] for row in exported(config, capsys, "journal", "--machine", "hp-pump-1")] == ["2", "4"]
    assert exported(config, capsys, "journal", "--since", "2027-01-16") == []


async def test_numpy_reads_it_and_a_file_is_the_same(config: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = config / "readings.csv"
    args = ["export", "readings", "--config", str(config), "--out", str(out), "--point", "hp-pump-1/pump-de-h"]
    assert main(args) == 0
    assert capsys.readouterr().out == ""
    table = np.genfromtxt(out, delimiter=",", names=True, dtype=None, encoding="utf-8")
    chosen = table[table["level"] == "velocity_rms"]
    np.testing.assert_array_equal(chosen["value"][:50], [from_si(v, "mm/s") for v in values(50)])
    assert not out.with_name("readings.csv.part").exists()


async def test_samples_come_as_diagnose_reads_them(config: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = config / "waves"
    rows = exported(config, capsys, "captures", "--samples", str(folder))
    assert len(list(folder.glob("*.npz"))) == len(rows) == 3
    raw = read_npz(Path(rows[0]["file"]))
    one = make.capture(1)
    np.testing.assert_array_equal(raw.samples, np.stack(list(one.axes.values())) * one.si_per_count)
    assert (raw.fs_hz, raw.quantity, raw.units) == (6400.0, "acceleration", ("m/s2",) * 3)


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (("readings", "--format", "parquet"), "not there yet"),
        (("readings", "--format", "xml"), "no such format"),
        (("readings", "--samples", "x"), "--samples"),
        (("readings", "--machine", "hp-pump-9"), "--machine"),
        (("readings", "--point", "nowhere"), "--point"),
        (("readings", "--machine", "hp-pump-2", "--point", "hp-pump-1/pump-de-h"), "--point"),
        (("captures", "--sensor", "s-9999"), "--sensor"),
        (("readings", "--since", "soon"), "--since"),
    ],
)
async def test_what_cannot_be_is_said(
    config: Path, capsys: pytest.CaptureFixture[str], arguments: tuple[str, ...], says: str
) -> None:
    assert main(["export", *arguments, "--config", str(config)]) == 2
    assert says in capsys.readouterr().err


async def test_a_file_that_cannot_be_written_is_named(config: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = config / "none" / "x.csv"
    assert main(["export", "readings", "--config", str(config), "--out", str(out)]) == 1
    assert str(out) in capsys.readouterr().err


async def test_a_reader_that_goes_is_no_error_and_a_pipe_sees_no_progress(config: Path) -> None:
    store = await SqliteStore.open(config / "edgemon.sqlite")
    many = tuple(make.measurement(0.001, taken_at=make.T0 + 100.0 + k, point=points()[0]) for k in range(20_000))
    await store.commit(Commit(make.T0, measurements=many))
    await asyncio.to_thread(read_one_line, config)
    await store.close()  # it was open all the while


def read_one_line(config: Path) -> None:
    command = [sys.executable, "-m", "edgemon", "export", "readings", "--config", str(config)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, env=dict(os.environ)) as process:
        assert process.stdout is not None
        assert process.stderr is not None
        assert process.stdout.readline().startswith(b"point,level,t,value,unit,")
        process.stdout.close()
        errors = process.stderr.read()
    assert (process.returncode, b"Traceback" in errors, b"rows" in errors) == (0, False, False)


@pytest.mark.parametrize("said", ["=1", "+1", "-1", "@x", "\tx", "\rx"])
def test_what_a_spreadsheet_would_compute_stands_behind_an_apostrophe(said: str) -> None:
    assert text(said) == "'" + said  # OWASP, CSV Injection
    assert text("pump-de-h = 3") == "pump-de-h = 3"


async def test_levels_of_ones_own_go_by_their_titles_in_export_and_journal(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    plant = (Path(__file__).parents[2] / "config" / "saltmarsh" / "plant.toml").read_text()
    (tmp_path / "plant.toml").write_text(plant)
    (tmp_path / "gateway.toml").write_text('[broker]\nurl = "mqtt://127.0.0.1:1883"\n[store]\npath = "edgemon.sqlite"\n')
    known, gateway = load_all(tmp_path)
    point = next(key for key, one in known.points.items() if one.kind_of("velocity_1x") is not None)
    store = await SqliteStore.open(gateway.store)
    event = replace(make.raised(), alarm=AlarmKey(point.machine, point.point, "velocity_1x"))
    await store.commit(Commit(make.T0, events=(event,)))
    await store.close()
    (row,) = exported(tmp_path, capsys, "journal")
    assert row["text"].startswith(f"{point.machine}/{point.point} velocity at 1 x: alarm raised")
    assert main(["journal", "--config", str(tmp_path)]) == 0
    assert f"{point.machine}/{point.point} velocity at 1 x: alarm raised" in capsys.readouterr().out
    assert main(["journal", "--file", str(gateway.store)]) == 0  # by the file alone there is no title to be had
    assert "velocity_1x: alarm raised" in capsys.readouterr().out
