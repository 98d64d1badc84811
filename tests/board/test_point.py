"""The point screen: what stands in which column is worked out by hand; pictures of characters lose no peak."""

from dataclasses import replace

import pytest

from edgemon.board.memory import MemorySource
from edgemon.board.theme import Look
from edgemon.board.view import point as view
from edgemon.board.view.cells import row_text
from edgemon.board.view.point import Marks
from edgemon.model.look import EnvelopeRequest, Marker, Peak, Source, SpectrumView, WaveformView
from edgemon.model.snapshot import TrendPoint
from tests.board.driving import Board, plant
from tests.support import sites

SOURCE = Source("booster-3/pump-de-h", sites.NOW - 60.0, "c-7\x1b[2J", "s-0001", 6400.0, 4096, 2960.0, "of the plant file")
HZ = 2960.0 / 60.0


def spectrum(lines: int = 401, step: float = 2.5) -> SpectrumView:
    amplitude = [0.01] * lines
    amplitude[20], amplitude[60] = 2.0, 1.0
    markers = (
        Marker("speed", "running speed", HZ, HZ, 0.5, 3),
        Marker("BPFO", "bearing", 150.0, 150.0, 2.0, 2, (HZ,)),
    )
    peaks = (Peak(50.2, 50.2, 1.02, 2.05, 205.0, "1 x speed"), Peak(150.0, 150.0, 3.04, 1.0, 100.0, "1 x BPFO"))
    return SpectrumView(
        source=SOURCE, kind="spectrum", quantity="velocity", unit="mm/s", detector="r.m.s.", axis="Hz", low_hz=0.0,
        high_hz=step * (lines - 1), demodulated="", window="hann", averaging="linear", averages=3, effective_averages=2.6,
        overlap=0.5, line_hz=step, resolution_hz=1.5 * step, first_x=0.0, step_x=step, amplitude=tuple(amplitude),
        total_rms=2.24, peaks=peaks, markers=markers,
    )  # fmt: skip


def waveform() -> WaveformView:
    low = tuple(-1.0 if k % 2 else -3.0 for k in range(200))
    return WaveformView(
        SOURCE, "acceleration", "m/s2", "peak", 0.0, 2500.0, 0.0, 0.0005, 200, low, tuple(-one for one in low),
        1.9, 3.0, 6.0, 1.58, 60.0 / 2960.0,
    )  # fmt: skip


def looking() -> MemorySource:
    source = MemorySource()
    source.lines, source.wave = spectrum(), waveform()
    source.past = tuple(TrendPoint(sites.NOW - 60.0 * number, 3.0 + number % 2, True) for number in range(50))
    return source


async def opened(one: Board, *keys: str) -> str:
    await one.press("enter")
    await one.press("enter", *keys)
    await one.wait(0.5)
    return one.text()


@pytest.mark.parametrize("size", [(80, 24), (120, 40), (200, 60)])
async def test_all_four_looks_at_every_size(size: tuple[int, int]) -> None:
    source = looking()
    async with plant(size, source) as one:
        text = await opened(one)
        assert "velocity r.m.s., mm/s, the last 1 h" in text
        assert "in all lowest 3, mean 3.5, highest 4 mm/s, 50 values" in text
        await one.press("2")
        await one.wait(0.5)
        text = one.text()
        assert "at 0 ms" in text
        assert "acceleration 1.9 m/s" in text
        assert "crest factor 1.58" in text
        await one.press("3")
        await one.wait(0.5)
        text = one.text()
        assert "velocity 2.24 mm/s r.m.s. in 0-1000 Hz; hann, 3 averages, lines 2.5 Hz" in text
        assert "A speed 49.33   B BPFO 150" in text
        assert "2960 r/min (of the plant file)" in text
        assert "\x1b" not in text
        await one.press("4")
        await one.wait(0.5)
        assert isinstance(source.looked[-1], EnvelopeRequest)
        assert not any("…" in line for line in one.lines("foot"))


async def test_the_cursor_goes_from_peak_to_peak_and_is_read_out() -> None:
    async with plant((120, 40), looking()) as one:
        await opened(one, "3")
        await one.press("tab")
        assert "peak at 50.2 Hz, 1.02 x speed: 2.05 mm/s r.m.s., 205.0 x around, 1 x speed" in one.text()
        await one.press("tab")
        assert "peak at 150 Hz, 3.04 x speed: 1 mm/s" in one.text()
        await one.press("right", "right", "right", "right")
        assert "line at" in one.text()
        await one.press("tab")
        assert "peak at 50.2 Hz" in one.text()
        await one.press("home")
        assert "line at 0 Hz" in one.text()
        await one.press("end")
        assert "line at 99" in one.text()


async def test_zoom_asks_for_less_and_comes_back() -> None:
    source = looking()
    async with plant((120, 40), source) as one:
        await opened(one, "3")
        await one.press("plus")
        await one.wait(0.5)
        assert source.looked[-1].fmax_hz == 500.0  # type: ignore[union-attr]
        await one.press("minus", "2")
        await one.wait(0.5)
        await one.press("plus")
        await one.wait(0.5)
        assert source.looked[-1].length_s == pytest.approx(0.05)  # type: ignore[union-attr]


async def test_a_point_without_a_capture_says_why() -> None:
    async with plant((80, 24), MemorySource()) as one:
        await opened(one, "3")
        assert "no capture is stored" in one.text()


async def test_a_diagnosis_is_asked_for_and_the_way_back_leads_to_the_machine() -> None:
    source = looking()
    async with plant((100, 30), source) as one:
        assert "Diagnose the newest capture of Booster pump 3, pump-de-h?" in await opened(one, "d")
        assert "as operator (operator) at control-room" in one.text()
        assert source.ordered == []
        await one.press("escape", "d", "enter")
        assert source.ordered == [("diagnose", "booster-3", "pump-de-h")]
        assert "Done: diagnose" in one.lines("foot")[0]
        await one.press("escape")
        assert "level" in one.lines("body")[2]  # the heads of the machine's levels
        assert "alert" in one.lines("body")[2]


def test_no_peak_is_lost_whatever_the_width() -> None:
    shown = spectrum()
    for columns in (8, 70, 190, 401, 900):
        highest = view.tops(shown.amplitude, columns)
        assert max(highest) == 2.0
        at = highest.index(2.0)
        assert view.line_at(at, shown.amplitude, columns) == 20


def test_marks_stand_where_their_frequencies_are() -> None:
    shown = spectrum()
    columns = 401  # a column a line of 2.5 Hz
    found = view.marks(shown, Marks(), None, columns)
    assert {at: letter for at, letter in found.items() if letter == "B"} == {60: "B", 120: "B"}
    assert [at for at, letter in found.items() if letter == "A"] == [20, 39, 59]  # 49.33, 98.67, 148 Hz
    harmonics = view.marks(shown, Marks(faults=False, harmonics=True), 150.0, columns)
    assert sorted(harmonics) == [60, 120, 180, 240, 300, 360]
    sidebands = view.marks(shown, Marks(faults=False, sidebands=True), 500.0, columns)
    assert sorted(sidebands) == [141, 161, 180, 200, 220, 239, 259]  # 500 +- k 49.33 Hz
    assert sidebands[200] == "c"


def test_a_waveform_shows_both_sides_of_zero() -> None:
    rows = [row_text(row) for row in view.lanes(waveform(), 0, Look(), 120, 9)]
    assert rows[0].split()[0] == "3.00"
    assert rows[-1].split()[0] == "-3.00"
    assert all("█" in row for row in (rows[0], rows[4], rows[8]))


def test_an_empty_spectrum_draws_nothing_and_breaks_nothing() -> None:
    empty = replace(spectrum(), amplitude=(), peaks=(), markers=())
    assert view.line_at(3, empty.amplitude, 70) is None
    assert view.spectrum_words(empty, None, Look()) == ""
    assert len(view.stems(view.tops((), 70), 3, "mm/s", Look(), 80, 6)) == 6
    assert view.legend(empty, Look(), 80) == []
