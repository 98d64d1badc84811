"""The machine screen: its points, every level against its limits and where each limit comes from."""

from dataclasses import dataclass
from typing import NamedTuple

from edgemon.board.theme import Look, Role, Show
from edgemon.board.view import alarms, figures, plant, status
from edgemon.board.view.cells import Row, Span, blank, fit, fit_row, row_width, safe, select, sides, width_of
from edgemon.board.view.diagnosis import diagnosis
from edgemon.model.instant import Instant
from edgemon.model.limit import Side
from edgemon.model.sends import Sends
from edgemon.model.snapshot import AlarmView, LevelView, MachineView, PointView, SensorView

_LIMITS = 2 * figures.NUMBER + 2
HEAD = 3
"""Rows of the head."""


class LevelAt(NamedTuple):
    """One level of one point: what the selection on this screen names."""

    point: str
    level: str


def levels(machine: MachineView) -> list[LevelAt]:
    """List every level of every point, in order."""
    return [LevelAt(point.point, level.name) for point in machine.points for level in point.levels]


def head(machine: MachineView, area: str, now: Instant, look: Look, width: int) -> tuple[Row, ...]:
    """Write who the machine is, in which area, and how it is, and the heads of the columns below."""
    show = status.of_machine(machine)
    unsure = status.is_unsure(machine.state, machine.quality)
    left = [
        Span(" "),
        *status.tag(show, look, machine.unacknowledged, unsure),
        Span(safe(machine.name), Role.BRIGHT),
        Span("  "),
        status.word(show, unsure, short=False),
        Span("  " + plant.why(machine), Role.NO_DATA),
    ]
    old = f"data {figures.age(machine.t, now)} old " if machine.t is not None else "never heard "
    kind = "     " + ", ".join(filter(None, (plant.speed(machine), safe(area))))
    critical = f", {safe(machine.criticality)}" if machine.criticality not in ("", "normal") else ""
    return (
        sides(left, [Span(old, Role.DIM)], width, ellipsis=look.glyphs.ellipsis),
        fit_row([Span(kind + critical, Role.DIM)], width, look.glyphs.ellipsis),
        _heads(_columns(machine, width), width, look),
    )


def body(machine: MachineView, selected: LevelAt | None, look: Look, width: int) -> list[tuple[LevelAt | None, Row]]:
    """Write a line for each point and, under it, one for each of its levels."""
    rows: list[tuple[LevelAt | None, Row]] = []
    cols = _columns(machine, width)
    for point in machine.points:
        if rows:
            rows.append((None, blank(width)))
        rows.append((None, _point(point, cols, look, width)))
        if not point.levels:
            rows.append((None, fit_row([Span("      no level yet", Role.DIM)], width)))
        for level in point.levels:
            at = LevelAt(point.point, level.name)
            row = fit_row(_level(point, level, cols, look, at == selected), width, look.glyphs.ellipsis)
            rows.append((at, select(row) if at == selected else row))
        for why, names in _left_out(point).items():
            text = f"     {', '.join(names)} left out: {safe(why, 120)}"
            rows.append((None, fit_row([Span(text, Role.NO_DATA)], width, look.glyphs.ellipsis)))
    return rows


def _left_out(point: PointView) -> dict[str, list[str]]:
    """Give the names of levels that are left out, by reason."""
    names: dict[str, list[str]] = {}
    for name, why in point.left_out.items():
        names.setdefault(why, []).append(safe(name))
    return names


@dataclass(frozen=True, slots=True)
class _Columns:
    title: int
    bar: int
    origin: int

    @classmethod
    def of(cls, width: int, title: int) -> "_Columns":
        rest = max(0, width - 5 - title - 1 - (figures.NUMBER + 7) - _LIMITS - 3)
        origin = min(76, max(0, rest - 10) * 3 // 5) if rest > 34 else 0
        return cls(title, max(0, rest - origin - (2 if origin else 0)), origin)


def _columns(machine: MachineView, width: int) -> _Columns:
    title = max([16, *(width_of(safe(level.title)) for point in machine.points for level in point.levels)])
    return _Columns.of(width, min(title, max(16, width // 3)))


def _point(point: PointView, cols: _Columns, look: Look, width: int) -> Row:
    show = status.of_point(point)
    unsure = status.is_unsure(point.state, point.quality)
    reasons = ", ".join(reason.replace("-", " ") for reason in point.reasons)
    named = point.direction.casefold() in point.name.casefold()
    direction = "" if named else f", {safe(point.direction)}"
    left = [
        Span(" "),
        *status.tag(show, look, any(status.calls(alarm) for alarm in point.alarms), unsure),
        Span(safe(point.name), Role.BRIGHT),
        Span(f"{direction}  {safe(point.sensor)}/{safe(point.axis)}  ", Role.DIM),
        status.word(show, unsure, short=False),
        Span(f"  {Sends(point.sends).note}" if point.sends != Sends.WAVEFORM else "", Role.DIM),
        Span(f"  {safe(reasons)}" if point.quality != "good" else "", Role.NO_DATA),
        Span("  simulated" if point.sim else "", Role.NO_DATA),
    ]
    return fit_row(left, width, look.glyphs.ellipsis)


def _heads(cols: _Columns, width: int, look: Look) -> Row:
    """Write the heads of the columns of every level below."""
    limits = f"{'alert'.rjust(figures.NUMBER)} {'alarm'.rjust(figures.NUMBER)}"
    text = f"     {fit('level', cols.title)} {'value'.rjust(figures.NUMBER)} {fit('', 6)} {limits} {fit('', cols.bar)}"
    return fit_row([Span(text + ("  limits from" if cols.origin else ""), Role.DIM)], width, look.glyphs.ellipsis)


def _level(point: PointView, level: LevelView, cols: _Columns, look: Look, selected: bool) -> list[Span]:
    plain = Role.NEAR if level in status.near_levels(point) else Role.TEXT
    role = {"alert": Role.ALERT, "alarm": Role.ALARM}.get(level.state, plain)
    known = point.quality != "stale" and point.state != "unknown"
    at = figures.place(level.value, level.alert, level.alarm, level.side) if known else None
    filled, track = figures.bar(at, cols.bar, look.glyphs, (level.alert is not None, level.alarm is not None))
    number = figures.number(level.value) if known else "--"
    spans = [
        Span(" "),
        _sign(point, level, look, known),
        Span(f"{look.glyphs.cursor if selected else ' '} ", Role.BRIGHT),
        Span(fit(safe(level.title), cols.title, look.glyphs.ellipsis), Role.TEXT),
        Span(f" {number.rjust(figures.NUMBER)} ", role if known else Role.NO_DATA),
        Span(fit(figures.unit(level.unit, look.glyphs), 6), Role.DIM),
        Span(f" {_limit(level.alert, level.side)} {_limit(level.alarm, level.side)} ", Role.DIM),
        Span(filled, role),
        Span(track if level.alert is not None or level.alarm is not None else " " * cols.bar, Role.RULE),
    ]
    if cols.origin:
        spans.append(Span("  " + fit(origin(level), cols.origin, look.glyphs.ellipsis), Role.DIM))
    return spans


def _sign(point: PointView, level: LevelView, look: Look, known: bool) -> Span:
    """Draw the mark of a level in two cells: which of a point's levels is meant is told without its colour."""
    near = Show.NEAR if level in status.near_levels(point) else Show.NORMAL
    show = {"alert": Show.ALERT, "alarm": Show.ALARM}.get(level.state, near)
    return status.tag(show, look, calling=False, unsure=not known and show in (Show.ALERT, Show.ALARM))[0]


def origin(level: LevelView) -> str:
    """Say where a level's limit comes from."""
    if level.alert is None and level.alarm is None:
        return "no limit set"
    return safe(level.origin, 120) or "origin not stated"


def _limit(limit: float | None, side: Side) -> str:
    return figures.limit(limit, side).rjust(figures.NUMBER) if limit is not None else "-".rjust(figures.NUMBER)


def found(machine: MachineView, at: LevelAt | None) -> tuple[PointView, LevelView] | None:
    """Give the point and level a selection names."""
    for point in machine.points:
        for level in point.levels:
            if at == (point.point, level.name):
                return point, level
    return None


def beside(
    machine: MachineView, at: LevelAt | None, sensor: SensorView | None, now: Instant, look: Look, width: int
) -> list[Row]:
    """Write what stands under the levels: the selected level, the machine's alarms, the point's diagnosis, its sensor."""
    one = found(machine, at)
    rows: list[Row] = []
    if one is not None:
        point, level = one
        band = f", {safe(level.band)}" if level.band else ""
        remark = f"; {safe(level.remark, 120)}" if level.remark else ""  # ahead of what a narrow terminal cuts off
        text, limits = f" {safe(point.name)}: {safe(level.title)}{band}{remark}", f"limits: {origin(level)}"
        lines = [f"{text}; {limits}"] if width_of(text) + width_of(limits) + 2 <= width else [text, f" {limits}"]
        rows.extend(fit_row([Span(line, Role.TEXT)], width, look.glyphs.ellipsis) for line in lines)
    rows.extend(_alarms(machine, now, look, width))
    if one is not None:
        rows.extend(diagnosis(one[0].diagnosis, now, look, width))
    if sensor is not None:
        rows.append(fit_row(health(sensor, now, width), width, look.glyphs.ellipsis))
    return rows


def _alarms(machine: MachineView, now: Instant, look: Look, width: int) -> list[Row]:
    """Write the two alarms that matter most with what is to do, how many more there are, and what is suppressed in sum."""
    listed = alarms.listed([machine])
    rows = [row for alarm in listed[:2] for row in _alarm(alarm, now, look, width)]
    more = [f"{len(listed) - 2} more in the alarm list (l)"] if len(listed) > 2 else []
    count = alarms.suppressed([machine]).total()
    if count:
        more.append(f"{count} records {alarms.SUPPRESSED}")
    if more:
        rows.append(fit_row([Span(f"     {'; '.join(more)}", Role.DIM)], width, look.glyphs.ellipsis))
    return rows


def _alarm(alarm: AlarmView, now: Instant, look: Look, width: int) -> list[Row]:
    """Write an alarm and what is to do; in a second row where one is too short and somebody has to do it."""
    tag = status.tag(status.of_alarm(alarm), look, status.calls(alarm))
    spans = [Span(" "), *tag, Span(f" {alarms.in_short(alarm, now)}")]
    advice = Span(f"  {alarms.advice(alarm)}", Role.BRIGHT if status.waits(alarm) else Role.DIM)
    if row_width((*spans, advice)) <= width:
        return [fit_row([*spans, advice], width)]
    rows = [fit_row(spans, width, look.glyphs.ellipsis)]
    return [*rows, fit_row([Span("   "), advice], width, look.glyphs.ellipsis)] if status.waits(alarm) else rows


def health(sensor: SensorView, now: Instant, width: int) -> list[Span]:
    """Write the health of a sensor, as last heard; where room is short what is wrong goes before what is counted."""
    battery = "battery --" if sensor.battery_pct is None else f"battery {sensor.battery_pct:.0f} %"
    link = "signal --" if sensor.rssi_dbm is None else f"signal {sensor.rssi_dbm:.0f} dBm"
    heard = "never heard" if sensor.heard_at is None else f"heard {figures.age(sensor.heard_at, now)} ago"
    captures = "capture" if sensor.captures == 1 else "captures"
    counts = {captures: sensor.captures, "repeated": sensor.repeats, "late": sensor.late, "unfit": sensor.unfit}
    first = [
        Span(f" sensor {safe(sensor.id)} ", Role.TEXT),
        Span(heard, Role.NO_DATA if sensor.heard_at is None else Role.TEXT),
    ]
    for least, passed_over in ((0, ()), (1, ()), (1, (captures,)), (1, (captures, "repeated"))):
        told = [battery, link]
        told += [f"{count} {name}" for name, count in counts.items() if count >= least and name not in passed_over]
        row = [*first, Span(f", {', '.join(told)}", Role.DIM)]
        if row_width(tuple(row)) <= width:
            break
    return row
