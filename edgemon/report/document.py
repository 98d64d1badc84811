"""A report as blocks of words, tables and pictures, before it is known whether it becomes a page, a file or plain text."""

from dataclasses import dataclass
from enum import StrEnum
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from edgemon.model.instant import Instant
from edgemon.report.port import Marker


class Tone(StrEnum):
    """How much a thing matters; shown as colour, never by colour alone."""

    PLAIN = "plain"
    NORMAL = "normal"
    ALERT = "alert"
    ALARM = "alarm"
    NO_DATA = "no-data"


@dataclass(frozen=True, slots=True)
class LimitLine:
    """A level line across a trend, with its name."""

    value: float
    label: str
    tone: Tone
    steps: tuple[tuple[Instant, float], ...] = ()
    """Values that held before, each from its time on, the newest last; empty where it was the same throughout."""


@dataclass(frozen=True, slots=True)
class Mark:
    """A numbered instant in a trend; what it means stands in the caption."""

    at: Instant
    number: int
    tone: Tone


@dataclass(frozen=True, slots=True)
class Crossing:
    """When a limit is expected to be crossed, with its interval."""

    value: float
    """The limit."""
    earliest: Instant
    likely: Instant | None
    latest: Instant | None
    """None: nobody can say; the interval is open."""
    tone: Tone


@dataclass(frozen=True, slots=True)
class TrendPlot:
    """Values over time, in the unit of the label."""

    y_label: str
    times: tuple[Instant, ...]
    values: tuple[float, ...]
    fit: tuple[bool, ...]
    since: Instant
    until: Instant
    limits: tuple[LimitLine, ...] = ()
    marks: tuple[Mark, ...] = ()
    crossings: tuple[Crossing, ...] = ()
    """Forecasts; the time axis then reaches beyond `until`, at most as far again as the period is long."""


@dataclass(frozen=True, slots=True, eq=False)
class SpectrumPlot:
    """Amplitudes over frequency, with marked lines; `before` in grey behind them."""

    y_label: str
    line_hz: float
    amplitude: NDArray[np.float64]
    top_hz: float
    markers: tuple[Marker, ...] = ()
    before: NDArray[np.float64] | None = None
    before_line_hz: float = 0.0
    label: str = ""
    before_label: str = ""
    x_label: str = "Frequency in Hz"
    first: float = 0.0
    """Place of the first amplitude, in the unit of `line_hz`."""


@dataclass(frozen=True, slots=True, eq=False)
class WaveformPlot:
    """Samples over time."""

    y_label: str
    fs_hz: float
    samples: NDArray[np.float32]
    turn_s: float | None = None
    """Duration of one turn of the shaft, drawn as a scale; None where the speed is not known."""
    start_s: float = 0.0
    """Time of the first sample."""
    x_label: str = "Time in ms"


Plot: TypeAlias = TrendPlot | SpectrumPlot | WaveformPlot


@dataclass(frozen=True, slots=True)
class Paragraph:
    """Running text."""

    text: str
    strong: bool = False


@dataclass(frozen=True, slots=True)
class Bullets:
    """A list."""

    items: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Facts:
    """Names and what they are, two columns."""

    rows: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class Table:
    """Rows under headings; `widths` are shares of the page, `tones` one a row."""

    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    widths: tuple[float, ...]
    tones: tuple[Tone, ...] = ()


@dataclass(frozen=True, slots=True)
class Picture:
    """A plot with its caption."""

    plot: Plot
    title: str
    caption: str


@dataclass(frozen=True, slots=True)
class Banner:
    """The verdict: a word, a sentence, and what to do by when."""

    word: str
    tone: Tone
    sentence: str
    rows: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class Heading:
    """A heading inside a section."""

    text: str


@dataclass(frozen=True, slots=True)
class Blanks:
    """Lines to be filled in by hand."""

    labels: tuple[str, ...]


Block: TypeAlias = Paragraph | Bullets | Facts | Table | Picture | Banner | Heading | Blanks


@dataclass(frozen=True, slots=True)
class Section:
    """A numbered part."""

    title: str
    blocks: tuple[Block, ...]


@dataclass(frozen=True, slots=True)
class Document:
    """All of it."""

    title: str
    subtitle: str
    head: str
    """Stands on every page: site, machine, period."""
    sim: bool
    identity: str
    """Stands on every page: what this report was made of."""
    sections: tuple[Section, ...]
