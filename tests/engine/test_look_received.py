"""Spectra that sensors send, shown: a sine written line by line under a Hann window (0.5, 1, 0.5: closed form)."""

import math
from dataclasses import replace

import numpy as np
import pytest

from edgemon.engine.look_received import look_at_received, received_view
from edgemon.engine.memory import setting_of
from edgemon.errors import ParameterError
from edgemon.model.ids import CaptureId
from edgemon.model.level import Detector
from edgemon.model.look import SpectrumRequest
from edgemon.model.reading import Capture
from edgemon.model.spectrum import LineForm
from edgemon.model.speed import SpeedOrigin
from edgemon.units import Quantity
from tests.support.plants import DRIVE_END, SENSOR, gateway, plant

SETTING = setting_of(plant(), gateway())
LINE_HZ, LINES, HZ, RMS = 1.25, 800, 50.0, 2e-3
FORM = LineForm(Quantity.VELOCITY, Detector.RMS, LINE_HZ, 0.0, 1.5, "hann", 8)


def sent(form: LineForm = FORM, **more: object) -> Capture:
    lines = np.zeros(LINES)
    at = round((HZ - form.first_hz) / LINE_HZ)
    lines[at - 1 : at + 2] = RMS * np.array([0.5, 1.0, 0.5])
    words = np.rint(lines / 1e-6).astype("<u2").view("<i2")
    one = Capture(SENSOR, CaptureId("p-1"), 1e9, 1e9, 2000.0, "m/s", 1e-6, 1e-6, {"x": words}, rpm=3000.0, form=form)
    return replace(one, **more)  # type: ignore[arg-type]


ASKED = SpectrumRequest()


def test_lines_peak_total_and_what_the_sensor_says_of_them() -> None:
    view = look_at_received(SETTING, DRIVE_END, sent(), ASKED)
    assert view.kind == "spectrum, sent by the sensor"
    assert (view.quantity, view.unit, view.window, view.averages, view.averaging) == (
        *("velocity", "mm/s", "hann", 8),
        "by the sensor",
    )
    assert (view.line_hz, view.resolution_hz, view.high_hz) == (LINE_HZ, 1.5 * LINE_HZ, (LINES - 1) * LINE_HZ)
    assert view.peaks[0].hz == pytest.approx(HZ, abs=1e-3)
    assert view.peaks[0].amplitude == pytest.approx(2.0, rel=1e-3)
    assert view.peaks[0].order == pytest.approx(1.0, rel=1e-3)
    assert view.peaks[0].name
    assert view.total_rms == pytest.approx(2.0, rel=1e-3)  # (0.25 + 1 + 0.25) / 1.5 = 1
    assert view.source.samples == 0
    assert view.source.speed_origin is SpeedOrigin.MEASURED
    assert any("no waveform" in remark for remark in view.source.remarks)


@pytest.mark.parametrize(
    ("quantity", "unit", "detector", "expected"),
    [
        ("acceleration", "m/s2", "rms", RMS * 2.0 * math.pi * HZ),
        ("displacement", "um", "peak-to-peak", 2.0 * math.sqrt(2.0) * RMS / (2.0 * math.pi * HZ) * 1e6),
        ("velocity", "in/s", "peak", math.sqrt(2.0) * RMS / 0.0254),
    ],
)
def test_other_quantities_units_and_detectors(quantity: str, unit: str, detector: str, expected: float) -> None:
    asked = SpectrumRequest(quantity=quantity, unit=unit, detector=detector)
    view = look_at_received(SETTING, DRIVE_END, sent(), asked)
    assert view.peaks[0].amplitude == pytest.approx(expected, rel=2e-3)
    assert view.unit == unit


def test_a_part_of_it_in_orders() -> None:
    view = look_at_received(SETTING, DRIVE_END, sent(), replace(ASKED, axis="orders", fmax_hz=200.0, low_hz=10.0))
    assert (view.low_hz, view.high_hz) == (10.0, 200.0)
    assert view.peaks[0].x == pytest.approx(1.0, rel=1e-3)


def test_lines_that_begin_above_zero() -> None:
    view = look_at_received(SETTING, DRIVE_END, sent(replace(FORM, first_hz=25.0)), ASKED)
    assert view.low_hz == 25.0
    assert view.peaks[0].hz == pytest.approx(HZ, abs=1e-3)


def test_under_a_window_not_known_a_peak_is_its_line() -> None:
    view = look_at_received(SETTING, DRIVE_END, sent(replace(FORM, window="own", noise_bandwidth_lines=1.8)), ASKED)
    assert view.window == "own"
    assert view.peaks[0].amplitude == pytest.approx(2.0, rel=1e-3)


@pytest.mark.parametrize(
    ("change", "named"),
    [
        ({"lines": 400}, "lines"),
        ({"averages": 2}, "averages"),
        ({"hold": True}, "hold"),
        ({"zoom_low_hz": 10.0, "zoom_high_hz": 20.0}, "zoom"),
        ({"over_angle": True}, "over_angle"),
        ({"fmax_hz": 5000.0}, "fmax_hz"),
        ({"detector": "mean"}, "detector"),
        ({"unit": "g"}, "unit"),
    ],
)
def test_what_only_a_waveform_could_give_is_refused(change: dict[str, object], named: str) -> None:
    with pytest.raises(ParameterError) as error:
        look_at_received(SETTING, DRIVE_END, sent(), replace(ASKED, **change))  # type: ignore[arg-type]
    assert error.value.where == named


def test_nothing_on_the_axis_is_said() -> None:
    other = sent(axes={"y": np.zeros(LINES, np.int16)})
    with pytest.raises(ParameterError, match="nothing on axis x"):
        look_at_received(SETTING, DRIVE_END, other, ASKED)
    seen = received_view(SETTING, SETTING.plant.points[DRIVE_END], other)
    assert (seen.quality, seen.lines) == ("bad", 0)
    seen = received_view(SETTING, SETTING.plant.points[DRIVE_END], sent())
    assert (seen.quality, seen.lines, seen.samples) == ("good", LINES, 0)
