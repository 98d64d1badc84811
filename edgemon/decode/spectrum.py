"""A message of the topic `spectrum`: one amplitude spectrum, or one part of one, CBOR map or JSON object."""

import math
from typing import Final

import numpy as np

from edgemon.decode.decoded import Decoded
from edgemon.decode.fields import as_number, as_text, as_whole
from edgemon.decode.head import Fields, Head
from edgemon.decode.scaling import check_plausible
from edgemon.errors import OutOfRange, UnknownFormat
from edgemon.model.gateway import InputBorders
from edgemon.model.level import Detector
from edgemon.model.machine import Sensor
from edgemon.model.message import Message
from edgemon.model.reading import CapturePart, Counts
from edgemon.model.spectrum import LineForm
from edgemon.model.text import clean
from edgemon.units import SI_UNIT, Quantity, quantity_of, to_si, unit_name, units_of

QUANTITIES: Final = (Quantity.ACCELERATION, Quantity.VELOCITY, Quantity.DISPLACEMENT)

PER_RMS: Final = {Detector.RMS: 1.0, Detector.PEAK: math.sqrt(2.0), Detector.PEAK_TO_PEAK: 2.0 * math.sqrt(2.0)}
"""What a line's number is over the r.m.s. amplitude of the sine it stands for."""

DETECTORS: Final = {"rms": Detector.RMS, "peak": Detector.PEAK, "peak-to-peak": Detector.PEAK_TO_PEAK}

NOISE_BANDWIDTH: Final = {
    "rectangular": 1.0,
    "hann": 1.5,
    "hamming": 1987.0 / 1458.0,
    "blackman": 1523.0 / 882.0,
    "blackman-harris": 2.0043529,
    "flat-top": 3.7702465,
    "hft70": 3.4129063,
    "hft90d": 3.8831672,
}
"""Equivalent noise bandwidths in lines, 1 + sum (a_k / a_0)^2 / 2. Source: F. J. Harris, Proc. IEEE 66 (1978) 51-83 (Hamming
0.54, 0.46; Blackman 0.42, 0.50, 0.08; the four terms of -92 dB); G. Heinzel, A. Ruediger, R. Schilling, Spectrum and spectral
density estimation (2002), for the last two. The flat top is the five-term set with 0.21557895 at zero (-93 dB highest side
lobe), for at least four sets are in use: another one must say its own `enbw`."""

LEAST_FULL_SCALE: Final = {Quantity.ACCELERATION: 1e-3, Quantity.VELOCITY: 1e-6, Quantity.DISPLACEMENT: 1e-9}
"""What the largest number may stand for at least, house's unit. As for captures: below it a machine would look dead."""

MOST_BANDWIDTH: Final = 16.0
"""Lines; no window in use is wider than a third of it. Common practice, no source."""
LINE_HZ: Final = (1e-4, 1e5)
HIGHEST_HZ: Final = 1e6
"""As for sample rates: above it lies no accelerometer."""
MOST_LINES: Final = 1 << 24
MOST_AVERAGES: Final = 1_000_000


def decode_spectrum(message: Message, sensor: Sensor, borders: InputBorders) -> Decoded:
    """Decode one part of a spectrum (or a whole one: part 1 of 1).

    Parameters
    ----------
    message : Message
        Payload is a CBOR map or a JSON object with the contract's fields.
    sensor : Sensor
        Whose topic it is, and whether its clock counts.
    borders : InputBorders
        Bounds of lines (as of samples), parts and clocks ahead.

    Returns
    -------
    Decoded
        With `part`, which has a `form`; the lines are views of the received bytes and cannot be written to.

    Raises
    ------
    DecodeError
        One of its kinds; it names the field.
    """
    fields = Fields(message, "spectrum", "id, t, u, detector, window, axes, and df or fmax with lines")
    unit, quantity = _unit(as_text(fields.required("u"), "u"))
    is_float = _is_float(fields.get("format"))
    scale = _scale(fields, is_float)
    form = _form(fields, quantity, is_float)
    head = fields.head(sensor, borders)
    axes = fields.axes(borders, form.words, "lines")
    per_count = to_si(scale, unit) / PER_RMS[form.detector]
    for name, words in axes.items():
        _check_lines(words, form, per_count, f"axes, {name}")
    _check_reach(fields, next(iter(axes.values())), form, head)
    part = CapturePart(
        sensor=sensor.id,
        id=head.id,
        taken_at=head.taken_at,
        received_at=message.received_at,
        fs_hz=0.0,
        unit=unit,
        scale=scale,
        si_per_count=per_count,
        axes=axes,
        number=head.number,
        count=head.count,
        rpm=head.rpm,
        temperature_c=head.temperature_c,
        battery_pct=head.battery_pct,
        rssi_dbm=head.rssi_dbm,
        sim=head.sim,
        form=form,
    )
    return Decoded(part=part, by_arrival=part.taken_at == part.received_at)


def _unit(text: str) -> tuple[str, Quantity]:
    try:
        unit = unit_name(text)
    except KeyError:
        unit = ""
    if not unit or quantity_of(unit) not in QUANTITIES:
        allowed = ", ".join(name for quantity in QUANTITIES for name in units_of(quantity))
        raise UnknownFormat(f"unit {clean(text, 32)!r} is not one a spectrum can have", "u", f"allowed: {allowed}")
    return unit, quantity_of(unit)


def _is_float(value: object) -> bool:
    name = "uint16" if value is None else as_text(value, "format")
    if name not in ("uint16", "float32"):
        raise UnknownFormat(f"{clean(name, 32)!r} is not a format of lines", "format", "allowed: uint16, float32")
    return name == "float32"


def _scale(fields: Fields, is_float: bool) -> float:
    if is_float and fields.get("scale") is None:
        return 1.0
    scale = as_number(fields.required("scale"), "scale")
    if scale <= 0.0:
        raise OutOfRange(f"must be above zero, not {scale:g}", "scale")
    return scale


def _form(fields: Fields, quantity: Quantity, is_float: bool) -> LineForm:
    detector = as_text(fields.required("detector"), "detector")
    if detector not in DETECTORS:
        what = f"{clean(detector, 32)!r} is not how a line's amplitude is told"
        raise UnknownFormat(what, "detector", f"allowed: {', '.join(DETECTORS)}")
    first_hz = 0.0 if fields.get("f0") is None else as_number(fields.get("f0"), "f0")
    if not 0.0 <= first_hz <= HIGHEST_HZ:
        raise OutOfRange(f"{first_hz:g} Hz is outside 0 to {HIGHEST_HZ:g}", "f0")
    window, bandwidth = _window(fields)
    averages = 1 if fields.get("averages") is None else as_whole(fields.get("averages"), "averages")
    if not 1 <= averages <= MOST_AVERAGES:
        raise OutOfRange(f"{averages} averages, 1 to {MOST_AVERAGES} can be", "averages")
    line_hz = _line_hz(fields, first_hz)
    return LineForm(quantity, DETECTORS[detector], line_hz, first_hz, bandwidth, window, averages, is_float)


def _window(fields: Fields) -> tuple[str, float]:
    """Give window and noise bandwidth; one that is not known here must say its bandwidth."""
    window = as_text(fields.required("window"), "window")
    if fields.get("enbw") is None:
        if window not in NOISE_BANDWIDTH:
            known = ", ".join(NOISE_BANDWIDTH)
            hint = f"one of {known}; for another window give enbw, its equivalent noise bandwidth in lines"
            raise UnknownFormat(f"noise bandwidth of window {clean(window, 32)!r} is not known", "window", hint)
        return window, NOISE_BANDWIDTH[window]
    bandwidth = as_number(fields.get("enbw"), "enbw")
    if not 1.0 <= bandwidth <= MOST_BANDWIDTH:
        raise OutOfRange(f"{bandwidth:g} lines, 1 to {MOST_BANDWIDTH:g} can be", "enbw", "in lines, not in Hz")
    return clean(window, 32), bandwidth


def _line_hz(fields: Fields, first_hz: float) -> float:
    """Give the distance of lines: `df`, or what lies between `f0` and `fmax` over `lines`; both must agree."""
    given = None if fields.get("df") is None else as_number(fields.get("df"), "df")
    line_hz, where = given, "df"
    if fields.get("fmax") is not None or given is None:
        if fields.get("fmax") is None:
            raise UnknownFormat("is missing", "df", "the distance of two lines in Hz; or fmax in Hz with lines, their number")
        lines = _line_count(fields)
        line_hz, where = (as_number(fields.get("fmax"), "fmax") - first_hz) / lines, "fmax"
        if given is not None and abs(line_hz - given) > 1e-6 * given:
            raise OutOfRange(f"{given:g} Hz contradicts fmax and lines, which make {line_hz:g} Hz", "df", "keep one of the two")
    low, high = LINE_HZ
    if line_hz is None or not low <= line_hz <= high:
        raise OutOfRange(f"lines {line_hz:g} Hz apart, {low:g} to {high:g} can be", where)
    return line_hz


def _line_count(fields: Fields) -> int:
    lines = as_whole(fields.required("lines"), "lines")
    if not 1 <= lines <= MOST_LINES:
        raise OutOfRange(f"{lines} lines, 1 to {MOST_LINES} can be", "lines")
    return lines


def _check_lines(words: Counts, form: LineForm, per_count: float, where: str) -> None:
    """Refuse lines that are no amplitudes: below zero, not finite, or larger than any sensor can mean."""
    if form.is_float:
        numbers = words.view("<f4")
        if not np.isfinite(numbers).all():
            raise OutOfRange("a line that is not a finite number", where)
        if float(numbers.min()) < 0.0:
            raise OutOfRange("a line below zero", where, "lines are amplitudes, not in decibels")
        largest = float(numbers.max())
    else:
        largest = float(words.view("<u2").max())
        full = per_count * 65535.0
        if full < LEAST_FULL_SCALE[form.quantity]:
            raise OutOfRange(f"full scale {full:g} {SI_UNIT[form.quantity]} is less than any machine moves", "scale")
    check_plausible(largest * per_count, form.quantity, where)


def _check_reach(fields: Fields, words: Counts, form: LineForm, head: Head) -> None:
    """Refuse more lines than announced, fewer where the spectrum is whole, and lines where no sensor measures."""
    count = len(words) // form.words
    if form.first_hz + form.line_hz * (count - 1) > HIGHEST_HZ:
        raise OutOfRange(f"{count} lines end above {HIGHEST_HZ:g} Hz", "axes")
    if fields.get("lines") is None:
        return
    lines = _line_count(fields)
    if count > lines + 1 or (head.count == 1 and count < lines):
        raise OutOfRange(f"{count} lines, {lines} are announced", "axes", "as many as lines says, or one more: the one at fmax")
