"""Waveforms and spectra in words, rows and JSON: what `edgemon spectrum` prints. Text from outside is cleaned here."""

import json
import shutil
from collections.abc import Iterator
from dataclasses import asdict
from itertools import count
from typing import TypeAlias

from edgemon.cli.options import plain
from edgemon.cli.text_plot import lanes, stems
from edgemon.model.instant import format_instant
from edgemon.model.look import CapturePage, CaptureView, Source, SpectrumView, WaveformView
from edgemon.model.text import clean

View: TypeAlias = WaveformView | SpectrumView
LETTERS = "abcdefghijklmnopqrstuvwxyz"
NARROWEST, WIDEST = 40, 160


def documented(view: View | CapturePage) -> str:
    """Write a view as one line of JSON, plain ASCII, times as RFC 3339."""
    document = plain(asdict(view))
    return json.dumps(document, allow_nan=False)


def table(view: View) -> Iterator[str]:
    """Write a view as CSV: what it is in lines that begin with `#`, the names of the columns, the rows."""
    yield from (f"# {line}" for line in head(view))
    if isinstance(view, WaveformView):
        yield f"t (s),lowest ({view.unit}),highest ({view.unit})"
        for k, (low, high) in enumerate(zip(view.low, view.high, strict=True)):
            yield f"{view.start_s + k * view.step_s:.9g},{low:.7g},{high:.7g}"
        return
    yield f"frequency ({view.axis}),{view.quantity} {view.detector} ({view.unit})"
    for k, amplitude in enumerate(view.amplitude):
        yield f"{view.first_x + k * view.step_x:.9g},{amplitude:.7g}"


def told(view: View, width: int | None = None) -> Iterator[str]:
    """Write a view for people: what it is, a picture in plain characters, and the table of its peaks."""
    wide = width or min(max(shutil.get_terminal_size((100, 24)).columns - 1, NARROWEST), WIDEST)
    yield from head(view)
    if isinstance(view, WaveformView):
        end = view.start_s + view.samples / view.source.fs_hz
        yield from lanes(view.low, view.high, wide, f"{view.start_s:.4g} s", f"{end:.4g} s", view.unit)
        crest = "" if view.crest_factor is None else f", crest factor {view.crest_factor:.3g}"
        yield (
            f"r.m.s. {view.rms:.4g} {view.unit}, peak {view.peak:.4g} {view.unit}, "
            f"peak-to-peak {view.peak_to_peak:.4g} {view.unit}{crest}"
        )
        return
    last = view.first_x + view.step_x * (len(view.amplitude) - 1)
    tops = [(k, (peak.x - view.first_x) / view.step_x) for k, peak in enumerate(view.peaks[:9], 1)]
    signs = [
        (letter, (one.x - view.first_x) / view.step_x)
        for letter, one in zip(LETTERS, view.markers, strict=False)
        if view.first_x <= one.x <= last
    ]
    ends = f"{figure(view.first_x)} {view.axis}", f"{figure(last)} {view.axis}"
    yield from stems(view.amplitude, wide, *ends, view.unit, tops, signs)
    yield f"total {view.total_rms:.4g} {view.unit} r.m.s., {_band(view)}"
    yield from _peaks(view)
    if view.markers:
        yield "expected  " + ", ".join(
            f"{letter} {clean(one.name)} {figure(one.x, 5)} {view.axis}"
            for letter, one in zip(LETTERS, view.markers, strict=False)
        )


def _peaks(view: SpectrumView) -> Iterator[str]:
    if not view.peaks:
        yield "no line stands out of its surroundings"
        return
    yield "peaks, as of the sine between the lines:"
    amount, beside = f"{view.unit} {view.detector}", "Hz" if view.axis == "orders" else "orders"
    yield f"  no  {view.axis:>11}  {beside:>9}  {amount:>20}  {'x around':>8}  name"
    for k, one in zip(count(1), view.peaks):
        other = figure(one.hz, 5) if view.axis == "orders" else "-" if one.order is None else f"{one.order:.3f}"
        x = f"{one.x:.3f}" if view.axis == "orders" else figure(one.x, 5)
        yield f"  {k:2}  {x:>11}  {other:>9}  {one.amplitude:20.4g}  {one.above:8.1f}  {clean(one.name)}".rstrip()


def figure(value: float, digits: int = 4) -> str:
    """Write a frequency with so many digits, whole from a thousand on: never with an exponent, as 24,000 CPM would be."""
    return (
        f"{value:.1f}"
        if 1e3 <= abs(value) < 1e4 and digits > 4
        else f"{value:.0f}"
        if abs(value) >= 1e3
        else f"{value:.{digits}g}"
    )


def _band(view: SpectrumView) -> str:
    """Write the band of the lines shown, on the axis asked for."""
    last = view.first_x + view.step_x * (len(view.amplitude) - 1)
    return f"{figure(view.first_x)}-{figure(last, 5)} {view.axis}"


def head(view: View) -> list[str]:
    """Say what a view is, in a few lines: where from, quantity, unit, detector, band, window."""
    source = view.source
    if isinstance(view, WaveformView):
        what = f"{view.quantity} waveform, {view.unit}, {view.band_low_hz:.4g}-{view.band_high_hz:.5g} Hz; {view.detector}"
        return [*_source(source), what]
    hz = "" if view.axis == "Hz" else f" ({figure(view.low_hz)}-{figure(view.high_hz, 5)} Hz)"
    what = f"{view.quantity} {view.kind}, {view.unit} {view.detector}, {_band(view)}{hz}"
    averaged = (
        "one window"
        if view.averages == 1
        else f"{view.averages} averages ({view.averaging}, overlap {100 * view.overlap:.0f} %)"
    )
    step, finest = view.step_x, view.resolution_hz * view.step_x / view.line_hz
    how = f"{view.window} window, {averaged}, lines {step:.4g} {view.axis} apart, resolution {finest:.4g} {view.axis}"
    return [*_source(source), what, *([f"band {view.demodulated}"] if view.demodulated else []), how]


def _source(source: Source) -> list[str]:
    name = clean(source.name, 160)
    when = (
        "" if source.t is None else f", {format_instant(source.t)}, capture {clean(source.capture)} of {clean(source.sensor)}"
    )
    kind = "  SIMULATED" if source.sim else ""
    speed = "speed not known" if source.rpm is None else f"{source.rpm:.5g} r/min, {clean(source.speed_basis, 200)}"
    lines = [f"{name}{when}{kind}", f"{_of_what(source)}; {speed}"]
    if source.quality != "good":
        why = "; ".join(clean(one, 200) for one in source.remarks or source.flaws)
        lines.append(f"NOT FIT to judge by: {why}")
    return lines


def _of_what(source: Source) -> str:
    if source.samples:
        return f"{source.samples} samples at {source.fs_hz:g} Hz"
    return f"lines up to {source.fs_hz / 2.0:g} Hz, as the sensor sent them: no waveform, no envelope"


def captures_text(page: CapturePage) -> str:
    """Write a page of the list of captures."""
    lines = [_listed(one) for one in page.captures] or ["no capture is stored for it: the sensor may send levels only"]
    if page.before is not None:
        lines.append(f"older ones: --before {format_instant(page.before)}")
    return "\n".join(lines)


def _listed(one: CaptureView) -> str:
    rpm = "-" if one.rpm is None else f"{one.rpm:.0f} r/min"
    size = f"{one.lines:8} lines" if one.lines else f"{one.samples:8}"
    text = f"{format_instant(one.t)}  {clean(one.id):24}  {one.fs_hz:8g} Hz  {size}  {rpm:>10}  {one.quality}"
    text += f" ({', '.join(clean(flaw) for flaw in one.flaws)})" if one.flaws else ""
    return text + ("  SIMULATED" if one.sim else "")
