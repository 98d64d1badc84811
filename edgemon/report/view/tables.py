"""Limits with their source, what was wrong with the data, and the alarm history."""

from collections import Counter
from collections.abc import Iterator

from edgemon.model.alarm import MONITORING
from edgemon.model.event import (
    AlarmChanged,
    CaptureIncomplete,
    CommandRefused,
    DiagnosisMade,
    MeasurementLate,
    QualityChanged,
    RunningChanged,
)
from edgemon.model.health import WEAK_RSSI_DBM
from edgemon.model.instant import format_instant
from edgemon.model.limit import Severity, Side
from edgemon.report.document import Block, Bullets, Facts, Heading, Paragraph, Section, Table, Tone
from edgemon.report.port import LevelMaterial, Material, PointMaterial, SensorMaterial
from edgemon.report.view.bands import band_words, waits_for_approval
from edgemon.report.view.occurrences import occurrence_table
from edgemon.report.view.standing import Assessment
from edgemon.report.view.words import (
    amount,
    counted,
    level_title,
    level_unit,
    limit_amount,
    span,
    stamp,
    when,
)

MOST_ROWS = 60
"""Lines of the alarm history; the newest are kept."""
LOW_BATTERY_PCT = 20.0
"""Common practice, no source: below it, or a signal below `WEAK_RSSI_DBM`, a person should look at battery or radio link."""
NO_BREAK = "\N{NO-BREAK SPACE}"
_TONES = {Severity.NORMAL: Tone.PLAIN, Severity.ALERT: Tone.ALERT, Severity.ALARM: Tone.ALARM}


def limits_section(material: Material) -> Section:
    """Make the table of newest values against their limits, and say where the limits come from."""
    rows: list[tuple[str, ...]] = []
    tones: list[Tone] = []
    for point in material.points:
        for level in point.levels:
            severity, row = _level_row(point, level)
            rows.append(row)
            tones.append(_TONES[severity])
    columns = ("Point", "Level", "Newest", "Worst", "Alert", "Alarm", "State", "Limits from")
    table = Table(columns, tuple(rows), (1.5, 2.0, 0.95, 0.95, 0.9, 0.9, 0.95, 1.8), tuple(tones))
    note = Paragraph(
        "Newest and worst (highest, or lowest under a low limit) fit values of the period, by detector and band. State is by "
        "the newest value alone; alarms also wait for their delays. Limits from a standard are a starting point for a "
        "competent person, subject to the maker's instructions."
    )
    return Section("Measured values and limits", (table, note))


def _level_row(point: PointMaterial, level: LevelMaterial) -> tuple[Severity, tuple[str, ...]]:
    limit, unit = level.limit, level_unit(level.name, level.limit, level.kind)
    fit = [value.value for value in level.values if value.fit]
    band = band_words(point, level.name)
    title = level_title(level.name, level.kind) + (f", {band}".replace(" Hz", f"{NO_BREAK}Hz") if band else "")
    worst = min if limit is not None and limit.side is Side.BELOW else max
    severity = limit.severity_of(fit[-1]) if limit is not None and fit else Severity.NORMAL
    missing = "mask not approved" if waits_for_approval(point, level) else "no data"
    state = severity.word if limit is not None and fit else missing if not fit else "no limit"
    if limit is not None and limit.zones is not None and fit:
        state += f", zone{NO_BREAK}{limit.zones.zone(fit[-1])}"
    return severity, (
        point.point.name,
        title,
        amount(fit[-1], unit) if fit else "–",
        amount(worst(fit), unit) if fit else "–",
        "–" if limit is None else limit_amount(limit.alert, unit, limit.side),
        "–" if limit is None else limit_amount(limit.alarm, unit, limit.side),
        state,
        limit.origin if limit is not None else "no limit is set",
    )


def quality_section(material: Material, assessment: Assessment) -> Section:
    """Say how good the data is: counts, gaps, unfit captures, late measurements, battery and radio link."""
    rows = tuple(_sensor_row(sensor, material) for sensor in material.sensors)
    columns = ("Sensor", "Points", "Received", "Missing", "Late", "Unfit", "Longest silence", "Battery", "Radio signal")
    blocks: list[Block] = [Table(columns, rows, (0.7, 1.7, 1.7, 0.8, 0.8, 0.8, 1.0, 0.8, 1.1))]
    remarks = list(_remarks(material, assessment))
    blocks.append(Heading("Remarks"))
    blocks.append(Bullets(tuple(remarks)) if remarks else Paragraph("Nothing that a reader must know."))
    return Section("How good the data is", tuple(blocks))


def _sensor_row(sensor: SensorMaterial, material: Material) -> tuple[str, ...]:
    points = ", ".join(point.name for point in material.machine.points if point.sensor == sensor.sensor.id)
    got, heard = len(sensor.heard), sensor.heard
    received, longest, missing = "nothing", "the whole period", "all"
    if heard:
        due = max(got, round((material.until - heard[0]) / sensor.sensor.interval_s))
        what = "capture" if sensor.captures else "message"
        received = f"{counted(got, what)} of about {due} due (every {sensor.sensor.interval_s:g} s)"
        missing = _share(due - got, due)
        gaps = [later - earlier for earlier, later in zip(heard, (*heard[1:], material.until), strict=True)]
        longest = span(max(gaps)) if gaps else "–"
    battery = f"{sensor.battery_pct[-1].value:.0f} %" if sensor.battery_pct else "not told"
    signals = [value.value for value in sensor.rssi_dbm]
    radio = f"{signals[-1]:.0f} dBm (lowest {min(signals):.0f})" if signals else "not told"
    late, unfit = (_share(count, got) for count in _flawed(sensor, material))
    return (str(sensor.sensor.id), points, received, missing, late, unfit, longest, battery, radio)


def _flawed(sensor: SensorMaterial, material: Material) -> tuple[int, int]:
    """Count the late and the unfit measurements of a sensor, at the point that has most."""
    own = [point for point in material.points if point.point.sensor == sensor.sensor.id]
    late = Counter(one.event.point for one in material.history if isinstance(one.event, MeasurementLate))
    unfit = [sum(not value.fit for value in level.values) for point in own for level in point.levels[:1]]
    return max((late[point.point.key] for point in own), default=0), max(unfit, default=0)


def _share(count: int, of: int) -> str:
    if count <= 0 or of <= 0:
        return "none"
    part = 100.0 * count / of
    return f"{count} ({'below 1' if part < 1.0 else f'{part:.0f}'} %)"


def _remarks(material: Material, assessment: Assessment) -> Iterator[str]:
    for point in assessment.silent:
        fit = [value.t for level in point.levels for value in level.values if value.fit]
        last = f"its last usable value is of {when(max(fit))}" if fit else "it gave no usable value in the period"
        yield f"{point.point.name} is silent: {last}."
    for change in assessment.unwatched:
        names = [point.name for point in material.machine.points if point.key == change.alarm[:2]]
        name = names[0] if names else change.alarm.point
        yield f"Loss of monitoring is in force at {name} since {when(change.at)}."
    yield from _sensor_remarks(material)
    unfit = [(point, sum(not value.fit for value in level.values)) for point in material.points for level in point.levels[:1]]
    for point, count in unfit:
        if count:
            text = counted(count, "measurement")
            yield f"{point.point.name}: {text} from unfit captures, shown in the trend and never judged."
    yield from _journal_remarks(material)
    yield from material.remarks


def _sensor_remarks(material: Material) -> Iterator[str]:
    for sensor in material.sensors:
        name = sensor.sensor.id
        if sensor.battery_pct and sensor.battery_pct[-1].value < LOW_BATTERY_PCT:
            yield f"{name}: battery low, {sensor.battery_pct[-1].value:.0f} %."
        if sensor.rssi_dbm and sensor.rssi_dbm[-1].value < WEAK_RSSI_DBM:
            yield f"{name}: weak radio signal, {sensor.rssi_dbm[-1].value:.0f} dBm; captures may be lost."
        for why in dict.fromkeys(sensor.unfit):
            yield f"{name}: a capture is not used: {why}."


def _journal_remarks(material: Material) -> Iterator[str]:
    names = {point.key: point.name for point in material.machine.points}
    late = Counter(
        names.get(one.event.point, str(one.event.point.point))
        for one in material.history
        if isinstance(one.event, MeasurementLate)
    )
    for name, count in late.items():
        yield f"{name}: {counted(count, 'measurement')} came late (older than one already judged), stored but never judged."
    parts = sum(isinstance(one.event, CaptureIncomplete) for one in material.history)
    if parts:
        yield f"{counted(parts, 'capture')} closed with parts missing."
    bad = [one.event for one in material.history if isinstance(one.event, QualityChanged) and one.event.quality != "good"]
    for change in bad[-10:]:
        point = names.get(change.point, str(change.point.point))
        yield f"{point}: data {change.quality} from {when(change.at)} ({', '.join(change.reasons)})."
    if len(bad) > 10:
        yield f"{len(bad) - 10} earlier losses of quality are in the journal."


def history_section(material: Material) -> Section:
    """Make the alarm history out of the journal: a row an occurrence, then what happened in its order, newest last."""
    kinds = (AlarmChanged, CommandRefused, RunningChanged, DiagnosisMade)
    rows = [one for one in material.history if isinstance(one.event, kinds)]
    table_of = occurrence_table(material)
    blocks: list[Block] = [] if table_of is None else [Heading("Each time an alarm was raised"), table_of]
    if table_of is not None and rows:
        blocks.append(Heading("What happened, one after another"))
    if len(rows) > MOST_ROWS:
        blocks.append(Paragraph(f"The newest {MOST_ROWS} of {len(rows)} entries; the others are in the journal."))
    shown = rows[-MOST_ROWS:]
    if not shown:
        blocks.append(Paragraph("No alarm was raised or cleared in the period, and the machine neither started nor stopped."))
        return Section("Alarm history", tuple(blocks))
    tones = tuple(
        _TONES[one.event.severity]
        if isinstance(one.event, AlarmChanged) and one.event.alarm.level != MONITORING
        else Tone.PLAIN
        for one in shown
    )
    table = tuple((stamp(one.event.at), _named(one.text, material)) for one in shown)
    blocks.append(Table(("Time (UTC)", "What happened"), table, (1.5, 6.0), tones))
    return Section("Alarm history", tuple(blocks))


def _named(text: str, material: Material) -> str:
    """Call points as people do, not by their ids."""
    for point in sorted(material.machine.points, key=lambda point: -len(point.key.point)):
        text = text.replace(f"{point.key.machine}/{point.key.point}", point.name)
    return text.removesuffix(" [simulated]").replace(" m/s2", " m/s²")


def measured_section(material: Material) -> Section:
    """Say what was measured how, and in which state the machine was."""
    machine = material.machine
    speeds = [point.capture.rpm for point in material.points if point.capture is not None and point.capture.rpm is not None]
    rows = [
        ("Machine", f"{machine.name} ({machine.id}), {machine.kind or 'kind not told'}, {machine.criticality.value}"),
        ("Place", f"{material.site}, {material.area}"),
        ("Severity class", machine.severity_class or "none"),
        ("Nominal speed", f"{machine.rpm:g} r/min" if machine.rpm else "not told"),
        (
            "Speed measured",
            f"{min(speeds):.0f} to {max(speeds):.0f} r/min, told by the sensors with the captures shown"
            if speeds
            else "not told by any sensor; where a diagnosis used a speed it says which",
        ),
        ("Load", "not known to edgemon; compare only what was measured at like load"),
        ("Period", f"{when(material.since)} to {when(material.until)}"),
        ("Made by", f"edgemon {material.version} at {when(material.made_at)}, settings {material.settings}"),
        ("To make it again", _again(material)),
    ]
    for point in material.points:
        rows.append((point.point.name, _how(point)))
    return Section("What was measured, and how", (Facts(tuple(rows)),))


def _again(material: Material) -> str:
    since, until = format_instant(material.since), format_instant(material.until)
    sim = " --sim" if material.sim else ""
    return (
        f"edgemon report --config DIR --machine {material.machine.id} --since {since} --until {until}{sim}; from the store "
        "alone, whether the daemon runs or not"
    )


def _how(point: PointMaterial) -> str:
    text = f"sensor {point.point.sensor}, axis {point.point.axis}"
    text += f", {point.point.direction}" if point.point.direction else ""
    if point.capture is not None:
        capture = point.capture
        n = capture.samples.size
        lines = f"lines up to {0.5 * capture.fs_hz:g} Hz, window {capture.window}"
        text += f"; {n} samples at {capture.fs_hz:g} Hz ({n / capture.fs_hz:.3g} s)" if n else f"; {lines}"
        text += f"; velocity band {point.point.band}"
        text += f"; envelope band {capture.envelope_band}" if capture.envelope_band is not None else ""
    text += f"; {point.point.sends.unknown}" if point.point.sends.unknown else ""
    if (bearing := point.point.bearing) is not None:
        text += f"; bearing with {bearing.rolling_elements} elements of {1000 * bearing.ball_diameter_m:.4g} mm on "
        text += f"{1000 * bearing.pitch_diameter_m:.4g} mm"
    return text
