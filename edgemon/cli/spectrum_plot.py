"""Waveforms and spectra as pictures in files, through the report's plots."""

import re
from pathlib import Path
from textwrap import fill
from typing import TypeAlias

import numpy as np

from edgemon.cli.spectrum_words import head
from edgemon.errors import EdgemonError, SettingsError
from edgemon.model.look import Marker as Mark
from edgemon.model.look import SpectrumView, WaveformView
from edgemon.report.document import SpectrumPlot, WaveformPlot
from edgemon.report.port import Family, Marker
from edgemon.report.view.words import shown_unit

View: TypeAlias = WaveformView | SpectrumView
MULTIPLES = 3
"""Multiples of an expected frequency that are marked."""
CAPTION = 100
"""Characters of a line under the picture, which says what it is of: pictures leave the file they were drawn from."""
_FAMILY = {"running speed": Family.SPEED, "bearing": Family.BEARING}


def check(path: Path) -> None:
    """Refuse what cannot be drawn, before anything is computed. Raises `SettingsError`, `EdgemonError`."""
    if path.suffix.lower() not in (".png", ".svg"):
        raise SettingsError(f"{path.name!r}", "--plot", "a name that ends in .png or .svg")
    try:
        import edgemon.report.plots  # noqa: F401
    except ImportError as error:
        raise EdgemonError("drawing needs Matplotlib", "--plot", "pip install 'edgemon[report]'") from error


def draw(view: View, path: Path, several: bool) -> Path:
    """Draw a view to a file and give its name, to which the channel is added where there are several. Raises `EdgemonError`."""
    from edgemon.report.plots import png, svg

    if several:
        word = re.sub(r"[^A-Za-z0-9_.-]+", "-", view.source.name).strip("-.")
        path = path.with_name(f"{path.stem}-{word}{path.suffix}")
    plot = _waveform(view) if isinstance(view, WaveformView) else _spectrum(view)
    try:
        if path.suffix.lower() == ".png":
            path.write_bytes(png(plot))
        else:
            path.write_text('<?xml version="1.0" encoding="utf-8"?>\n' + svg(plot, "look"), encoding="utf-8")
    except OSError as error:
        raise EdgemonError(f"cannot be written: {error.strerror}", str(path), "choose another --plot") from error
    return path


def _spectrum(view: SpectrumView) -> SpectrumPlot:
    kind = "" if view.kind == "spectrum" else f"\n{view.kind}"
    last = view.first_x + view.step_x * (len(view.amplitude) - 1)
    axis = "Orders of running speed" if view.axis == "orders" else f"Frequency in {view.axis}"
    return SpectrumPlot(
        f"{view.quantity.capitalize()}{kind}\n{shown_unit(view.unit)} {view.detector}".rstrip(),
        view.step_x,
        np.array(view.amplitude),
        last,
        tuple(
            Marker(k * one.x, _multiple(k, one), _FAMILY.get(one.family, Family.SPEED))
            for one in view.markers
            for k in range(1, (1 if one.name.startswith("FTF") else min(one.multiples, MULTIPLES)) + 1)
            if view.first_x <= k * one.x <= last
        ),
        x_label=_below(axis, view),
        first=view.first_x,
    )


def _below(axis: str, view: View) -> str:
    """Write under a picture what its axis is, and what the picture is of."""
    return f"{axis}\n{fill('; '.join(head(view)), CAPTION)}"


def _multiple(number: int, one: Mark) -> str:
    """Write a multiple of an expected frequency as the report does."""
    if one.family == "running speed":
        return f"{number}x"
    name = f"({one.name})" if one.name[0].isdigit() else one.name
    return one.name if number == 1 else f"{number} x {name}"


def _waveform(view: WaveformView) -> WaveformPlot:
    """Draw columns as their lowest and highest values in turn: no peak is lost."""
    both = np.column_stack((view.low, view.high)).ravel().astype(np.float32)
    per_s = 2.0 / view.step_s
    if view.low == view.high:
        both, per_s = both[::2], 1.0 / view.step_s
    label = f"{view.quantity.capitalize()}, {shown_unit(view.unit)}"
    return WaveformPlot(label, per_s, both, view.turn_s, view.start_s, _below("Time in ms", view))
