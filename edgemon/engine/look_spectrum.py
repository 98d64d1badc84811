"""The spectrum of a waveform, or of its envelope, as somebody asks for it: set up, computed, peaks named; pure."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from edgemon.analysis.band import band_rms
from edgemon.analysis.cepstrum import prewhitened
from edgemon.analysis.envelope import envelope
from edgemon.analysis.lines import MAIN_LOBE, find_lines
from edgemon.analysis.prepare import ENVELOPE_HIGH, ENVELOPE_LOW
from edgemon.analysis.ringing import ringing_band
from edgemon.analysis.scaling import RATE_OVER_HIGHEST, Axis, shown
from edgemon.analysis.spectrum import averaged_spectrum, effective_averages, hop
from edgemon.analysis.waveform import STEPS
from edgemon.analysis.window import COSINES
from edgemon.diagnosis.markers import Expected, Family, tolerance
from edgemon.diagnosis.naming import names_of
from edgemon.engine.look import DETECTORS, NO_UNIT, Material, quantity_named, short, unit_for
from edgemon.errors import ParameterError
from edgemon.model.level import Band
from edgemon.model.look import EnvelopeRequest, Marker, Peak, SpectrumRequest, SpectrumView
from edgemon.model.spectrum import Spectrum
from edgemon.units import Quantity, from_si

FEWEST_LINES, USUAL_LINES, MOST_LINES = 16, 6400, 25_600
ZOOM_LINES, ZOOM_FINER = 801, 4
"""Lines of a zoom where nobody says: so many, and that many times as dense as the record's own at least: there the highest line
of a Hann window is within 1 % of the sine's top (0.1 dB at an eighth of a line: its transform)."""
MOST_OVERLAP = 0.9
MOST_PEAKS = 200
LOWEST_HZ = 2.0
"""Lower edge of an integrated spectrum where none is asked for: below it the sensor's own noise, divided by frequency, is all
one sees. Common practice, no source."""
CANDIDATES = 1000
FEW_TURNS, FEW_HZ = 20.0, 1000.0
_BY = {"synchronous": "synchronous averaging", "prediction": "prediction"}
_PEAK = {"rms": 1.0, "peak": math.sqrt(2.0), "peak-to-peak": 2.0 * math.sqrt(2.0)}


@dataclass(frozen=True, slots=True, eq=False)
class Wave:
    """What is transformed: a waveform or an envelope."""

    samples: NDArray[np.floating]
    quantity: Quantity
    wanted: Quantity
    unit: str
    size: float
    kind: str
    fmax_hz: float
    demodulated: str = ""


@dataclass(frozen=True, slots=True, eq=False)
class Taken:
    """A spectrum in the measured quantity, and how it was taken."""

    native: Spectrum
    """From 0 Hz on: for peaks and totals."""
    amplitude: NDArray[np.floating]
    first_hz: float
    step_hz: float
    averages: int
    effective: float


def look_at_spectrum(material: Material, request: SpectrumRequest) -> SpectrumView:
    """Take a spectrum.

    Parameters
    ----------
    material : Material
        Waveform and machine.
    request : SpectrumRequest
        What is wanted.

    Returns
    -------
    SpectrumView
        Amplitudes of lines as measured; those of the peaks, and their frequencies, as of the sine between the lines.

    Raises
    ------
    ParameterError
        Something asked for that the record cannot give; names the field and what would do.

    Notes
    -----
    Peaks are corrected in the quantity that was measured and then converted at their own frequency: division by frequency
    would bend a peak's shape.
    """
    quantity = quantity_named(request.quantity)
    material = _over_angle(material) if request.over_angle else material
    unit, size = unit_for(material, quantity, request.unit)
    fmax = material.fs_hz / RATE_OVER_HIGHEST if request.fmax_hz is None else request.fmax_hz
    return _view(material, request, Wave(material.samples, material.quantity, quantity, unit, size, "spectrum", fmax))


def look_at_envelope(material: Material, request: EnvelopeRequest) -> SpectrumView:
    """Take the spectrum of the envelope of a band; arguments, result and errors as for `look_at_spectrum`.

    Notes
    -----
    Source: R. B. Randall, J. Antoni, Mech. Syst. Signal Process. 25 (2011) 485-520 (squared envelope, choice of the band);
    P. Borghesani et al., Mech. Syst. Signal Process. 36 (2013) 370-384 (pre-whitening); both from memory.
    """
    if material.quantity is not Quantity.ACCELERATION:
        raise ParameterError(f"the envelope of {material.quantity}", "quantity", "impacts are looked for in acceleration")
    if quantity_named(request.quantity) is not Quantity.ACCELERATION:
        raise ParameterError(f"the envelope as {request.quantity}", "quantity", "acceleration")
    if request.whitened and request.unit is not None:
        raise ParameterError("a whitened waveform has no unit", "unit", "leave it out")
    unit, size = unit_for(material, Quantity.ACCELERATION, request.unit)
    material = _over_angle(material) if request.over_angle else material
    way = material.separation if request.separation is None else request.separation
    wave = material.samples if way == "none" else _without_repeating(material, way)
    if request.whitened:
        wave = np.fft.irfft(prewhitened(np.fft.rfft(wave - wave.mean())), wave.size) * math.sqrt(wave.size)  # r.m.s. 1
        unit, size = "1", 1.0
    band, why = _band(material, request, wave)
    strength: NDArray[np.floating] = envelope(wave, material.fs_hz, band)
    if request.squared:
        strength = strength.astype(np.float64) ** 2
        unit, size = unit if unit in ("1", NO_UNIT) else f"({unit})2", size**2
    width = min(band.high_hz - band.low_hz, material.fs_hz / RATE_OVER_HIGHEST)
    if request.fmax_hz is not None and request.fmax_hz > width * (1.0 + 1e-9):
        raise ParameterError(
            f"{request.fmax_hz:g} Hz",
            "fmax_hz",
            f"the envelope of {_words(band)} holds nothing above {width:.5g} Hz: widen the band",
        )
    fmax = min(width, _interesting(material.expected)) if request.fmax_hz is None else request.fmax_hz
    kind = ("squared " if request.squared else "") + "envelope" + (", whitened" if request.whitened else "")
    kind += "" if way == "none" else f", repeating parts taken out by {_BY[way]}"
    accelerated = Quantity.ACCELERATION
    return _view(material, request, Wave(strength, accelerated, accelerated, unit, size, kind, fmax, f"{_words(band)}, {why}"))


def _words(band: Band) -> str:
    return f"{band.low_hz:.4g}-{band.high_hz:.5g} Hz"


def _over_angle(material: Material) -> Material:
    from edgemon.engine.look_turning import at_even_angles  # loads a large part of SciPy, and few ask for it

    return at_even_angles(material)


def _without_repeating(material: Material, way: str) -> NDArray[np.float64]:
    from edgemon.engine.look_turning import without_repeating  # likewise

    return without_repeating(material, way)


def _interesting(among: tuple[Expected, ...]) -> float:
    bearings = [one.hz * (one.multiples + 0.5) for one in among if one.family is Family.BEARING]
    turns = [FEW_TURNS * one.hz for one in among if one.family is Family.SPEED]
    return max(bearings or turns or [FEW_HZ])


def _band(material: Material, request: EnvelopeRequest, wave: NDArray[np.floating]) -> tuple[Band, str]:
    low, high, half = request.band_low_hz, request.band_high_hz, material.fs_hz / 2.0
    line_hz = material.fs_hz / material.samples.size
    if low is not None or high is not None:
        if low is None or high is None or not 0.0 <= low < high <= half or high - low < 4.0 * line_hz:
            raise ParameterError(f"band {low}-{high} Hz", "band", f"both edges, in 0-{half:g} Hz, four lines apart or more")
        return Band(low, high), "as asked"
    if material.envelope_band is not None and material.envelope_band.high_hz <= half:
        return material.envelope_band, "as in the plant file"
    wanted = _interesting(material.expected) if request.fmax_hz is None else request.fmax_hz
    ringing = ringing_band(wave, material.fs_hz, min(wanted, half / 2.0))
    if ringing is not None:
        return ringing[0], f"which rings most with impacts (kurtosis of its parts, median {ringing[1]:.2g})"
    usual = Band(material.fs_hz / ENVELOPE_LOW, material.fs_hz / ENVELOPE_HIGH)
    return usual, "the usual one, for none rings with impacts"


def _view(material: Material, request: SpectrumRequest, wave: Wave) -> SpectrumView:
    if request.window not in COSINES:
        raise ParameterError(f"unknown window {request.window[:40]!r}", "window", f"one of {', '.join(COSINES)}")
    taken = _zoomed(material, request, wave) if _is_zoom(request) else _averaged(material, request, wave)
    return view_of(material, request, wave, taken)


def view_of(material: Material, request: SpectrumRequest, wave: Wave, taken: Taken) -> SpectrumView:
    """Show lines that were taken, in what was asked for; errors as for `look_at_spectrum`."""
    per_hz = _per_hz(material, request.axis)
    if request.detector not in DETECTORS:
        raise ParameterError(f"unknown detector {request.detector[:40]!r}", "detector", f"one of {', '.join(DETECTORS)}")
    if not 1 <= request.peaks <= MOST_PEAKS:
        raise ParameterError(f"{request.peaks} peaks", "peaks", f"1 to {MOST_PEAKS}")
    low = _lowest(request, wave, taken)
    skip = max(0, math.ceil((low - taken.first_hz) / taken.step_hz - 1e-9))
    hz = taken.first_hz + taken.step_hz * np.arange(skip, taken.amplitude.size, dtype=np.float64)
    if hz.size < 2:
        raise ParameterError(f"nothing is left above {low:g} Hz", "low_hz", "lower, or a higher fmax")
    steps, scale = STEPS[wave.quantity] - STEPS[wave.wanted], _PEAK[request.detector] / wave.size
    resolution = taken.native.noise_bandwidth_lines * taken.native.line_hz
    return SpectrumView(
        source=material.source,
        kind=wave.kind,
        quantity=wave.wanted.value,
        unit=wave.unit,
        detector=DETECTORS[request.detector].value,
        axis=request.axis,
        low_hz=float(hz[0]),
        high_hz=float(hz[-1]),
        demodulated=wave.demodulated,
        window=request.window,
        averaging="none" if taken.averages == 1 else "peak hold" if request.hold else "linear, power",
        averages=taken.averages,
        effective_averages=taken.effective,
        overlap=0.0 if taken.averages == 1 else request.overlap,
        line_hz=taken.step_hz,
        resolution_hz=resolution,
        first_x=float(hz[0]) * per_hz,
        step_x=taken.step_hz * per_hz,
        amplitude=short(taken.amplitude[skip:] * _converted(hz, steps) * scale),
        total_rms=_total(taken.native, float(hz[0]), float(hz[-1]), steps) / wave.size,
        peaks=_peaks(material, request, taken, (float(hz[0]), float(hz[-1])), (steps, scale, per_hz, resolution)),
        markers=tuple(
            Marker(
                one.name,
                one.family.value,
                one.hz,
                one.hz * per_hz,
                tolerance(one, resolution),
                one.multiples,
                one.sidebands_hz,
            )
            for one in material.expected
        ),
    )


def _per_hz(material: Material, axis: str) -> float:
    if axis not in [one.value for one in Axis]:
        raise ParameterError(f"unknown axis {axis[:40]!r}", "axis", f"one of {', '.join(Axis)}")
    if axis == Axis.ORDERS:
        if material.facts.speed_hz is None:
            raise ParameterError("orders need a running speed, and none is known", "rpm", "give it, r/min")
        return 1.0 / material.facts.speed_hz
    return from_si(1.0, axis)


def _is_zoom(request: SpectrumRequest) -> bool:
    if request.zoom_low_hz is None and request.zoom_high_hz is None:
        return False
    if request.averages not in (None, 1) or request.hold or request.fmax_hz is not None:
        raise ParameterError("a zoom takes the whole record in one window", "zoom", "leave out fmax, averages and hold")
    return True


def _zoomed(material: Material, request: SpectrumRequest, wave: Wave) -> Taken:
    from edgemon.analysis.zoom import zoom_spectrum  # loads a large part of SciPy, and few ask for it

    low, high, half = request.zoom_low_hz, request.zoom_high_hz, material.fs_hz / 2.0
    if low is None or high is None or not 0.0 < low < high < half:
        raise ParameterError(f"zoom {low}-{high} Hz", "zoom", f"both ends, above 0 and below {half:g} Hz")
    own = ZOOM_FINER * wave.samples.size / material.fs_hz
    dense = min(USUAL_LINES, max(ZOOM_LINES, math.ceil((high - low) * own) + 1))
    lines = dense if request.lines is None else request.lines
    if not FEWEST_LINES <= lines <= USUAL_LINES:
        raise ParameterError(f"{lines} lines", "lines", f"{FEWEST_LINES} to {USUAL_LINES} in a zoom")
    found = zoom_spectrum(wave.samples, material.fs_hz, low, high, lines, wave.quantity, request.window)
    native = averaged_spectrum(wave.samples, material.fs_hz, wave.samples.size, wave.quantity, request.window)
    return Taken(native, found.amplitude, low, found.step_hz, 1, 1.0)


def _averaged(material: Material, request: SpectrumRequest, wave: Wave) -> Taken:
    n, fs_hz, fmax = int(wave.samples.size), material.fs_hz, wave.fmax_hz
    if not 0.0 < fmax <= fs_hz / 2.0:
        raise ParameterError(f"{fmax:g} Hz", "fmax_hz", f"above 0, at most half the sample rate, {fs_hz / 2.0:g} Hz")
    if request.fmax_hz is None and fmax * n < FEWEST_LINES * fs_hz:
        raise ParameterError(f"{n} samples", "record", f"a spectrum up to {fmax:.4g} Hz takes {_fewest(fs_hz, fmax)} or more")
    if fmax * n < FEWEST_LINES * fs_hz:
        raise ParameterError(
            f"{fmax:g} Hz", "fmax_hz", f"{FEWEST_LINES} lines of this record reach {FEWEST_LINES * fs_hz / n:.4g} Hz"
        )
    if not 0.0 <= request.overlap <= MOST_OVERLAP:
        raise ParameterError(f"overlap {request.overlap:g}", "overlap", f"0 to {MOST_OVERLAP:g}")
    size = _window_size(request.lines, n, fs_hz, fmax)
    step = hop(size, request.overlap)
    held = 1 + (n - size) // step
    count = held if request.averages is None else request.averages
    if not 1 <= count <= held:
        raise ParameterError(f"{count} averages", "averages", f"1 to {held} of {size / fs_hz:.4g} s with this overlap")
    used = wave.samples[: size + (count - 1) * step]
    native = averaged_spectrum(used, fs_hz, size, wave.quantity, request.window, request.overlap, request.hold)
    native = shown(native, fmax)
    worth = effective_averages(count, size, request.window, request.overlap)
    return Taken(native, native.amplitude, 0.0, native.line_hz, count, worth)


def _fewest(fs_hz: float, fmax: float) -> int:
    return math.ceil(FEWEST_LINES * fs_hz / fmax)


def _window_size(lines: int | None, n: int, fs_hz: float, fmax: float) -> int:
    """Give the samples of a window: so many lines up to the highest frequency take lines / fmax seconds."""
    if lines is None:
        return min(n, round(fs_hz * USUAL_LINES / fmax))
    most = min(MOST_LINES, math.floor(n * fmax / fs_hz))
    if not FEWEST_LINES <= lines <= MOST_LINES:
        raise ParameterError(f"{lines} lines", "lines", f"{FEWEST_LINES} to {most}")
    size = round(fs_hz * lines / fmax)
    if size > n:
        what = f"{lines} lines up to {fmax:g} Hz take {lines / fmax:.4g} s"
        raise ParameterError(what, "lines", f"the record lasts {n / fs_hz:.4g} s: at most {most} lines")
    return size


def _lowest(request: SpectrumRequest, wave: Wave, taken: Taken) -> float:
    if request.low_hz is not None:
        if not (math.isfinite(request.low_hz) and request.low_hz >= 0.0):
            raise ParameterError(f"{request.low_hz:g} Hz", "low_hz", "0 or more")
        return max(request.low_hz, taken.native.line_hz)
    leak = (MAIN_LOBE[request.window] + 1) * taken.native.line_hz
    integrated = STEPS[wave.wanted] > STEPS[wave.quantity]
    return max(LOWEST_HZ, leak) if integrated else taken.native.line_hz


def _converted(hz: NDArray[np.float64], steps: int) -> NDArray[np.float64]:
    """Give what turns an amplitude into that of the quantity wanted: 2 pi f to a power."""
    return np.asarray((2.0 * np.pi * hz) ** steps)


def _total(native: Spectrum, low_hz: float, high_hz: float, steps: int) -> float:
    hz = native.line_hz * np.arange(1, native.amplitude.size, dtype=np.float64)
    amplitude = np.zeros_like(native.amplitude)
    amplitude[1:] = native.amplitude[1:] * _converted(hz, steps)
    whole = Spectrum(amplitude, native.line_hz, native.quantity, native.noise_bandwidth_lines)
    return band_rms(whole, low_hz, high_hz + native.line_hz / 2.0)


def _peaks(
    material: Material,
    request: SpectrumRequest,
    taken: Taken,
    band: tuple[float, float],
    scales: tuple[int, float, float, float],
) -> tuple[Peak, ...]:
    steps, scale, per_hz, resolution = scales
    low, high = band
    speed, among = material.facts.speed_hz, material.expected
    found = [
        (line, line.amplitude * (2.0 * math.pi * line.hz) ** steps * scale)
        for line in find_lines(taken.native, request.window, most=CANDIDATES)
        if low - resolution / 2.0 <= line.hz <= high + resolution / 2.0
    ]
    found.sort(key=lambda one: -one[1])
    names = names_of([line.hz for line, _ in found], among, resolution, request.peaks)
    return tuple(
        Peak(
            line.hz,
            line.hz * per_hz,
            None if speed is None else line.hz / speed,
            amplitude,
            line.above,
            name,
        )
        for (line, amplitude), name in zip(found, names, strict=False)
    )
