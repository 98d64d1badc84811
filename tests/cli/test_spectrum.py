"""`edgemon spectrum`: files and stored captures; text, JSON, CSV, pictures; errors that name option and file."""

import asyncio
import csv
import json
import math
import re
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from edgemon.cli.main import main
from edgemon.cli.spectrum_words import told
from edgemon.cli.text_plot import lanes, stems
from edgemon.units import STANDARD_GRAVITY
from tests.cli.test_trends import served
from tests.support.fake_site import FakeSite
from tests.support.stored import BEGIN, capture, looking, stored

FS, N, HZ = 6400.0, 16384, 100.17
W = 2.0 * math.pi * HZ
POINT = ["--point", "hp-pump-1/pump-de-h"]


@pytest.fixture
def sine(tmp_path: Path) -> Path:
    """A sine of 2 m/s2 r.m.s. between two lines, and a little noise."""
    noise = 1e-3 * np.random.default_rng(1).standard_normal(N)
    wave = math.sqrt(8.0) * np.cos(W * np.arange(N) / FS) + noise
    meta = json.dumps({"channels": [{"name": "a", "unit": "m/s2"}], "quantity": "acceleration"})
    np.savez(tmp_path / "sine.npz", samples=wave[None, :], fs_hz=FS, meta=meta)
    return tmp_path / "sine.npz"


def document(capsys: pytest.CaptureFixture[str]) -> dict[str, Any]:
    out = capsys.readouterr().out
    assert out.isascii()
    found: dict[str, Any] = json.loads(out)
    return found


@pytest.mark.parametrize("window", ["rectangular", "hann", "flat-top"])
@pytest.mark.parametrize(("detector", "factor"), [("rms", 1.0), ("peak", math.sqrt(2.0)), ("peak-to-peak", math.sqrt(8.0))])
@pytest.mark.parametrize(
    ("quantity", "unit", "rms"),
    [
        ("acceleration", "m/s2", 2.0),
        ("acceleration", "g", 2.0 / STANDARD_GRAVITY),
        ("velocity", "mm/s", 2e3 / W),
        ("velocity", "in/s", 2.0 / W / 0.0254),
        ("displacement", "um", 2e6 / W**2),
        ("displacement", "mil", 2.0 / W**2 / 2.54e-5),
    ],
)
def test_a_sine_between_lines(
    sine: Path,
    capsys: pytest.CaptureFixture[str],
    quantity: str,
    unit: str,
    rms: float,
    detector: str,
    factor: float,
    window: str,
) -> None:
    """Closed form: a / w, a / w^2; peak of a sine sqrt 2 times its r.m.s. value (ISO 2041)."""
    wanted = ["--quantity", quantity, "--unit", unit, "--detector", detector, "--window", window]
    assert main(["spectrum", str(sine), "--fmax", "1000", "--lines", "800", "--json", *wanted]) == 0
    found = document(capsys)
    assert (found["unit"], found["window"], found["averages"]) == (unit, window, 5)
    assert found["peaks"][0]["hz"] == pytest.approx(HZ, abs=0.03)
    assert found["peaks"][0]["amplitude"] == pytest.approx(rms * factor, rel=5e-3)


def test_text_has_what_it_is_a_picture_and_named_peaks(sine: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["spectrum", str(sine), "--fs", "6400", "--speed", "6000", "--axis", "orders", "--lines", "6400"]) == 0
    out = capsys.readouterr().out
    assert out.isascii()
    assert "velocity spectrum, mm/s r.m.s., 0.0234-24.958 orders (2.344-2500.0 Hz)" in out
    assert "hann window, one window, lines 0.0039 orders apart, resolution 0.005849 orders" in out
    assert "6010.2 r/min, measured from 1x" in out
    (row,) = [line for line in out.splitlines() if line.strip().startswith("1  ")]
    assert row.split() == ["1", "1.000", "100.17", "3.178", row.split()[-2], "1x"]  # 2000 / (2 pi 100.17) = 3.178 mm/s


def test_cycles_a_minute_are_written_without_powers_of_ten(sine: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["spectrum", str(sine), "--fs", "6400", "--axis", "CPM"]) == 0
    out = capsys.readouterr().out
    assert "e+0" not in out
    assert "-150000 CPM (2.344-2500.0 Hz)" in out
    assert "6010.2" in out  # 60 x 100.17


def test_a_unit_that_stands_alone_says_what_is_wanted(sine: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = [str(sine), "--fs", "6400"]
    assert main(["spectrum", *file, "--unit", "mil", "--detector", "peak-to-peak", "--json"]) == 0
    found = document(capsys)
    assert (found["quantity"], found["unit"]) == ("displacement", "mil")
    assert found["peaks"][0]["amplitude"] == pytest.approx(2.0 / W**2 / 2.54e-5 * math.sqrt(8.0), rel=5e-3)
    assert main(["spectrum", *file, "--waveform", "--unit", "in/s", "--json"]) == 0
    assert document(capsys)["quantity"] == "velocity"
    assert main(["spectrum", *file, "--envelope", "--unit", "mm/s"]) == 2
    assert "no unit of acceleration" in capsys.readouterr().err


def test_where_a_speed_comes_from_is_told_whole(sine: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["spectrum", str(sine), "--fs", "6400", "--speed", "6000", "--orders", "--fmax", "500"]) == 0
    assert "; 6010.2 r/min, measured from 1x; even shaft angle at one speed\n" in capsys.readouterr().out


def test_samples_without_a_unit_and_too_few_of_them(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    np.savez(tmp_path / "bare.npz", samples=np.random.default_rng(1).standard_normal((1, 4096)), fs_hz=FS)
    assert main(["spectrum", str(tmp_path / "bare.npz"), "--quantity", "velocity"]) == 1
    assert "--samples-unit: the file does not say what unit" in capsys.readouterr().err
    np.savez(tmp_path / "one.npz", samples=np.ones((1, 1)), fs_hz=FS)
    assert main(["spectrum", str(tmp_path / "one.npz")]) == 1
    assert "the record: 1 samples (a spectrum up to 2500 Hz takes 41 or more)" in capsys.readouterr().err


def test_csv_has_a_row_a_line(sine: Path, capsys: pytest.CaptureFixture[str]) -> None:
    wanted = ["--quantity", "acceleration", "--csv", "--lines", "800", "--fmax", "1000"]
    assert main(["spectrum", str(sine), "--fs", "6400", *wanted]) == 0
    lines = capsys.readouterr().out.splitlines()
    rows = list(csv.reader(line for line in lines if not line.startswith("#")))
    assert rows[0] == ["frequency (Hz)", "acceleration r.m.s. (m/s2)"]
    assert (len(rows), rows[1][0], rows[-1][0]) == (801, "1.25", "1000")
    assert max(float(row[1]) for row in rows[1:]) == pytest.approx(2.0, rel=0.16)  # Hann: -1.42 dB at worst


def test_waveform_zoom_and_envelope(sine: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = [str(sine), "--fs", "6400"]
    assert main(["spectrum", *file, "--waveform", "--stretch", "0.5-0.6", "--json"]) == 0
    wave = document(capsys)
    assert (wave["samples"], wave["start_s"], wave["unit"]) == (640, 0.5, "m/s2")
    assert wave["peak"] == pytest.approx(math.sqrt(8.0), rel=5e-3)
    assert main(["spectrum", *file, "--waveform"]) == 0
    assert "crest factor 1.4" in capsys.readouterr().out
    assert main(["spectrum", *file, "--waveform", "--csv", "--quantity", "velocity", "--band", "10-2000"]) == 0
    assert "t (s),lowest (mm/s),highest (mm/s)" in capsys.readouterr().out
    assert main(["spectrum", *file, "--zoom", "95-105", "--json"]) == 0
    zoom = document(capsys)
    assert (zoom["low_hz"], zoom["averages"], len(zoom["amplitude"])) == (95.0, 1, 801)
    assert zoom["peaks"][0]["amplitude"] == pytest.approx(2e3 / W, rel=2e-3)
    assert main(["spectrum", *file, "--envelope", "--band", "1000-2000", "--fmax", "400", "--squared", "--whitened"]) == 0
    out = capsys.readouterr().out
    assert "squared envelope, whitened, 1 r.m.s." in out
    assert "band 1000-2000 Hz, as asked" in out


def test_orders_over_shaft_angle_and_a_separated_envelope(sine: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = [str(sine), "--speed", "6000"]
    assert main(["spectrum", *file, "--orders", "--quantity", "acceleration", "--json"]) == 0
    over = document(capsys)
    assert over["axis"] == "orders"
    assert over["peaks"][0]["x"] == pytest.approx(1.0, rel=1e-4)
    assert over["peaks"][0]["amplitude"] == pytest.approx(2.0, rel=5e-3)
    assert "even shaft angle" in over["source"]["speed_basis"]
    wanted = ["--envelope", "--band", "1000-2000", "--fmax", "400", "--separation"]
    assert main(["spectrum", *file, *wanted, "synchronous"]) == 0
    assert "repeating parts taken out by synchronous averaging" in capsys.readouterr().out
    assert main(["spectrum", *file, "--separation", "prediction"]) == 2
    assert "--separation" in capsys.readouterr().err
    assert main(["spectrum", str(sine), "--orders"]) == 1
    assert "--speed" in capsys.readouterr().err


@pytest.mark.parametrize("name", ["a.png", "a.svg"])
@pytest.mark.parametrize("kind", [["--axis", "CPM"], ["--waveform"], ["--envelope"]])
def test_pictures(sine: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], name: str, kind: list[str]) -> None:
    assert main(["spectrum", str(sine), "--fs", "6400", "--speed", "6000", "--plot", str(tmp_path / name), *kind]) == 0
    (path,) = [Path(line) for line in capsys.readouterr().err.splitlines()]
    head = path.read_bytes()[:8]
    assert head == (b"\x89PNG\r\n\x1a\n" if name.endswith("png") else b"<?xml ve")  # ISO/IEC 15948; XML 1.0


def test_without_matplotlib_it_says_what_to_install(
    sine: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "edgemon.report.plots", None)
    assert main(["spectrum", str(sine), "--fs", "6400", "--plot", str(tmp_path / "a.png")]) == 1
    assert "pip install 'edgemon[report]'" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("options", "code", "says"),
    [
        (["--lines", "99999999"], 1, "--lines: 99999999 lines (16 to 6400)"),
        (["--lines", "12800"], 1, "at most 6400 lines"),
        (["--fmax", "9999"], 1, "--fmax: 9999 Hz"),
        (["--averages", "9999"], 1, "1 to"),
        (["--overlap", "1"], 1, "0 to 0.9"),
        (["--axis", "orders"], 1, "--speed: orders need a running speed"),
        (["--unit", "furlong"], 2, "--unit: 'furlong' is no unit of velocity"),
        (["--unit", "\x1b[2Jg"], 2, "is no unit of velocity"),
        (["--zoom", "a-b"], 2, "--zoom: 'a-b' (two numbers"),
        (["--zoom", "200-100"], 2, "--zoom: '200-100' (the lower one first"),
        (["--band", "10-20"], 2, "add --envelope"),
        (["--plot", "a.pdf"], 2, ".png or .svg"),
        (["--point", "hp-pump-1/pump-de-h"], 2, "not both"),
        (["--window", "kaiser"], 2, "kaiser"),
    ],
)
def test_what_cannot_be_is_refused(
    sine: Path, capsys: pytest.CaptureFixture[str], options: list[str], code: int, says: str
) -> None:
    assert main(["spectrum", str(sine), "--fs", "6400", *options]) == code
    captured = capsys.readouterr()
    assert says in captured.err
    assert "\x1b" not in captured.err
    assert captured.out == ""


def test_a_file_without_units_is_shown_as_recorded(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    np.savetxt(tmp_path / "bare.csv", np.cos(W * np.arange(4096) / FS))
    assert main(["spectrum", str(tmp_path / "bare.csv"), "--fs", "6400"]) == 0
    assert "acceleration spectrum, as recorded r.m.s." in capsys.readouterr().out
    assert main(["spectrum", str(tmp_path / "bare.csv"), "--fs", "6400", "--samples-unit", "g"]) == 0
    assert "velocity spectrum, mm/s r.m.s." in capsys.readouterr().out
    assert main(["spectrum", str(tmp_path / "gone.csv"), str(tmp_path / "bare.csv"), "--fs", "6400"]) == 1
    captured = capsys.readouterr()
    assert "gone.csv: cannot be read" in captured.err
    assert "bare.csv" in captured.out


def site() -> FakeSite:
    fake = FakeSite()
    hostile = "c\x1b]0;pwned\x07\u202e\nrow"
    made = (capture(BEGIN, 100.0), capture(BEGIN + 60.0, 120.0, hostile))
    fake.looking = looking(asyncio.run(stored(*made)))
    return fake


def test_a_point_of_a_daemon(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with served(tmp_path, site()) as attach:
        assert main(["spectrum", *POINT, *attach, "--quantity", "acceleration", "--json"]) == 0
        newest = document(capsys)
        assert main(["spectrum", *POINT, *attach, "--at", "2023-11-14T22:13:30Z", "--envelope", "--json"]) == 0
        earlier = document(capsys)
        assert main(["spectrum", *POINT, *attach, "--captures"]) == 0
        listed = capsys.readouterr().out
        assert main(["spectrum", *POINT, *attach, "--captures", "--before", "2023-11-14T22:14:00Z", "--json"]) == 0
        page = document(capsys)
        assert main(["spectrum", *POINT, *attach, "--lines", "25600"]) == 1
        assert "at most 6400 lines" in capsys.readouterr().err
        assert main(["spectrum", "--point", "hp-pump-1/nobody", *attach]) == 1
        assert "no such point" in capsys.readouterr().err
        assert main(["spectrum", "--point", "../../v1/me", *attach]) == 2
        assert main(["spectrum", *POINT, *attach, "--at", "yesterday"]) == 2
    assert newest["peaks"][0]["hz"] == pytest.approx(120.0, abs=0.02)
    assert newest["peaks"][0]["amplitude"] == pytest.approx(20.0, rel=2e-3)
    # 1 700 000 000 s after 1970-01-01T00:00:00Z by `date -u -d @1700000000`
    assert (earlier["source"]["t"], earlier["kind"]) == ("2023-11-14T22:13:20.000Z", "envelope")
    assert len(listed.splitlines()) == 2
    assert [one["id"] for one in page["captures"]] == ["c-1700000000"]


def test_hostile_text_never_reaches_the_terminal(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with served(tmp_path, site()) as attach:
        for more in ([], ["--captures"], ["--json"], ["--csv"], ["--waveform"], ["--captures", "--json"]):
            assert main(["spectrum", *POINT, *attach, *more]) == 0
            out = capsys.readouterr().out
            assert not any(ord(char) < 32 and char != "\n" for char in out)
            assert "\u202e" not in out


def test_no_daemon_is_said(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["spectrum", *POINT, "--attach", f"unix:{tmp_path / 'none.sock'}"]) == 1
    assert "no daemon answers" in capsys.readouterr().err


def test_pictures_in_plain_characters_keep_every_peak_and_their_width() -> None:
    values = [0.0] * 5000
    values[1234] = 3.0
    rows = list(stems(values, 80, "0 Hz", "100 Hz", "mm/s", [(1, 1234.0)], [("a", 2500.0)]))
    assert all(row.isascii() and len(row) <= 80 for row in rows)
    column = rows[0].index("1")
    assert all(row[column] == "|" for row in rows[1:12])
    assert rows[0].strip().startswith("3 |")
    assert "a" in rows[-2]
    wave = list(lanes([-1.0] * 3000, [2.0] * 3000, 60, "0 s", "1 s", "g"))
    assert all(row.isascii() and len(row) <= 60 for row in wave)
    for nothing in ([0.0, 0.0], [0.0] * 500):
        assert "|" not in "".join(row.split("|", 1)[-1] for row in stems(nothing, 80, "a", "b", "g"))


def test_narrow_and_wide_terminals(tmp_path: Path) -> None:
    fake = site()
    assert fake.looking is not None
    from edgemon.model.look import SpectrumRequest, Which
    from tests.support.plants import DRIVE_END

    view = asyncio.run(fake.looking.spectrum(DRIVE_END, Which(), False, SpectrumRequest()))
    for width in (40, 80, 160):
        pictured = [line for line in told(view, width) if line[9:11] in (" |", " +")]
        assert pictured
        assert max(len(line) for line in pictured) <= width


def test_a_picture_says_what_it_is_of(tmp_path: Path) -> None:
    """Read from the SVG, where each line of text is a comment, too: a picture leaves the file it was drawn from."""
    samples = np.random.default_rng(1).standard_normal((1, 8192))
    np.savez(tmp_path / "a$b$.npz", samples=samples, fs_hz=FS, meta=json.dumps({"channels": [{"name": "a", "unit": "g"}]}))
    wanted = ["--speed", "1500", "--bearing", "9,7.94,39.04", "--axis", "CPM", "--unit", "in/s", "--fmax", "500"]
    assert main(["spectrum", str(tmp_path / "a$b$.npz"), *wanted, "--plot", str(tmp_path / "look.svg")]) == 0
    (path,) = tmp_path.glob("look*.svg")
    drawn = " ".join(re.findall(r"<!-- (.*?) -->", path.read_text(encoding="utf-8"), re.DOTALL))  # one a line of text
    for said in ("a$b$.npz: a", "1500 r/min, given", "in/s r.m.s.", "hann window", "2 x BPFO", "3x", "BPFI"):
        assert said in drawn, said
