"""A spectrum that a sensor sent, shown like one that the gateway took; what its waveform would have told is not made up."""

from dataclasses import replace
from typing import Final

import numpy as np

from edgemon.analysis.received import amplitudes, measure_spectrum, spectrum_of
from edgemon.engine.diagnose import facts_of
from edgemon.engine.look import Material, quantity_named, said_of, unit_for, with_speed
from edgemon.engine.look_spectrum import Taken, Wave, view_of
from edgemon.engine.memory import Setting
from edgemon.engine.received import received
from edgemon.errors import ParameterError
from edgemon.model.ids import PointKey
from edgemon.model.look import CaptureView, Source, SpectrumRequest, SpectrumView
from edgemon.model.machine import Point
from edgemon.model.quality import Verdict
from edgemon.model.reading import Capture
from edgemon.model.spectrum import LineForm

SAME_WIDTH: Final = 0.01
"""Part by which a noise bandwidth may differ from that of a window known here to count as it."""
_WINDOWS: Final = {"rectangular": 1.0, "hann": 1.5, "flat-top": 3.7702465}
"""Noise bandwidth in lines. Source: F. J. Harris, Proc. IEEE 66 (1978) 51-83; flat top recomputed from SciPy's coefficients."""
_ONLY_SENSOR: Final = "the sensor sends spectra and no waveform: lines, window and averages are its own"


def look_at_received(setting: Setting, key: PointKey, capture: Capture, request: SpectrumRequest) -> SpectrumView:
    """Show a spectrum that a sensor sent, as seen from a point.

    Parameters
    ----------
    setting : Setting
        Plant and rules.
    key : PointKey
        A point that the plant file knows.
    capture : Capture
        A spectrum of its sensor.
    request : SpectrumRequest
        Quantity, unit, detector, axis, `fmax_hz`, `low_hz`, `rpm` and `peaks` count; window and averages are the sensor's.

    Returns
    -------
    SpectrumView
        Peaks between lines where the sensor's window is one known here; under another one they are the lines themselves.

    Raises
    ------
    ParameterError
        Nothing was sent of the point's axis, or something asked for that only a waveform could give.
    """
    form, point = capture.form, setting.plant.points[key]
    if form is None or point.axis not in capture.axes:
        held = ", ".join(sorted(capture.axes))
        raise ParameterError(f"spectrum {capture.id} has nothing on axis {point.axis}", str(key), f"it has {held}")
    _possible(request, form, capture, point)
    wanted = quantity_named(request.quantity)
    native = spectrum_of(amplitudes(capture.axes[point.axis], form, capture.si_per_count), form)
    material = _material(setting, key, capture, native.amplitude.size, request.rpm)
    unit, size = unit_for(material, wanted, request.unit)
    top = form.line_hz * (native.amplitude.size - 1)
    if request.fmax_hz is not None:
        kept = 1 + int(np.floor(request.fmax_hz / form.line_hz + 1e-9))
        native = replace(native, amplitude=native.amplitude[:kept])
    wave = Wave(native.amplitude, form.quantity, wanted, unit, size, "spectrum, sent by the sensor", top)
    known = _window_of(form)
    low = form.first_hz if request.low_hz is None and form.first_hz > 0.0 else request.low_hz
    taken = Taken(native, native.amplitude, 0.0, native.line_hz, form.averages, float(form.averages))
    view = view_of(material, replace(request, window=known or "flat-top", low_hz=low), wave, taken)
    averaging = "none" if form.averages == 1 else "by the sensor"
    return replace(view, window=form.window or known or "not told", averaging=averaging, overlap=0.0)


def received_view(setting: Setting, point: Point, capture: Capture) -> CaptureView:
    """Describe a stored spectrum, as seen from a point."""
    form, held = capture.form, capture.axes.get(point.axis)
    lines = 0 if form is None or held is None else int(held.size) // form.words
    verdict = _verdict(point, capture) if lines else Verdict(remarks=(f"nothing on axis {point.axis}",))
    return CaptureView(
        t=capture.taken_at,
        id=str(capture.id),
        sensor=str(capture.sensor),
        axis=point.axis,
        fs_hz=capture.fs_hz,
        samples=0,
        rpm=capture.rpm,
        quality="good" if lines and verdict.is_fit else "bad",
        flaws=tuple(flaw.value for flaw in verdict.flaws),
        remarks=verdict.remarks,
        sim=capture.sim,
        lines=lines,
    )


def _possible(request: SpectrumRequest, form: LineForm, capture: Capture, point: Point) -> None:
    """Refuse what only a waveform could give."""
    asked = {
        "lines": request.lines is not None,
        "averages": request.averages is not None,
        "hold": request.hold,
        "zoom": request.zoom_low_hz is not None or request.zoom_high_hz is not None,
        "over_angle": request.over_angle,
    }
    for field, is_asked in asked.items():
        if is_asked:
            raise ParameterError(f"{field} cannot be chosen", field, _ONLY_SENSOR)
    count = int(capture.axes[point.axis].size) // form.words
    top = form.first_hz + form.line_hz * (count - 1)
    if request.fmax_hz is not None and not form.line_hz < request.fmax_hz <= top * (1.0 + 1e-9):
        raise ParameterError(f"{request.fmax_hz:g} Hz", "fmax_hz", f"the sensor sent lines up to {top:g} Hz")


def _window_of(form: LineForm) -> str | None:
    """Give the window known here that has the noise bandwidth the sensor says."""
    near = (name for name, width in _WINDOWS.items() if abs(form.noise_bandwidth_lines / width - 1.0) <= SAME_WIDTH)
    return next(near, None)


def _material(setting: Setting, key: PointKey, capture: Capture, lines: int, rpm: float | None) -> Material:
    point, form = setting.plant.points[key], capture.form
    assert form is not None
    verdict = _verdict(point, capture)
    facts = facts_of(setting.plant.machine_of[key.machine], capture)
    remarks = (*verdict.remarks, _ONLY_SENSOR)
    source = Source(
        f"{key.machine}/{key.point}",
        capture.taken_at,
        str(capture.id),
        str(capture.sensor),
        2.0 * form.line_hz * (lines - 1),
        0,
        None,
        "",
        "good" if verdict.is_fit else "bad",
        tuple(flaw.value for flaw in verdict.flaws),
        remarks,
        capture.sim,
    )
    said = said_of(facts, capture)
    none = np.empty(0)
    material = Material(none, source.fs_hz, form.quantity, source, facts, said[1], point.band, point.envelope_band)
    return with_speed(material, none, rpm, said)


def _verdict(point: Point, capture: Capture) -> Verdict:
    assert capture.form is not None
    _, verdict = measure_spectrum(received(capture, capture.form, point, capture.rpm))
    return verdict
