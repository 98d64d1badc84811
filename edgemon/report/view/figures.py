"""The evidence in pictures: trends with limits and events, velocity and envelope spectra with marked lines, the waveform."""

import numpy as np
from numpy.typing import NDArray

from edgemon.model.event import AlarmChanged, RunningChanged
from edgemon.model.level import LEVEL_KINDS, Detector
from edgemon.model.limit import Severity
from edgemon.model.spectrum import Spectrum
from edgemon.report.document import (
    Block,
    Crossing,
    Heading,
    LimitLine,
    Mark,
    Paragraph,
    Picture,
    Section,
    SpectrumPlot,
    Tone,
    TrendPlot,
    WaveformPlot,
)
from edgemon.report.port import CaptureMaterial, Happening, LevelMaterial, Material, PointMaterial
from edgemon.report.view.bands import band_words
from edgemon.report.view.course import alert_steps
from edgemon.report.view.standing import Assessment
from edgemon.report.view.words import capital, level_title, level_unit, limit_amount, number, shown_unit, stamp, when
from edgemon.units import from_si

MOST_POINTS = 3
"""Points shown in pictures; the tables hold all."""
MOST_MARKS = 12
"""Numbered events in one trend."""
TURNS = 10.0
"""Turns of the shaft shown of a waveform: blows that come once a turn are seen as such."""
SPEED_UNKNOWN_S = 0.2
ENVELOPE_TURNS = 20.0
"""Envelope spectra are shown up to so many times running speed: three harmonics of an inner race of nine elements."""

_TONES = {Severity.NORMAL: Tone.NORMAL, Severity.ALERT: Tone.ALERT, Severity.ALARM: Tone.ALARM}


def shown_points(assessment: Assessment, material: Material) -> tuple[PointMaterial, ...]:
    """Choose the points to show: those beyond a limit or with a finding, worst first; else the one nearest to its limit."""
    named = {finding.channel for finding in assessment.findings}
    wanted = [one.point for one in assessment.newest if one.severity is not Severity.NORMAL]
    wanted += [point for point in material.points if point.point.key.point in named or point.point.name in named]
    if not wanted:
        wanted = [one.point for one in assessment.newest[:1]] or list(material.points[:1])
    return tuple({point.point.key: point for point in wanted}.values())[:MOST_POINTS]


def evidence_sections(material: Material, assessment: Assessment) -> tuple[Section, ...]:
    """Make one section for each point shown."""
    return tuple(
        Section(f"Evidence: {point.point.name}", tuple(_blocks(point, material)))
        for point in shown_points(assessment, material)
    )


def _blocks(point: PointMaterial, material: Material) -> list[Block]:
    blocks: list[Block] = [Heading("Over time")]
    blocks += [_trend(point, level, material) for level in point.levels if level.values]
    if point.capture is None:
        none = "No fit waveform of this point in the period, so there is no spectrum."
        return [*blocks, Paragraph(f"{capital(point.point.sends.unknown)}." if point.point.sends.unknown else none)]
    blocks.append(Heading("Which frequencies"))
    blocks += _velocity(point, point.capture)
    blocks += _envelope(point, point.capture)
    if point.capture.samples.size:
        blocks.append(_waveform(point, point.capture))
    if point.point.sends.unknown:
        blocks.append(Paragraph(f"{capital(point.point.sends.unknown)}."))
    return blocks


def _trend(point: PointMaterial, level: LevelMaterial, material: Material) -> Picture:
    unit = level_unit(level.name, level.limit, level.kind)
    since = max(material.since, level.values[0].t)
    happenings = [one for one in material.history if since <= one.event.at and _belongs(one, point, level)][-MOST_MARKS:]
    marks = tuple(Mark(one.event.at, number, _tone(one)) for number, one in enumerate(happenings, start=1))
    plot = TrendPlot(
        y_label=f"{_label(level)} in {shown_unit(unit)}",
        times=tuple(value.t for value in level.values),
        values=tuple(from_si(value.value, unit) for value in level.values),
        fit=tuple(value.fit for value in level.values),
        since=since,
        until=material.until,
        limits=_limit_lines(level, point, material),
        marks=marks,
        crossings=_crossings(level),
    )
    unfit = sum(not value.fit for value in level.values)
    caption = f"{_detector(level)}{_band(point, level.name)}{len(level.values)} values"
    caption += f", of them {unfit} from unfit captures (crosses, not judged)" if unfit else ""
    caption += f"; limits: {level.limit.origin}" if level.limit is not None else "; no limit is set"
    told = "; ".join(f"{mark.number} {stamp(mark.at)[11:]} {_short(one)}" for mark, one in zip(marks, happenings, strict=True))
    if plot.crossings:
        caption += (
            "; right of the grey line: forecast, on a limit a bar from earliest to latest crossing, a dot at the likely one"
        )
    return Picture(plot, f"{_label(level)} over time", f"{capital(caption)}.{' Events: ' + told + '.' if told else ''}")


def _crossings(level: LevelMaterial) -> tuple[Crossing, ...]:
    """Give the forecasts that there are; limits in the unit of the plot."""
    if level.outlook is None or level.limit is None or level.outlook.unit != level.limit.unit:
        return ()
    tones = {severity.word: tone for severity, tone in _TONES.items()}
    return tuple(
        Crossing(one.limit, one.earliest, one.likely, one.latest, tones.get(one.severity, Tone.PLAIN))
        for one in level.outlook.forecasts
        if not one.reason and one.earliest is not None
    )


def _detector(level: LevelMaterial) -> str:
    kind = level.kind or LEVEL_KINDS.get(level.name)
    return "" if kind is None or kind.detector is Detector.VALUE else f"detector {kind.detector.value}, "


def _label(level: LevelMaterial) -> str:
    return capital(level_title(level.name, level.kind))


def _band(point: PointMaterial, name: str) -> str:
    band = band_words(point, name)
    return f"{'' if ', ' in band or band.startswith('band') else 'band '}{band}, " if band else ""


def _limit_lines(level: LevelMaterial, point: PointMaterial, material: Material) -> tuple[LimitLine, ...]:
    if level.limit is None:
        return ()
    unit = level.limit.unit
    given = ((Severity.ALERT, level.limit.alert), (Severity.ALARM, level.limit.alarm))
    steps = {Severity.ALERT: alert_steps(level, point, material)}
    side = level.limit.side
    lines = [
        LimitLine(
            from_si(value, unit),
            f"{severity.word} {limit_amount(value, unit, side)}",
            _TONES[severity],
            steps.get(severity, ()),
        )
        for severity, value in given
        if value is not None
    ]
    one = level.baseline
    if one is not None and one.state == "approved" and one.baseline is not None:
        label = f"baseline {number(one.baseline)} {shown_unit(one.unit)}".rstrip()
        lines.append(LimitLine(one.baseline, label, Tone.PLAIN))
    return tuple(lines)


def _belongs(one: Happening, point: PointMaterial, level: LevelMaterial) -> bool:
    match one.event:
        case AlarmChanged(alarm=alarm):
            return (alarm.machine, alarm.point) == point.point.key and alarm.level == level.name
        case RunningChanged(point=key):
            return key == point.point.key
        case _:
            return False


def _tone(one: Happening) -> Tone:
    return _TONES[one.event.severity] if isinstance(one.event, AlarmChanged) else Tone.PLAIN


_CHANGES = {
    "RAISED": "{} raised",
    "CLEARED": "back to normal",
    "LEVEL_UP": "rose to {}",
    "LEVEL_DOWN": "fell to {}",
    "REALARM": "{} raised again",
    "ACK": "acknowledged",
    "SHELVED": "shelved",
    "UNSHELVED": "shelf ended",
    "SUPPRESSED": "suppressed",
    "UNSUPPRESSED": "suppression ended",
    "OOS": "out of service",
    "RTS": "back in service",
    "RESET": "reset",
}


def _short(one: Happening) -> str:
    match one.event:
        case AlarmChanged(is_closed=True):
            return "closed"
        case AlarmChanged(change=change, severity=severity):
            return _CHANGES.get(change, change.lower()).format(severity.word)
        case RunningChanged(running=running):
            return "started" if running else "stopped"
        case _:
            return one.text


def _when_taken(capture: CaptureMaterial) -> str:
    speed = f", shaft speed {capture.rpm:.0f} r/min" if capture.rpm is not None else ", shaft speed not known"
    return f"Capture {capture.key.id} of {when(capture.key.taken_at)}{speed}"


def _lines(spectrum: Spectrum, unit: str, top_hz: float) -> NDArray[np.float64]:
    count = min(spectrum.amplitude.size, int(top_hz / spectrum.line_hz) + 2)
    return np.asarray(spectrum.amplitude[:count], np.float64) * from_si(1.0, unit)


def _spectrum(
    capture: CaptureMaterial, before: CaptureMaterial | None, name: str, unit: str, top_hz: float, y_label: str
) -> SpectrumPlot | None:
    now: Spectrum | None = getattr(capture, name)
    then: Spectrum | None = getattr(before, name) if before is not None and before.key != capture.key else None
    if now is None:
        return None
    markers = capture.markers if name == "velocity" else capture.envelope_markers
    return SpectrumPlot(
        y_label=y_label,
        line_hz=now.line_hz,
        amplitude=_lines(now, unit, top_hz),
        top_hz=top_hz,
        markers=tuple(marker for marker in markers if marker.hz <= top_hz),
        before=_lines(then, unit, top_hz) if then is not None else None,
        before_line_hz=then.line_hz if then is not None else 0.0,
        label=stamp(capture.key.taken_at),
        before_label=stamp(before.key.taken_at) if then is not None and before is not None else "",
    )


def _velocity(point: PointMaterial, capture: CaptureMaterial) -> list[Block]:
    top = min(point.point.band.high_hz, capture.fs_hz / 2.0)
    plot = _spectrum(capture, point.before, "velocity", "mm/s", top, "Velocity in mm/s r.m.s.")
    if plot is None:
        return []
    bearing = ", and the bearing's frequencies" if point.point.bearing is not None else ""
    caption = (
        f"{_when_taken(capture)}. Velocity in the band {point.point.band}, one line every {plot.line_hz:.3g} Hz, "
        f"{capture.window} window, amplitude as r.m.s. Marked: running speed (1x) and its multiples{bearing}.{_grey(plot)}"
    )
    return [Picture(plot, "Velocity spectrum", caption)]


def _envelope(point: PointMaterial, capture: CaptureMaterial) -> list[Block]:
    if capture.envelope is None:
        return []
    highest = capture.envelope.line_hz * (capture.envelope.amplitude.size - 1)
    top = min(highest, ENVELOPE_TURNS * capture.rpm / 60.0 if capture.rpm else 1000.0)
    plot = _spectrum(capture, point.before, "envelope", "m/s2", top, "Envelope in m/s² r.m.s.")
    if plot is None:
        return []
    if point.point.bearing is not None:
        marked = (
            "running speed and the bearing's own frequencies by its geometry in the plant file (BPFO outer race, BPFI inner "
        )
        marked += "race, 2 BSF rolling element, FTF cage), without slip: true lines may lie up to 2 % beside them"
    else:
        marked = "running speed; the plant file has no bearing geometry for this point"
    caption = (
        f"{_when_taken(capture)}. How the strength of the band {capture.envelope_band} varies: repeated blows show as lines. "
        f"One line every {plot.line_hz:.3g} Hz, Hann window. Marked: {marked}.{_grey(plot)}"
    )
    return [Picture(plot, "Envelope spectrum", caption)]


def _grey(plot: SpectrumPlot) -> str:
    return f" Grey: the first fit capture of the period, {plot.before_label} UTC." if plot.before is not None else ""


def _waveform(point: PointMaterial, capture: CaptureMaterial) -> Picture:
    turn = 60.0 / capture.rpm if capture.rpm else None
    shown_s = TURNS * turn if turn is not None else SPEED_UNKNOWN_S
    count = min(capture.samples.size, max(2, round(shown_s * capture.fs_hz)))
    plot = WaveformPlot("Acceleration in m/s²", capture.fs_hz, capture.samples[:count], turn)
    whole = capture.samples.size / capture.fs_hz
    peak = float(np.abs(capture.samples).max())
    caption = (
        f"{_when_taken(capture)}. The first {count / capture.fs_hz:.3g} s of {whole:.3g} s, {capture.fs_hz:g} samples/s, "
        f"mean removed; largest value of the whole capture {peak:.3g} m/s²."
    )
    caption += " The bars above are turns of the shaft." if turn is not None else ""
    return Picture(plot, "Waveform", caption)
