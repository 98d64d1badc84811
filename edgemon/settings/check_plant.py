"""Doubts about `plant.toml`: identifiers, machines, points, bearings, sensors. Limits are in `check_limits.py`."""

import math
import re

from edgemon.model.ids import is_identifier
from edgemon.model.machine import GATEWAY
from edgemon.settings import check_limits
from edgemon.settings.check_alarms import check_alarms
from edgemon.settings.check_baseline import check_baseline
from edgemon.settings.check_collection import check_collection
from edgemon.settings.check_derived import check_derived, check_names, check_startup
from edgemon.settings.check_levels import check_compute, check_levels
from edgemon.settings.check_masks import check_masks
from edgemon.settings.check_reach import check_reach
from edgemon.settings.check_responses import check_actions, check_responses
from edgemon.settings.check_sends import check_sends
from edgemon.settings.check_train import check_train
from edgemon.settings.classes import DISPLACEMENT, SEVERITY_CLASSES, SeverityClass
from edgemon.settings.derived import written_specs
from edgemon.settings.lines import KeyPath
from edgemon.settings.problem import Report, nearest, shown, suggest
from edgemon.settings.resolve import STALE_INTERVALS, class_band
from edgemon.settings.schema import BandTable, BearingTable, MachineTable, PlantFile, PointTable

_AXIS = re.compile(r"[A-Za-z0-9][A-Za-z0-9_-]{0,15}")
_ALPHABET = "a to z, 0 to 9, - and _, starting with a letter or digit, at most 63 characters"


def check_plant(file: PlantFile, report: Report) -> None:
    """Report everything in a plant file that an engineer would doubt."""
    identifier(report, ("site", "id"), file.site.id)
    _areas(file, report)
    _sensors(file, report)
    if not file.machine and not report.is_blamed(("machine",)):
        report.error(("machine",), "there is no machine", "add at least one [[machine]] with a [[machine.point]]")
    _unique(report, "machine", [(("machine", i), machine.id) for i, machine in enumerate(file.machine)])
    for number, machine in enumerate(file.machine):
        _machine(machine, file, ("machine", number), report)
    _sensor_axes(file, report)
    check_sends(file, report)
    check_responses(file, report)
    check_alarms(file.alarms, report)
    if not any(problem.is_error for problem in report.problems):
        check_actions(file, report)


def identifier(report: Report, path: KeyPath, text: str) -> bool:
    """Report an id that is missing or outside the alphabet of identifiers; say whether it is right."""
    if report.is_blamed(path):
        return False
    if not text:
        report.error(path, "is missing or empty", f'{path[-1]} = "...": {_ALPHABET}')
    elif not is_identifier(text):
        report.error(path, f'"{shown(text)}" is not an identifier', f"{_ALPHABET}{_repaired(text)}")
    else:
        return True
    return False


def _repaired(text: str) -> str:
    """Suggest an identifier that looks like the text."""
    like = re.sub(r"[^a-z0-9_-]+", "-", text.lower()).strip("-_")[:63]
    return f'; for example "{like}"' if is_identifier(like) else ""


def positive(report: Report, path: KeyPath, value: float | None, hint: str = "") -> bool:
    """Report a number that must be above zero and is not; say whether it is right (or not given)."""
    if value is None or value > 0.0:
        return True
    report.error(path, f"must be above zero, not {value:g}", hint)
    return False


def _unique(report: Report, word: str, entries: list[tuple[KeyPath, str]], key: str = "id") -> None:
    """Report ids that stand twice, with the line of the first."""
    first: dict[str, KeyPath] = {}
    for path, name in entries:
        if name and name in first:
            where = report.line((*first[name], key))
            report.error((*path, key), f'{word} "{shown(name)}" is there twice', f"the first one is in line {where}")
        first.setdefault(name, path)


def _areas(file: PlantFile, report: Report) -> None:
    for number, area in enumerate(file.area):
        identifier(report, ("area", number, "id"), area.id)
    _unique(report, "area", [(("area", i), area.id) for i, area in enumerate(file.area)])


def _sensors(file: PlantFile, report: Report) -> None:
    _unique(report, "sensor", [(("sensor", i), sensor.id) for i, sensor in enumerate(file.sensor)])
    used = {point.sensor for machine in file.machine for point in machine.point}
    for number, sensor in enumerate(file.sensor):
        path: KeyPath = ("sensor", number)
        if identifier(report, (*path, "id"), sensor.id) and sensor.id not in used:
            report.warning((*path, "id"), f'no point uses sensor "{sensor.id}"', "name it in a point, or remove it")
        positive(report, (*path, "interval_s"), sensor.interval_s, "seconds between two captures")
        positive(report, (*path, "range_g"), sensor.range_g, "largest acceleration it measures, one-sided, in g")
        positive(report, (*path, "sensitivity_mv_per_g"), sensor.sensitivity_mv_per_g, "from its calibration sheet, often 100")
        noise = "density of its own noise, in millionths of g per root hertz, from its data sheet"
        positive(report, (*path, "noise_ug_per_root_hz"), sensor.noise_ug_per_root_hz, noise)
        if positive(report, (*path, "resonance_hz"), sensor.resonance_hz, "resonance as mounted, Hz, from its data sheet"):
            check_reach(file, sensor, path, report)
        check_collection(file, sensor, path, report)


def _machine(machine: MachineTable, file: PlantFile, path: KeyPath, report: Report) -> None:
    identifier(report, (*path, "id"), machine.id)
    if machine.id == GATEWAY.machine:
        report.error((*path, "id"), f'"{machine.id}" stands for the gateway\'s own alarm', "give the machine another id")
    _area_of(machine, file, path, report)
    speed_is_right = positive(report, (*path, "rpm"), machine.rpm, "nominal shaft speed in r/min; leave it out if it varies")
    if machine.speed == "fixed" and machine.rpm is None:
        report.error((*path, "speed"), 'is "fixed", but which speed that is is not said', "add rpm")
    positive(report, (*path, "power_kw"), machine.power_kw, "rated power in kW")
    row = _class_of(machine, path, report)
    if row is not None and speed_is_right:
        _scope(machine, row, path, report)
    _standstill(machine, row, path, report)
    if machine.train is not None:
        check_train(machine.train, (*path, "train"), report)
    check_baseline(machine.baseline, (*path, "baseline"), report)
    check_levels(machine.level, path, report)
    check_compute(machine.compute, path, report)
    check_masks(machine.mask, path, report)
    check_derived(machine.derived, machine, None, file, path, report)
    check_names(machine, path, report)
    check_startup(machine.startup, (*path, "startup"), report)
    check_limits.check_limits(machine.limit, row, path, report, written_specs(machine))
    check_limits.check_sides(machine, None, row, path, report)
    _class_displacement(machine, machine, row, path, report)
    if not machine.point and not report.is_blamed((*path, "point")):
        report.error((*path, "point"), "the machine has no point", "add a [[machine.point]] with id, sensor and axis")
    _unique(report, "point", [((*path, "point", i), point.id) for i, point in enumerate(machine.point)])
    for number, point in enumerate(machine.point):
        _point(point, machine, file, (*path, "point", number), report)


def _area_of(machine: MachineTable, file: PlantFile, path: KeyPath, report: Report) -> None:
    where = (*path, "area")
    declared = [area.id for area in file.area if area.id]
    if not machine.area or not identifier(report, where, machine.area):
        return
    if declared and machine.area not in declared:
        report.warning(where, f'no [[area]] is called "{machine.area}"', suggest(machine.area, declared, "areas"))


def _class_of(machine: MachineTable, path: KeyPath, report: Report) -> SeverityClass | None:
    name = machine.severity_class
    row = SEVERITY_CLASSES.get(name)
    where = (*path, "severity_class")
    if name and row is None:
        report.error(where, f'"{shown(name)}" is not a severity class', suggest(name, SEVERITY_CLASSES, "classes"))
    if row is not None and row.withdrawn:
        report.warning(where, f"{row.edition.removesuffix(' (withdrawn)')} is withdrawn", "only to carry over old limits")
    return row


def _scope(machine: MachineTable, row: SeverityClass, path: KeyPath, report: Report) -> None:
    """Compare speed, power and kind of a machine with what its class is for."""
    if machine.rpm is not None and row.rpm is not None and not row.rpm[0] <= machine.rpm <= row.rpm[1]:
        low, high = row.rpm
        report.error(
            (*path, "rpm"),
            f"{machine.rpm:g} r/min is outside the scope of {row.edition}",
            f"{low:g} to {high:g} r/min; otherwise set limits of your own instead of severity_class",
        )
    if machine.power_kw is not None and machine.power_kw > 0.0 and row.power_kw is not None:
        low, high = row.power_kw
        if not low < machine.power_kw <= high:
            report.warning(
                (*path, "severity_class"),
                f"{row.edition} does not fit {machine.power_kw:g} kW",
                f"it is for more than {low:g} kW" + (f", up to {high:g} kW" if math.isfinite(high) else ""),
            )
    word = next((word for word in row.not_for if word in machine.kind.lower()), None)
    if word is not None:
        hint = _class_hint(word)
        report.warning((*path, "severity_class"), f'{row.edition} is not made for a "{shown(machine.kind)}"', hint)


def _class_hint(word: str) -> str:
    if word == "reciprocating":
        return "reciprocating machines have standards of their own; set limits instead"
    standard = {"pump": "iso10816-7/...", "fan": "iso14694/...", "ventilator": "iso14694/..."}.get(word, "iso20816-3/...")
    return f"usual for it: {standard}"


def _standstill(machine: MachineTable, row: SeverityClass | None, path: KeyPath, report: Report) -> None:
    speed, nominal = machine.standstill_rpm, machine.rpm
    if speed is not None and speed < 0.0:
        report.error((*path, "standstill_rpm"), f"must not be below zero, not {speed:g}", "usually 5 % of rpm")
    elif speed is not None and nominal is not None and 0.0 < nominal <= speed:
        report.error(
            (*path, "standstill_rpm"),
            f"at {speed:g} r/min the machine would never count as running",
            f"well below rpm = {nominal:g}; usually {nominal * 0.05:g}",
        )
    if machine.standstill is not None:
        check_limits.check_standstill(machine, row, (*path, "standstill"), report)


def _point(point: PointTable, machine: MachineTable, file: PlantFile, path: KeyPath, report: Report) -> None:
    identifier(report, (*path, "id"), point.id)
    _sensor_of(point, file, path, report)
    _axis(point, path, report)
    _stale(point, file, path, report)
    _band(point.band, (*path, "band"), report)
    _band(point.envelope_band, (*path, "envelope_band"), report)
    if point.bearing is not None:
        _bearing(point.bearing, (*path, "bearing"), report)
    row = SEVERITY_CLASSES.get(machine.severity_class)
    check_levels(point.level, path, report)
    check_compute(point.compute, path, report)
    check_masks(point.mask, path, report)
    check_derived(point.derived, machine, point, file, path, report)
    check_names(point, path, report)
    check_limits.check_limits(point.limit, row, path, report, written_specs(machine, point))
    check_limits.check_sides(machine, point, row, path, report)
    _class_band(point, machine, row, path, report)
    _class_displacement(point, machine, row, path, report)
    blamed = report.is_blamed((*path, "limit")) or (machine.severity_class and row is None)
    if row is None and not machine.limit and not point.limit and not blamed:
        report.warning(
            path,
            "the point has no limit: it will never be more than normal",
            "set a severity_class, or [[machine.point.limit]]",
        )


def _class_band(point: PointTable, machine: MachineTable, row: SeverityClass | None, path: KeyPath, report: Report) -> None:
    """Doubt a band of the author's own together with limits that a standard gives for another band."""
    own = any(limit.level == "velocity_rms" for limit in (*point.limit, *machine.limit))
    if row is None or own or point.band is None:
        return
    wanted = class_band(machine)
    if (point.band.low_hz, point.band.high_hz) != (wanted.low_hz, wanted.high_hz):
        report.warning(
            (*path, "band"), f"the limits of {row.edition} are for {wanted}", "leave band out, or set a limit of your own"
        )


def _class_displacement(
    holder: MachineTable | PointTable, machine: MachineTable, row: SeverityClass | None, path: KeyPath, report: Report
) -> None:
    """Doubt a level by whose name the class gives limits, and which is not what the standard limits."""
    wanted = class_band(machine)
    every = (holder, machine, *(machine.point if holder is machine else ()))
    limits = [limit for one in every for limit in one.limit if limit.level == DISPLACEMENT and limit.side == "above"]
    if row is None or row.displacement is None or all(limit.alert is not None and limit.alarm is not None for limit in limits):
        return
    for number, level in enumerate(holder.level):
        said = (level.quantity, level.detector, level.low_hz, level.high_hz)
        if level.name == DISPLACEMENT and said != ("displacement", "rms", wanted.low_hz, wanted.high_hz):
            what = f"the limits of {row.edition} are for displacement r.m.s. in {wanted}"
            hint = f'quantity = "displacement", detector = "rms", low_hz = {wanted.low_hz:g}, high_hz = {wanted.high_hz:g}'
            report.warning((*path, "level", number, "name"), what, f"{hint}; or set alert and alarm of your own")


def _sensor_of(point: PointTable, file: PlantFile, path: KeyPath, report: Report) -> None:
    declared = [sensor.id for sensor in file.sensor if sensor.id]
    if not identifier(report, (*path, "sensor"), point.sensor) or not declared or point.sensor in declared:
        return
    near = nearest(point.sensor, declared)
    hint = f'did you mean "{near}"?' if near else "add it, or remove all [[sensor]] tables to have the usual settings"
    report.warning((*path, "sensor"), f'no [[sensor]] is called "{point.sensor}", though others are listed', hint)


def _axis(point: PointTable, path: KeyPath, report: Report) -> None:
    where = (*path, "axis")
    if report.is_blamed(where):
        return
    if not point.axis:
        report.error(where, "is missing or empty", 'the name the sensor gives the axis, for example axis = "x"')
    elif _AXIS.fullmatch(point.axis) is None:
        report.error(where, f'"{shown(point.axis)}" cannot be an axis', "letters, digits, - and _, at most 16, for example x")


def _stale(point: PointTable, file: PlantFile, path: KeyPath, report: Report) -> None:
    where = (*path, "stale_after_s")
    stale = point.stale_after_s
    if stale is None or not positive(report, where, stale, "seconds without a measurement that mean no data"):
        return
    interval = next((sensor.interval_s for sensor in file.sensor if sensor.id == point.sensor), 300.0)
    if interval <= 0.0:
        return
    hint = f"usually {STALE_INTERVALS:g} intervals, {interval * STALE_INTERVALS:g} s"
    if stale <= interval:
        report.error(where, f"no data after {stale:g} s, but {shown(point.sensor)} reports every {interval:g} s", hint)
    elif stale < 2.0 * interval:
        report.warning(where, f"one lost capture means no data: interval_s is {interval:g}", hint)


def _band(band: BandTable | None, path: KeyPath, report: Report) -> None:
    if band is None:
        return
    edges = {"low_hz": band.low_hz, "high_hz": band.high_hz}
    for key, value in edges.items():
        if value is None and not report.is_blamed((*path, key)):
            report.error(
                (*path, key), "is missing", "a band needs low_hz and high_hz, for example { low_hz = 10, high_hz = 1000 }"
            )
    low, high = band.low_hz, band.high_hz
    if low is not None and low < 0.0:
        report.error((*path, "low_hz"), f"must not be below zero, not {low:g}", "for example 10")
    elif low is not None and high is not None and high <= low:
        report.error((*path, "high_hz"), f"the band ends at {high:g} Hz, before it begins", f"above low_hz = {low:g}")


def _bearing(bearing: BearingTable, path: KeyPath, report: Report) -> None:
    """Doubt a geometry in which the rolling elements do not fit between the races."""
    needed = ("rolling_elements", "ball_diameter_mm", "pitch_diameter_mm")
    for key in needed:
        if getattr(bearing, key) is None and not report.is_blamed((*path, key)):
            report.error((*path, key), "is missing", f"a bearing needs {', '.join(needed)}")
    count, ball, pitch = bearing.rolling_elements, bearing.ball_diameter_mm, bearing.pitch_diameter_mm
    right = positive(report, (*path, "ball_diameter_mm"), ball) & positive(report, (*path, "pitch_diameter_mm"), pitch)
    if count is not None and not 3 <= count <= 1000:
        report.error((*path, "rolling_elements"), f"must be at least 3 and at most 1000, not {count}", "elements of one row")
        right = False
    if not 0.0 <= bearing.contact_angle_deg < 90.0:
        report.error(
            (*path, "contact_angle_deg"), f"must be 0 to below 90, not {bearing.contact_angle_deg:g}", "0 for deep groove"
        )
    if not right or ball is None or pitch is None:
        return
    if ball >= pitch:
        report.error(
            (*path, "ball_diameter_mm"), f"must be below pitch_diameter_mm, which is {pitch:g}", "are the two swapped?"
        )
    elif count is not None and pitch * math.sin(math.pi / count) < ball:  # chord of neighbouring centres on the pitch circle
        most = int(math.pi / math.asin(ball / pitch))
        report.error(
            (*path, "rolling_elements"),
            f"{count} elements of {ball:g} mm do not fit on a pitch circle of {pitch:g} mm",
            f"at most {most}; give those of one row",
        )


def _sensor_axes(file: PlantFile, report: Report) -> None:
    """Doubt a sensor axis that two points claim, and a sensor that sits on two machines."""
    axes: dict[tuple[str, str], KeyPath] = {}
    machines: dict[str, KeyPath] = {}
    for m, machine in enumerate(file.machine):
        for p, point in enumerate(machine.point):
            path: KeyPath = ("machine", m, "point", p)
            if not point.sensor or not point.axis:
                continue
            axis = (point.sensor, point.axis)
            sensor = shown(point.sensor)
            if axis in axes:
                what = f'axis {shown(point.axis)} of sensor "{sensor}" is used twice'
                report.error((*path, "axis"), what, f"the first point is in line {report.line(axes[axis])}")
            elif machines.get(point.sensor, path)[1] != m:
                what = f'sensor "{sensor}" cannot sit on two machines'
                report.warning((*path, "sensor"), what, f"the first one is in line {report.line(machines[point.sensor])}")
            axes.setdefault(axis, path)
            machines.setdefault(point.sensor, path)
