"""What may be asked about a waveform, and what is answered, in the unit asked for: plain values, for screens and programs."""

from dataclasses import dataclass
from typing import Final

from edgemon.model.instant import Instant
from edgemon.model.speed import SpeedOrigin

SEPARATIONS: Final = ("none", "synchronous", "prediction")
"""How what repeats itself is taken out before an envelope: not at all, by the average turn of the shaft, by prediction."""


@dataclass(frozen=True, slots=True)
class Which:
    """Which stored capture of a point is meant: the newest, unless an id or a time says otherwise."""

    capture: str | None = None
    """The sensor's name for it; the newest of that name."""
    at: Instant | None = None
    """The newest one taken at or before this time; with `capture` the one of that name taken then."""
    sim: bool | None = None
    """Simulated or real; none: whichever the point shows."""


@dataclass(frozen=True, slots=True)
class WaveformRequest:
    """How a waveform is wanted."""

    quantity: str = "acceleration"
    """acceleration, velocity or displacement."""
    unit: str | None = None
    """None: the usual one of the quantity."""
    low_hz: float | None = None
    high_hz: float | None = None
    """Edges of the band of an integrated waveform; none: those of the point's velocity levels."""
    start_s: float = 0.0
    length_s: float | None = None
    """Stretch of the record; none: to its end."""
    columns: int = 1000
    """Columns of a picture: in each the lowest and the highest value of its samples."""


@dataclass(frozen=True, slots=True)
class SpectrumRequest:
    """How a spectrum is wanted; None leaves a choice to the gateway, and the answer says what it was."""

    quantity: str = "velocity"
    """acceleration, velocity or displacement; of an envelope always acceleration."""
    unit: str | None = None
    detector: str = "rms"
    """rms, peak or peak-to-peak of the sine that each line stands for."""
    fmax_hz: float | None = None
    """Highest frequency; none: sample rate / 2.56."""
    lines: int | None = None
    """Lines up to fmax; none: as many as the record allows, 6400 at most."""
    window: str = "hann"
    """rectangular, hann or flat-top."""
    overlap: float = 0.5
    averages: int | None = None
    """Windows averaged; none: as many as the record holds."""
    hold: bool = False
    """Keep the highest of each line instead of the mean power."""
    low_hz: float | None = None
    """Lines below are left out; none: the least that is free of the window's leakage from 0 Hz, and 2 Hz where integrated."""
    axis: str = "Hz"
    """Hz, CPM or orders."""
    rpm: float | None = None
    """Running speed; none: as measured, else as in the plant file."""
    zoom_low_hz: float | None = None
    zoom_high_hz: float | None = None
    """Both: this stretch only, `lines` of them (801, more where tops would not show), from the whole record in one window."""
    peaks: int = 20
    """Peaks listed at most."""
    over_angle: bool = False
    """Read the waveform at even steps of shaft angle first, so that a speed that changes smears no order."""


@dataclass(frozen=True, slots=True)
class EnvelopeRequest(SpectrumRequest):
    """How an envelope spectrum is wanted."""

    quantity: str = "acceleration"
    band_low_hz: float | None = None
    band_high_hz: float | None = None
    """Band demodulated; none: the plant file's, else the one that rings most with impacts."""
    squared: bool = False
    """Of the squared envelope."""
    whitened: bool = False
    """Every line of the waveform made equally strong first: tones vanish, impacts stay."""
    separation: str | None = None
    """none, synchronous or prediction: how what repeats itself is taken out first; None: as the plant file says."""


@dataclass(frozen=True, slots=True)
class CaptureView:
    """One stored capture, as seen from a point."""

    t: Instant
    id: str
    sensor: str
    axis: str
    fs_hz: float
    samples: int
    """0: nothing was recorded on the point's axis."""
    rpm: float | None
    quality: str
    """good or bad."""
    flaws: tuple[str, ...]
    remarks: tuple[str, ...]
    sim: bool
    lines: int = 0
    """Lines of a spectrum that the sensor sent; 0 of a waveform."""


@dataclass(frozen=True, slots=True)
class CapturePage:
    """Stored captures of a point, newest first."""

    captures: tuple[CaptureView, ...]
    before: Instant | None
    """Ask for those before this time next; None: there are no older ones."""


@dataclass(frozen=True, slots=True)
class Source:
    """What a waveform or a spectrum was made of."""

    name: str
    """`machine/point`, or the channel of a file."""
    t: Instant | None
    capture: str
    sensor: str
    fs_hz: float
    samples: int
    rpm: float | None
    """Running speed that orders and markers go by."""
    speed_basis: str
    """Where that comes from, for people."""
    quality: str = "good"
    flaws: tuple[str, ...] = ()
    remarks: tuple[str, ...] = ()
    sim: bool = False
    speed_origin: SpeedOrigin = SpeedOrigin.UNKNOWN
    """Likewise, for programs."""


@dataclass(frozen=True, slots=True)
class Marker:
    """A frequency at which a part of the machine makes itself heard."""

    name: str
    family: str
    """running speed, bearing, gear, blades, belt or supply."""
    hz: float
    x: float
    """On the axis asked for."""
    tolerance_hz: float
    """To either side, for the first multiple; the k-th has k times as much."""
    multiples: int
    """Multiples worth a mark, the first included."""
    sidebands_hz: tuple[float, ...] = ()
    """Distances at which sidebands of it are expected."""


@dataclass(frozen=True, slots=True)
class Peak:
    """A sine that stands out: its frequency and amplitude between the lines."""

    hz: float
    x: float
    order: float | None
    amplitude: float
    above: float
    """Times the median of the lines around it."""
    name: str = ""
    """The expected frequency it is nearest to, within that one's tolerance: `2 x BPFO`; empty: none."""


@dataclass(frozen=True, slots=True)
class WaveformView:
    """A waveform, or a stretch of it, as columns of a picture: no peak is lost."""

    source: Source
    quantity: str
    unit: str
    detector: str
    band_low_hz: float
    band_high_hz: float
    start_s: float
    """Time of the first sample shown, from the record's first."""
    step_s: float
    """Time from one column to the next."""
    samples: int
    """Shown, in all columns."""
    low: tuple[float, ...]
    high: tuple[float, ...]
    """Lowest and highest value in each column; equal where a column is one sample."""
    rms: float
    peak: float
    peak_to_peak: float
    crest_factor: float | None
    """All four of what is shown."""
    turn_s: float | None
    """Duration of one turn of the shaft."""


@dataclass(frozen=True, slots=True)
class SpectrumView:
    """A spectrum with everything that says what it is; line k is at `first_x + k step_x` on the axis."""

    source: Source
    kind: str
    """spectrum, envelope or squared envelope."""
    quantity: str
    unit: str
    detector: str
    """r.m.s., peak or peak-to-peak of a line, as of a sine."""
    axis: str
    low_hz: float
    high_hz: float
    """First and last line shown."""
    demodulated: str
    """Band of the envelope, and why that one; empty for a spectrum."""
    window: str
    averaging: str
    """linear, peak hold, or none with one average."""
    averages: int
    effective_averages: float
    overlap: float
    line_hz: float
    resolution_hz: float
    """Noise bandwidth of the window: closer sines are one."""
    first_x: float
    step_x: float
    amplitude: tuple[float, ...]
    total_rms: float
    """R.m.s. of everything between `low_hz` and `high_hz`, in the unit; noise bandwidth taken out."""
    peaks: tuple[Peak, ...]
    """Largest first."""
    markers: tuple[Marker, ...]
