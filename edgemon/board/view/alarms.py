"""The alarm list: every alarm record that is not plainly normal, what calls first."""

from collections.abc import Sequence

from edgemon.board.theme import Look, Role
from edgemon.board.view import figures, status
from edgemon.board.view.cells import Row, Span, fit, fit_row, row_width, safe, select, width_of
from edgemon.model.instant import Instant
from edgemon.model.snapshot import AlarmView, MachineView

_PRIORITY = {"high": 0, "medium": 1, "low": 2}
_WORDS = {
    "UNACK": "unacknowledged",
    "ACKED": "acknowledged",
    "RTNUN": "returned, unacknowledged",
    "LATUN": "latched, unacknowledged",
    "LATAK": "latched, acknowledged",
    "SHLVD": "shelved",
    "DSUPR": "suppressed by design",
    "OOSRV": "out of service",
}


def listed(machines: Sequence[MachineView]) -> list[AlarmView]:
    """Give all alarms: those that call, then by severity and priority, the newest first."""
    alarms = [alarm for machine in machines for point in machine.points for alarm in point.alarms]
    return sorted(alarms, key=_order)


def _order(alarm: AlarmView) -> tuple[bool, bool, bool, int, float, str]:
    hidden = alarm.alarm_state in ("SHLVD", "DSUPR", "OOSRV")
    return (
        not status.calls(alarm),
        hidden,
        alarm.severity != "alarm",
        _PRIORITY.get(alarm.priority, 3),
        -alarm.raised_at,
        alarm.id,
    )


def state_words(alarm: AlarmView) -> str:
    """Write the alarm state in words."""
    return _WORDS.get(alarm.alarm_state, safe(alarm.alarm_state))


def heading(width: int, name: int, look: Look) -> Row:
    """Write the head of the list."""
    numbers = f"{'value'.rjust(figures.NUMBER)} {'limit'.rjust(figures.NUMBER)}"
    text = f"     {fit('machine', name)} {fit('', 8)} {numbers} {'':5} {'age':>4}  state"
    return fit_row([Span(text, Role.DIM)], width, look.glyphs.ellipsis)


def name_width(alarms: Sequence[AlarmView]) -> int:
    """Give the cells the longest machine name takes."""
    return max((width_of(safe(alarm.machine_name)) for alarm in alarms), default=12)


def row(alarm: AlarmView, name: int, now: Instant, look: Look, width: int, selected: bool) -> Row:
    """Write one alarm."""
    show = status.of_alarm(alarm)
    calling = status.calls(alarm)
    word = status.word(show, unsure=False, short=True)
    number = f"{figures.number(alarm.value).rjust(figures.NUMBER)} {figures.number(alarm.limit).rjust(figures.NUMBER)}"
    spans = [
        Span(look.glyphs.cursor if selected else " ", Role.BRIGHT),
        *status.tag(show, look, calling),
        Span(" "),
        Span(fit(safe(alarm.machine_name), name, look.glyphs.ellipsis), Role.BRIGHT if calling else Role.TEXT),
        Span(" "),
        word,
        Span(" " * (8 - len(word.text))),
        Span(f" {number} {fit(figures.unit(alarm.unit, look.glyphs), 5)} ", Role.TEXT),
        Span(figures.age(alarm.since, now).rjust(4), Role.DIM),
        Span(f"  {fit(state_words(alarm), 24)}", Role.BRIGHT if calling else Role.DIM),
        Span(
            f"  {safe(alarm.priority)}  {safe(alarm.point_name)}, {safe(alarm.title)}{'  simulated' if alarm.sim else ''}",
            Role.DIM,
        ),
    ]
    if row_width(tuple(spans[:-1])) + 12 > width:
        del spans[-1]
    fitted = fit_row(spans, width, look.glyphs.ellipsis)
    return select(fitted) if selected else fitted


def below(alarm: AlarmView | None, now: Instant, look: Look, width: int) -> list[Row]:
    """Write the alarm selected in full, in two rows."""
    if alarm is None:
        return [
            fit_row([Span(" No alarm records: nothing is in alert or alarm, nothing waits.", Role.TEXT)], width),
            fit_row([], width),
        ]
    value = f"{figures.number(alarm.value)} {figures.unit(alarm.unit, look.glyphs)}".strip()
    what = f" {safe(alarm.machine_name)}, {safe(alarm.point_name)}: {safe(alarm.title)}"
    first = f"{what} {value}, limit {figures.number(alarm.limit)}" if alarm.value is not None else what
    origin = f" ({safe(alarm.origin, 120)})" if alarm.origin else ""
    second = (
        f" {alarm.severity}, {state_words(alarm)}, priority {safe(alarm.priority)}, raised {figures.stamp(alarm.raised_at)} UTC"
    )
    told = "" if alarm.annunciates else ", for the analyst: calls no operator"
    return [
        fit_row([Span(first, Role.BRIGHT), Span(origin, Role.DIM)], width, look.glyphs.ellipsis),
        fit_row([Span(second + told + (", simulated" if alarm.sim else ""), Role.TEXT)], width, look.glyphs.ellipsis),
    ]
