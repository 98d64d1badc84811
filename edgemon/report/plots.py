"""Plots by Matplotlib, as SVG for pages and PNG for PDF; the same values give the same bytes."""

import io
import math
import re
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Any, TypeAlias

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.dates import AutoDateLocator, ConciseDateFormatter
from matplotlib.figure import Figure
from matplotlib.transforms import blended_transform_factory
from numpy.typing import NDArray

from edgemon.report.document import Plot, SpectrumPlot, Tone, TrendPlot, WaveformPlot
from edgemon.report.port import Family, Marker

WIDTH_IN, HEIGHT_IN, LINE_IN = 7.1, 2.05, 0.13
DPI = 200
"""Of PNG: sharp in print on A4, and small."""
INK, PALE, GRID = "#1a3a5c", "#9a9a9a", "#dddddd"
TONES = {
    Tone.PLAIN: "#444444",
    Tone.NORMAL: "#2f6b3a",
    Tone.ALERT: "#b35c00",
    Tone.ALARM: "#b00020",
    Tone.NO_DATA: "#5b4a8a",
}
"""Ink of a tone; each reaches a contrast of 4.5 on white (WCAG 2.1, success criterion 1.4.3; tested)."""
_FAMILIES = {Family.SPEED: ("#2f6b3a", (0, (4, 2))), Family.BEARING: ("#b00020", (0, (1, 1.2)))}
Values: TypeAlias = NDArray[np.float64]
_STYLE: Any = {
    "font.family": ["DejaVu Sans"],
    "font.size": 7.5,
    "axes.linewidth": 0.6,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "svg.fonttype": "path",
    "axes.formatter.useoffset": False,
    "path.simplify": True,
}
_CHARACTER = 0.0088
"""Width of a character of a label, in widths of the axes."""
_ROWS = 3
LABEL = 0.075
"""Height of a name beside a trend, in heights of the axes."""
FEW = 150
"""Values up to which each has a dot."""
GAP = 4.0
"""A line breaks where the next value comes after so many times the usual step. House choice."""
_DAY = 86_400.0
FAR = 1000.0
"""Lengths of the plot: where the end of an open interval is drawn."""


def svg(plot: Plot, name: str) -> str:
    """Draw a plot as an SVG element to stand inside a page.

    Parameters
    ----------
    plot : Plot
        What to draw.
    name : str
        Letters and digits; made part of every id, so that pictures on one page do not meet.

    Returns
    -------
    str
        `<svg ...>` without prologue, metadata or reference to anything outside it.
    """
    with _style(name):
        figure = _draw(plot)
        FigureCanvasSVG(figure)
        out = io.StringIO()
        figure.savefig(out, format="svg", metadata={"Date": None, "Creator": None})
    text = out.getvalue()
    text = re.sub(r"<metadata>.*?</metadata>", "", text[text.index("<svg") :], flags=re.DOTALL)
    text = re.sub(r'\bid="([^"]+)"', rf'id="{name}-\1"', text)
    return re.sub(r'(url\(#|href="#)', rf"\g<1>{name}-", text)


def png(plot: Plot) -> bytes:
    """Draw a plot as PNG."""
    with _style(""):
        figure = _draw(plot)
        FigureCanvasAgg(figure)
        out = io.BytesIO()
        figure.savefig(out, format="png", dpi=DPI, metadata={"Software": None})
    return out.getvalue()


@contextmanager
def _style(salt: str) -> Iterator[None]:
    """Draw in our own style, whatever a user's own settings of the library say."""
    with mpl.rc_context():
        mpl.rcdefaults()
        mpl.rcParams.update({**_STYLE, "svg.hashsalt": salt})
        yield


def _draw(plot: Plot) -> Figure:
    below = "" if isinstance(plot, TrendPlot) else plot.x_label
    figure = Figure(figsize=(WIDTH_IN, HEIGHT_IN + LINE_IN * below.count("\n")), layout="constrained")
    axes = figure.add_subplot()
    axes.grid(visible=True, color=GRID, linewidth=0.5)
    axes.set_axisbelow(True)
    axes.set_ylabel(_plain(plot.y_label))
    match plot:
        case TrendPlot():
            _trend(axes, plot)
        case SpectrumPlot():
            _spectrum(axes, plot)
        case WaveformPlot():
            _waveform(axes, plot)
    return figure


def _plain(text: str) -> str:
    """Keep Matplotlib from reading `$` as mathematics."""
    return text.replace("$", r"\$")


def _trend(axes: Axes, plot: TrendPlot) -> None:
    times, values = np.array(plot.times) / _DAY, np.array(plot.values)
    fit = np.array(plot.fit, dtype=bool)
    marker = "o" if fit.sum() <= FEW else ""
    axes.plot(*_broken(times[fit], values[fit]), color=INK, linewidth=1.0, marker=marker, markersize=2.0)
    axes.plot(times[~fit], values[~fit], color=PALE, linestyle="", marker="x", markersize=4.0)
    until = _end(plot)
    axes.set_xlim(plot.since / _DAY, until / _DAY)
    every = [0.0, *plot.values, *(line.value for line in plot.limits), *(v for line in plot.limits for _, v in line.steps)]
    axes.set_ylim(min(every), min(every) + 1.25 * (max(every) - min(every) or 1.0))
    _limits(axes, plot)
    _crossings(axes, plot, until)
    _numbers(axes, plot)
    locator = AutoDateLocator(tz="UTC", minticks=4, maxticks=9)  # type: ignore[no-untyped-call]
    axes.xaxis.set_major_locator(locator)
    axes.xaxis.set_major_formatter(ConciseDateFormatter(locator, tz="UTC"))  # type: ignore[no-untyped-call]
    axes.set_xlabel("Time (UTC)")


def _end(plot: TrendPlot) -> float:
    """Give the end of the time axis: with a forecast at most as much again as the period is long."""
    now = max(plot.until, plot.since + 1.0)
    wanted = [at for one in plot.crossings for at in (one.earliest, one.likely, one.latest) if at is not None]
    return min(max([now, *wanted]) + (0.03 * (now - plot.since) if wanted else 0.0), now + (now - plot.since))


def _crossings(axes: Axes, plot: TrendPlot, until: float) -> None:
    """Draw forecasts: a wedge from the newest value to the limit, and on it the interval of the crossing."""
    fit = [(at, value) for at, value, good in zip(plot.times, plot.values, plot.fit, strict=True) if good]
    if not fit or not plot.crossings:
        return
    begin, value = fit[-1]
    axes.axvline(plot.until / _DAY, color=PALE, linewidth=0.8)
    for one in plot.crossings:
        colour = TONES[one.tone]
        ends = [max(one.earliest, begin), max(one.latest or math.inf, begin)]
        shown = [min(end, until + FAR * (until - plot.since)) for end in ends]  # beyond the axis it is cut off
        axes.fill(np.array([begin, *shown]) / _DAY, [value, one.value, one.value], color=colour, alpha=0.12, linewidth=0.0)
        axes.plot(np.array(shown) / _DAY, [one.value, one.value], color=colour, linewidth=3.5, alpha=0.6, solid_capstyle="butt")
        if one.likely is not None and one.likely <= until:
            axes.plot([one.likely / _DAY], [one.value], color=colour, marker="o", markersize=4.0, linestyle="")
            course = np.array([begin, one.likely]) / _DAY
            axes.plot(course, [value, one.value], color=colour, linewidth=0.7, linestyle=(0, (2, 2)))


def _limits(axes: Axes, plot: TrendPlot) -> None:
    """Draw the limits, their names beside them; names that would meet are moved up."""
    low, high = axes.get_ylim()
    lowest = -1.0
    for line in sorted(plot.limits, key=lambda line: line.value):
        colour = TONES[line.tone]
        style = {Tone.ALERT: "--", Tone.PLAIN: ":"}.get(line.tone, "-")
        if line.steps:
            times = [max(at, plot.since) / _DAY for at, _ in line.steps] + [plot.until / _DAY]
            held = [value for _, value in line.steps]
            axes.step(times, [*held, held[-1]], where="post", color=colour, linewidth=1.0, linestyle=style)
        else:
            axes.axhline(line.value, color=colour, linewidth=1.0, linestyle=style)
        lowest = max((line.value - low) / (high - low), lowest)
        axes.text(1.005, lowest, line.label, transform=axes.transAxes, color=colour, va="center", ha="left")
        lowest += LABEL


def _broken(times: Values, values: Values) -> tuple[Values, Values]:
    """Break a line where nothing was measured for long: silence is not a straight course."""
    if times.size < 3:
        return times, values
    steps = np.diff(times)
    gaps = np.flatnonzero(steps > GAP * np.median(steps)) + 1
    return np.insert(times, gaps, np.nan), np.insert(values, gaps, np.nan)


def _numbers(axes: Axes, plot: TrendPlot) -> None:
    """Draw the numbered events, in rows where they would meet; those outside the period are left out."""
    above = blended_transform_factory(axes.transData, axes.transAxes)
    span = max(plot.until - plot.since, 1.0)
    marks = [mark for mark in plot.marks if 0.0 <= mark.at - plot.since <= span]
    rows = _rows([(mark.at - plot.since) / span for mark in marks], [2.2 * _CHARACTER] * len(marks))
    for mark, row in zip(marks, rows, strict=True):
        colour = TONES[mark.tone]
        axes.axvline(mark.at / _DAY, color=colour, linewidth=0.6, linestyle=":")
        box = {"boxstyle": "circle,pad=0.15", "facecolor": "white", "edgecolor": colour, "linewidth": 0.7}
        place = (mark.at / _DAY, 0.955 - 0.095 * (_ROWS if row is None else row))
        look: Any = {"color": colour, "ha": "center", "va": "center", "fontsize": 6.5, "bbox": box}
        axes.text(*place, str(mark.number), transform=above, **look)


def _spectrum(axes: Axes, plot: SpectrumPlot) -> None:
    if plot.before is not None:
        hz = plot.before_line_hz * np.arange(plot.before.size)
        axes.plot(hz, plot.before, color=PALE, linewidth=0.8, label=f"{plot.before_label} UTC")
    hz = plot.first + plot.line_hz * np.arange(plot.amplitude.size)
    axes.plot(hz, plot.amplitude, color=INK, linewidth=0.8, label=f"{plot.label} UTC")
    axes.set_xlim(plot.first, plot.top_hz)
    top = max(
        float(plot.amplitude[1:].max(initial=0.0)), 0.0 if plot.before is None else float(plot.before[1:].max(initial=0.0))
    )
    axes.set_ylim(0.0, 1.4 * top if top > 0.0 else 1.0)
    above = blended_transform_factory(axes.transData, axes.transAxes)
    markers = sorted(plot.markers, key=lambda marker: marker.hz)
    span = plot.top_hz - plot.first
    rows = _rows(
        [(marker.hz - plot.first) / span for marker in markers], [_CHARACTER * (len(marker.label) + 1) for marker in markers]
    )
    for marker, row in zip(markers, rows, strict=True):
        _mark(axes, marker, row, above)
    axes.set_xlabel(_plain(plot.x_label))
    if plot.before is not None:
        axes.legend(loc="lower right", bbox_to_anchor=(1.0, 1.0), ncols=2, frameon=False, borderaxespad=0.1, fontsize=7.0)


def _mark(axes: Axes, marker: Marker, row: int | None, above: Any) -> None:
    colour, style = _FAMILIES[marker.family]
    height = 0.96 - 0.085 * (_ROWS if row is None else row)
    axes.axvline(marker.hz, ymax=height - 0.03, color=colour, linewidth=0.6, linestyle=style)
    if row is not None:
        axes.text(
            marker.hz, height, _plain(marker.label), transform=above, color=colour, ha="center", va="center", fontsize=6.5
        )


def _rows(places: Sequence[float], widths: Sequence[float]) -> list[int | None]:
    """Give each label a row in which it meets none of those placed before; None where all rows are taken."""
    ends = [-1.0] * _ROWS
    rows: list[int | None] = []
    for place, width in zip(places, widths, strict=True):
        row = next((row for row, end in enumerate(ends) if place - width / 2.0 >= end), None)
        rows.append(row)
        if row is not None:
            ends[row] = place + width / 2.0
    return rows


def _waveform(axes: Axes, plot: WaveformPlot) -> None:
    milliseconds = 1000.0 * plot.start_s + np.arange(plot.samples.size) * (1000.0 / plot.fs_hz)
    axes.plot(milliseconds, plot.samples, color=INK, linewidth=0.6)
    axes.axhline(0.0, color=PALE, linewidth=0.5)
    axes.set_xlim(float(milliseconds[0]), float(milliseconds[-1]))
    top = float(np.abs(plot.samples).max()) or 1.0
    axes.set_ylim(-1.1 * top, 1.35 * top)
    axes.set_xlabel(_plain(plot.x_label))
    if plot.turn_s is None:
        return
    above = blended_transform_factory(axes.transData, axes.transAxes)
    turns = int(plot.samples.size / plot.fs_hz / plot.turn_s + 0.02)  # a cut by less than a sample
    for turn in range(turns):
        start, end = (1000.0 * (plot.start_s + k * plot.turn_s) for k in (turn, turn + 1))
        axes.plot([start, end], [0.93, 0.93], transform=above, color="#2f6b3a", linewidth=1.0, marker="|", markersize=5.0)
        if turn == 0:
            axes.text(
                (start + end) / 2.0, 0.985, "1 turn", transform=above, color="#2f6b3a", ha="center", va="center", fontsize=6.5
            )
