"""What a person sees of a waveform: the waveform itself, its spectrum, the spectrum of its envelope; pure, tens of ms.

A stored capture and a channel of a file become the same `Material`, so that both are looked at in the same way.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from edgemon.analysis.measure import Waveform, measure
from edgemon.analysis.speed import refine_speed
from edgemon.analysis.waveform import as_waveform, columns
from edgemon.diagnosis.markers import MEASURED, NOMINAL, TOLD, Expected, expected
from edgemon.diagnosis.record import MIN_SAMPLES, MachineFacts, Record
from edgemon.engine.diagnose import facts_of
from edgemon.engine.memory import Setting
from edgemon.errors import ParameterError
from edgemon.model.ids import PointKey
from edgemon.model.level import USUAL_UNIT, Band, Detector
from edgemon.model.look import CaptureView, Source, WaveformRequest, WaveformView
from edgemon.model.machine import Point
from edgemon.model.quality import Verdict
from edgemon.model.reading import Capture
from edgemon.model.speed import SpeedOrigin
from edgemon.units import Quantity, from_si, quantity_of, unit_name, units_of

QUANTITIES = (Quantity.ACCELERATION, Quantity.VELOCITY, Quantity.DISPLACEMENT)
DETECTORS = {"rms": Detector.RMS, "peak": Detector.PEAK, "peak-to-peak": Detector.PEAK_TO_PEAK}
MOST_COLUMNS = 4000
NO_UNIT = "as recorded"
"""Unit of a channel whose sizes mean nothing."""
DIGITS = 7
"""Digits of a value, counted from the largest beside it."""


@dataclass(frozen=True, slots=True, eq=False)
class Material:
    """One channel and what is known of its machine."""

    samples: NDArray[np.float64]
    """House's unit of `quantity`, shape (n,)."""
    fs_hz: float
    quantity: Quantity
    source: Source
    facts: MachineFacts
    """With the running speed that the source names."""
    speed_off: float
    """How far that speed may be off, in parts of itself."""
    band: Band = Band(10.0, 1000.0)
    """Band of the velocity levels."""
    envelope_band: Band | None = None
    calibrated: bool = True
    separation: str = "none"
    """How what repeats itself is taken out before an envelope, where nobody says."""

    @property
    def expected(self) -> tuple[Expected, ...]:
        """Frequencies worth a mark."""
        return expected(self.facts, self.speed_off)


def of_capture(setting: Setting, key: PointKey, capture: Capture, rpm: float | None = None) -> Material:
    """Make material of a stored capture, as seen from a point.

    Parameters
    ----------
    setting : Setting
        Plant and rules.
    key : PointKey
        A point that the plant file knows.
    capture : Capture
        Of its sensor.
    rpm : float, optional
        Running speed, where whoever asks knows better.

    Raises
    ------
    ParameterError
        Nothing was recorded on the point's axis, or a speed not above zero.
    """
    point = setting.plant.points[key]
    if point.axis not in capture.axes:
        held = ", ".join(sorted(capture.axes))
        raise ParameterError(f"capture {capture.id} has nothing on axis {point.axis}", str(key), f"it has {held}")
    verdict = verdict_of(setting, point, capture)
    name = f"{key.machine}/{key.point}"
    samples = capture.axes[point.axis].astype(np.float64) * capture.si_per_count
    facts = facts_of(setting.plant.machine_of[key.machine], capture)
    said = said_of(facts, capture)
    source = Source(
        name,
        capture.taken_at,
        str(capture.id),
        str(capture.sensor),
        capture.fs_hz,
        int(samples.size),
        None,
        "",
        "good" if verdict.is_fit else "bad",
        tuple(flaw.value for flaw in verdict.flaws),
        verdict.remarks,
        capture.sim,
    )
    material = Material(samples, capture.fs_hz, Quantity.ACCELERATION, source, facts, said[1], point.band, point.envelope_band)
    material = replace(material, separation=point.separation)
    return with_speed(material, samples, rpm, said)


def said_of(facts: MachineFacts, capture: Capture) -> tuple[str, float]:
    """Say where the speed of a capture comes from, and how far it may be off."""
    if capture.rpm:
        return "told by the sensor", TOLD
    return ("fixed by the plant file" if facts.speed_origin is SpeedOrigin.FIXED else "as in the plant file"), NOMINAL


def of_record(record: Record, channel: int, facts: MachineFacts, where: str, rpm: float | None = None) -> Material:
    """Make material of one channel of a file; `where` names the file. Errors as for `of_capture`."""
    one = record.channels[channel]
    samples = record.samples[channel]
    source = Source(f"{where}: {one.name}", None, "", "", record.fs_hz, int(samples.size), None, "")
    material = Material(samples, record.fs_hz, record.quantity, source, facts, NOMINAL, calibrated=one.calibrated)
    return with_speed(material, record.samples, rpm, ("given", NOMINAL))


def with_speed(material: Material, samples: NDArray[np.float64], rpm: float | None, said: tuple[str, float]) -> Material:
    """Settle the running speed: as asked, else as said; made exact by the record's own lines where they show it.

    Parameters
    ----------
    material : Material
        Its facts hold the speed that was said, if any.
    samples : array, shape (n,) or (channels, n)
        Where the shaft's lines are looked for.
    rpm : float, optional
        Speed that whoever asks gives, r/min.
    said : (str, float)
        Where the said speed comes from, and how far it may be off.

    Raises
    ------
    ParameterError
        A given speed not above zero.
    """
    if rpm is not None and not 0.0 < rpm < 1e7:
        raise ParameterError(f"running speed {rpm:g} r/min", "rpm", "above zero")
    nominal = material.facts.speed_hz if rpm is None else rpm / 60.0
    if not nominal or nominal <= 0.0:
        source = replace(material.source, rpm=None, speed_basis="not known")
        return replace(material, source=source, facts=replace(material.facts, speed_hz=None))
    basis, off = ("given", NOMINAL) if rpm is not None else said
    origin = SpeedOrigin.GIVEN if rpm is not None else material.facts.speed_origin
    if samples.shape[-1] >= MIN_SAMPLES:
        found = refine_speed(samples, material.fs_hz, nominal, material.facts.supply_hz)
        if found.measured:
            nominal, basis, off, origin = found.hz, found.basis, MEASURED, SpeedOrigin.ESTIMATED
    source = replace(material.source, rpm=60.0 * nominal, speed_basis=basis, speed_origin=origin)
    return replace(material, source=source, facts=replace(material.facts, speed_hz=nominal), speed_off=off)


def verdict_of(setting: Setting, point: Point, capture: Capture) -> Verdict:
    """Say whether a capture is fit to change a state of a point."""
    sensor = setting.plant.sensors[point.sensor]
    wave = Waveform(
        capture.axes[point.axis],
        capture.si_per_count,
        capture.fs_hz,
        point.band,
        point.envelope_band,
        sensor.range_si,
        bool(capture.missing_parts),
    )
    return measure([wave])[0][1]


def capture_view(setting: Setting, point: Point, capture: Capture) -> CaptureView:
    """Describe a stored capture, as seen from a point."""
    held = capture.axes.get(point.axis)
    verdict = Verdict(remarks=(f"nothing on axis {point.axis}",)) if held is None else verdict_of(setting, point, capture)
    return CaptureView(
        capture.taken_at,
        str(capture.id),
        str(capture.sensor),
        point.axis,
        capture.fs_hz,
        0 if held is None else int(held.size),
        capture.rpm,
        "good" if held is not None and verdict.is_fit else "bad",
        tuple(flaw.value for flaw in verdict.flaws),
        verdict.remarks,
        capture.sim,
    )


def quantity_named(name: str) -> Quantity:
    """Read the name of a quantity. Raises `ParameterError` with what there is."""
    if name not in [one.value for one in QUANTITIES]:
        raise ParameterError(f"unknown quantity {name[:40]!r}", "quantity", f"one of {', '.join(QUANTITIES)}")
    return Quantity(name)


def unit_for(material: Material, quantity: Quantity, asked: str | None) -> tuple[str, float]:
    """Give the unit to show a quantity in, and that unit in the house's.

    Raises
    ------
    ParameterError
        Unknown unit, one of another quantity, or sizes that mean nothing.
    """
    if not material.calibrated:
        if asked is not None or quantity is not material.quantity:
            what = "the file does not say what unit its samples have"
            raise ParameterError(what, "samples_unit", f"say it, or ask for {material.quantity} without a unit")
        return NO_UNIT, 1.0
    allowed = units_of(quantity)
    try:
        unit = USUAL_UNIT[quantity] if asked is None else unit_name(asked)
        fits = quantity_of(unit) is quantity
    except KeyError:
        unit, fits = "", False
    if not fits:
        raise ParameterError(f"{str(asked)[:40]!r} is no unit of {quantity}", "unit", f"one of {', '.join(allowed)}")
    return unit, 1.0 / from_si(1.0, unit)


def short(values: NDArray[np.floating]) -> tuple[float, ...]:
    """Give values as plain numbers of few digits, for documents."""
    top = float(np.abs(values).max(initial=0.0))
    if not top > 0.0:
        return tuple(0.0 for _ in range(values.size))
    decimals = DIGITS - 1 - int(np.floor(np.log10(top)))
    return tuple(np.round(np.asarray(values, np.float64), decimals).tolist())


def look_at_waveform(material: Material, request: WaveformRequest) -> WaveformView:
    """Show a waveform as columns of a picture.

    Raises
    ------
    ParameterError
        Something asked for that the record cannot give; names the field and what would do.
    """
    quantity = quantity_named(request.quantity)
    unit, size = unit_for(material, quantity, request.unit)
    if not 1 <= request.columns <= MOST_COLUMNS:
        raise ParameterError(f"{request.columns} columns", "columns", f"1 to {MOST_COLUMNS}")
    fs_hz, first = material.fs_hz, 0
    if quantity is material.quantity:
        if request.low_hz is not None or request.high_hz is not None:
            raise ParameterError(
                f"{quantity} is shown as it was measured", "low_hz", "a band belongs to an integrated waveform"
            )
        wave = material.samples - material.samples.mean()
        band = Band(fs_hz / wave.size, fs_hz / 2.0)
    else:
        band = _band(material, request)
        wave, first = as_waveform(material.samples, fs_hz, material.quantity, quantity, band)
    begin, end = _stretch(material, request, first, first + wave.size)
    part = wave[begin - first : end - first] / size
    low, high, width = columns(part, request.columns)
    rms, peak = float(np.sqrt(np.mean(part**2))), float(np.abs(part).max())
    speed = material.facts.speed_hz
    return WaveformView(
        source=material.source,
        quantity=quantity.value,
        unit=unit,
        detector="instantaneous values" if width == 1 else "lowest and highest instantaneous value of each column",
        band_low_hz=band.low_hz,
        band_high_hz=min(band.high_hz, fs_hz / 2.0),
        start_s=begin / fs_hz,
        step_s=width / fs_hz,
        samples=int(part.size),
        low=short(low),
        high=short(high),
        rms=rms,
        peak=peak,
        peak_to_peak=float(part.max() - part.min()),
        crest_factor=peak / rms if rms > 0.0 else None,
        turn_s=None if speed is None else 1.0 / speed,
    )


def _band(material: Material, request: WaveformRequest) -> Band:
    low = material.band.low_hz if request.low_hz is None else request.low_hz
    high = material.band.high_hz if request.high_hz is None else request.high_hz
    if not 0.0 < low < high < float("inf"):
        raise ParameterError(f"band {low:g}-{high:g} Hz", "low_hz", "0 < low < high")
    return Band(low, high)


def _stretch(material: Material, request: WaveformRequest, first: int, end: int) -> tuple[int, int]:
    """Give the samples asked for, as far as there are any."""
    fs_hz, start, length = material.fs_hz, request.start_s, request.length_s
    total = material.samples.size / fs_hz
    if not 0.0 <= start < total or (length is not None and not length > 0.0):
        raise ParameterError(f"{start:g} s, length {length}", "start_s", f"the record lasts {total:g} s")
    begin = max(first, round(start * fs_hz))
    stop = end if length is None else min(end, round(min(start + length, total) * fs_hz))
    if stop <= begin:
        held = f"{first / fs_hz:.4g} to {end / fs_hz:.4g} s"
        raise ParameterError("nothing is left of this stretch", "start_s", f"values are there from {held}")
    return begin, stop
