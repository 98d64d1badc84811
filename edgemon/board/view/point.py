"""The point screen: trend, waveform and spectra as pictures of characters, with a cursor, and marks under them."""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from edgemon.board.theme import Look, Role
from edgemon.board.view import figures, status
from edgemon.board.view.cells import Row, Span, fit_row, safe
from edgemon.model.look import Marker, Peak, SpectrumView, WaveformView
from edgemon.model.snapshot import MachineView, PointView

MARGIN = 9
"""Cells left of a picture, for the number at its top."""
SIDEBANDS = 3
"""Sidebands marked to either side."""


class Mode(StrEnum):
    """What is looked at; the value is its word on the screen."""

    TREND = "trend"
    WAVEFORM = "waveform"
    SPECTRUM = "spectrum"
    ENVELOPE = "envelope spectrum"


@dataclass(frozen=True, slots=True)
class Marks:
    """Which marks stand under a spectrum."""

    faults: bool = True
    harmonics: bool = False
    sidebands: bool = False
    baseline: bool = True


def head(machine: MachineView, point: PointView, mode: Mode, look: Look, width: int) -> list[Row]:
    """Write whose picture it is, and what may be looked at."""
    show = status.of_point(point)
    named = f"{safe(machine.name)}, {safe(point.name)}"
    simulated = "  simulated" if point.sim else ""
    first = [Span(" "), *status.tag(show, look, False), Span(named, Role.BRIGHT), Span("  "), status.word(show, False, False)]
    tabs = [Span(" ")]
    for number, one in enumerate(Mode, 1):
        tabs.append(Span(f" {number} {one} ", Role.BRIGHT if one is mode else Role.DIM))
        tabs[-1] = tabs[-1]._replace(selected=one is mode)
    return [
        fit_row([*first, Span(simulated, Role.NO_DATA)], width, look.glyphs.ellipsis),
        fit_row(tabs, width, look.glyphs.ellipsis),
    ]


def room(width: int) -> int:
    """Give the columns that a picture has."""
    return max(8, width - MARGIN - 1)


def tops(values: Sequence[float], columns: int) -> list[float]:
    """Give the highest value of each column; values fewer than columns are spread."""
    highest = [0.0] * columns
    for k, value in enumerate(values):
        at = column(k, len(values), columns)
        highest[at] = max(highest[at], value)
    return highest


def column(place: float, count: int, columns: int) -> int:
    """Give the column of a place that is counted in values."""
    share = place / max(1, count - 1)
    return min(columns - 1, max(0, int(share * (columns - 1) + 0.5)))


def line_at(cursor: int, amplitude: Sequence[float], columns: int) -> int | None:
    """Give the highest line in the cursor's column, or the nearest line where none falls into it."""
    if not amplitude:
        return None
    last = len(amplitude) - 1
    low = max(0, int((cursor - 1.5) * last / max(1, columns - 1)))
    high = min(last, int((cursor + 1.5) * last / max(1, columns - 1)) + 1)
    inside = [k for k in range(low, high + 1) if column(k, len(amplitude), columns) == cursor]
    if inside:
        return max(inside, key=lambda k: amplitude[k])
    return round(cursor * last / max(1, columns - 1))


def stems(
    heights: Sequence[float], cursor: int, unit: str, look: Look, width: int, height: int, across: Sequence[float] = ()
) -> list[Row]:
    """Draw columns from nothing up, on a scale from nothing to the highest; the cursor's column is bright.

    `across` is a height for each column at which a line is drawn over them: what stands out above it is new.
    """
    top = max((*heights, *across), default=0.0)
    steps = look.glyphs.steps
    rows = []
    for row in range(height):
        floor = height - 1 - row
        label = figures.number(top) if row == 0 else figures.unit(unit, look.glyphs) if row == 1 else "0" if floor == 0 else ""
        cells = []
        for at, value in enumerate(heights):
            eighths = round((value / top * height - floor) * len(steps)) if top > 0.0 else 0
            cell = steps[min(eighths, len(steps)) - 1] if eighths > 0 else " "
            lies = bool(across) and top > 0.0 and min(height - 1, int(across[at] / top * height)) == floor
            cells.append(look.glyphs.limit if lies and not 0 < eighths < len(steps) else cell)
        rows.append(_with_cursor(label, cells, cursor, look, width))
    return rows


def lanes(shown: WaveformView, cursor: int, look: Look, width: int, height: int) -> list[Row]:
    """Draw a waveform: in each column everything between its lowest and its highest value."""
    columns = room(width)
    lows, highs = [0.0] * columns, [0.0] * columns
    for k, (low, high) in enumerate(zip(shown.low, shown.high, strict=True)):
        at = column(k, len(shown.low), columns)
        lows[at], highs[at] = min(lows[at], low), max(highs[at], high)
    top = max((abs(value) for value in (*shown.low, *shown.high)), default=0.0) or 1.0
    half = (height - 1) / 2.0
    rows = []
    for row in range(height):
        level = half - row
        label = {0: figures.number(top), height - 1: f"-{figures.number(top).strip()}"}.get(row, "")
        label = figures.unit(shown.unit, look.glyphs) if row == 1 else "0" if abs(level) < 0.5 else label
        cells = [
            look.glyphs.steps[-1]
            if round(half * low / top) <= level <= round(half * high / top)
            else look.glyphs.rule
            if abs(level) < 0.5
            else " "
            for low, high in zip(lows, highs, strict=True)
        ]
        rows.append(_with_cursor(label, cells, cursor, look, width))
    return rows


def _with_cursor(label: str, cells: Sequence[str], cursor: int, look: Look, width: int) -> Row:
    at = min(max(cursor, 0), len(cells) - 1)
    here = cells[at] if cells[at] != " " else look.glyphs.limit
    spans = [
        Span(f"{label.strip():>{MARGIN - 1}} ", Role.DIM),
        Span("".join(cells[:at]), Role.TEXT),
        Span(here, Role.NEAR),
        Span("".join(cells[at + 1 :]), Role.TEXT),
    ]
    return fit_row(spans, width, " ")


def marks(shown: SpectrumView, wanted: Marks, at_x: float | None, columns: int) -> dict[int, str]:
    """Give the letters under a spectrum: `h` multiples of the cursor, `s` its sidebands, else the first of a part's name."""
    found: dict[int, str] = {}
    last_x = shown.first_x + shown.step_x * max(0, len(shown.amplitude) - 1)
    turn_x = next((marker.x for marker in shown.markers if marker.family == "running speed"), None)

    def put(x: float, letter: str) -> None:
        if shown.first_x <= x <= last_x and shown.step_x > 0.0:
            found.setdefault(column((x - shown.first_x) / shown.step_x, len(shown.amplitude), columns), letter)

    if at_x is not None and at_x > 0.0 and wanted.harmonics:
        for k in range(1, min(50, int(last_x / at_x)) + 1):
            put(k * at_x, "h")
    if at_x is not None and turn_x and wanted.sidebands:
        for k in range(-SIDEBANDS, SIDEBANDS + 1):
            put(at_x + k * turn_x, "s" if k else "c")
    if wanted.faults:
        for letter, marker in lettered(shown).items():
            for k in range(1, marker.multiples + 1):
                put(k * marker.x, letter)
    return found


def lettered(shown: SpectrumView) -> dict[str, Marker]:
    """Give each marker a letter of its own: capitals in the order of the answer."""
    return {chr(ord("A") + number): marker for number, marker in enumerate(shown.markers[:26])}


def mark_row(found: dict[int, str], columns: int, width: int) -> Row:
    """Write the letters under the picture."""
    return fit_row([Span(" " * MARGIN), Span("".join(found.get(at, " ") for at in range(columns)), Role.BRIGHT)], width, " ")


def axis_row(left: str, right: str, columns: int, width: int) -> Row:
    """Write what stands at the two ends of the axis."""
    gap = max(1, columns - len(left) - len(right))
    return fit_row([Span(f"{' ' * MARGIN}{left}{' ' * gap}{right}", Role.DIM)], width, " ")


def peak_near(shown: SpectrumView, line: int) -> Peak | None:
    """Give the peak that a line belongs to."""
    x = shown.first_x + line * shown.step_x
    near = [peak for peak in shown.peaks if abs(peak.x - x) <= 1.5 * shown.step_x]
    return min(near, key=lambda peak: abs(peak.x - x), default=None)


def spectrum_words(shown: SpectrumView, line: int | None, look: Look) -> str:
    """Read the spectrum out at the cursor."""
    unit = figures.unit(shown.unit, look.glyphs)
    if line is None:
        return ""
    peak = peak_near(shown, line)
    if peak is not None:
        order = f", {peak.order:.2f} x speed" if peak.order is not None else ""
        name = f", {safe(peak.name)}" if peak.name else ""
        value = f"{peak.amplitude:.4g} {unit} {shown.detector}, {peak.above:.1f} x around"
        return f"peak at {peak.x:.5g} {shown.axis}{order}: {value}{name}"
    x = shown.first_x + line * shown.step_x
    return f"line at {x:.5g} {shown.axis}: {shown.amplitude[line]:.4g} {unit} {shown.detector}"


def spectrum_facts(shown: SpectrumView, look: Look) -> str:
    """Say what a spectrum is made of."""
    unit = figures.unit(shown.unit, look.glyphs)
    band = f"{shown.low_hz:.4g}-{shown.high_hz:.4g} Hz"
    averages = "1 average" if shown.averages == 1 else f"{shown.averages} averages"
    made = f"{shown.window}, {averages}, lines {shown.line_hz:.3g} Hz"
    envelope = f", envelope of {safe(shown.demodulated, 200)}" if shown.demodulated else ""
    return f"{safe(shown.quantity)} {shown.total_rms:.4g} {unit} r.m.s. in {band}; {made}{envelope}"


def source_words(shown: SpectrumView | WaveformView) -> str:
    """Say which capture a picture was made of, and what speed it goes by."""
    source = shown.source
    taken = f"{figures.stamp(source.t)} UTC" if source.t is not None else "a time not known"
    speed = f"{source.rpm:.0f} r/min ({safe(source.speed_basis, 200)})" if source.rpm is not None else "speed not known"
    flaws = f"; NOT FIT: {', '.join(source.flaws)}" if source.flaws else ""
    return f"capture {safe(source.capture)} of {taken}; {speed}{flaws}"


def legend(shown: SpectrumView, look: Look, width: int) -> list[Row]:
    """Name the letters."""
    said = [f"{letter} {safe(marker.name)} {marker.x:.4g}" for letter, marker in lettered(shown).items()]
    rows: list[Row] = []
    line = ""
    for one in said:
        if line and len(line) + len(one) + 3 > width - 2:
            rows.append(fit_row([Span(f" {line}", Role.DIM)], width, look.glyphs.ellipsis))
            line = ""
        line = f"{line}   {one}" if line else one
    return [*rows, fit_row([Span(f" {line}", Role.DIM)], width, look.glyphs.ellipsis)] if line else rows


def peaks(shown: SpectrumView, look: Look, width: int, most: int) -> list[Row]:
    """List the largest peaks."""
    unit = figures.unit(shown.unit, look.glyphs)
    if not shown.peaks:
        return [fit_row([Span(" no line stands out of its surroundings", Role.DIM)], width, look.glyphs.ellipsis)][:most]
    rows = [fit_row([Span(f" {shown.axis:>10} {'x speed':>8} {unit:>10} {'x around':>9}  what", Role.DIM)], width, " ")]
    for peak in shown.peaks[: max(0, most - 1)]:
        order = f"{peak.order:.2f}" if peak.order is not None else "-"
        text = f" {peak.x:>10.5g} {order:>8} {peak.amplitude:>10.4g} {peak.above:>9.1f}  {safe(peak.name)}"
        rows.append(fit_row([Span(text, Role.TEXT)], width, look.glyphs.ellipsis))
    return rows[:most] if most > 1 else []


def waveform_words(shown: WaveformView, cursor: int, columns: int, look: Look) -> str:
    """Read the waveform out at the cursor."""
    if not shown.low:
        return ""
    at = round(cursor * (len(shown.low) - 1) / max(1, columns - 1))
    unit, seconds = figures.unit(shown.unit, look.glyphs), shown.start_s + at * shown.step_s
    turns = f" (turn {seconds / shown.turn_s:.2f})" if shown.turn_s else ""
    return f"at {seconds * 1e3:.4g} ms{turns}: {shown.low[at]:.4g} to {shown.high[at]:.4g} {unit}"


def waveform_facts(shown: WaveformView, look: Look) -> str:
    """Say what a waveform is."""
    unit = figures.unit(shown.unit, look.glyphs)
    crest = f", crest factor {shown.crest_factor:.3g}" if shown.crest_factor is not None else ""
    band = f"{shown.band_low_hz:.4g}-{shown.band_high_hz:.4g} Hz"
    return f"{safe(shown.quantity)} {shown.rms:.4g} {unit} r.m.s., peak {shown.peak:.4g}{crest}; band {band}"
