"""The alarm list: what is for the operator, what for the analyst, what a person has hidden; what is suppressed only in sum."""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from edgemon.board.theme import Look, Role
from edgemon.board.view import figures, status
from edgemon.board.view.cells import Row, Span, blank, fit, fit_row, row_width, safe, select, sides, width_of, wrap
from edgemon.model.alarm import STORAGE
from edgemon.model.instant import Instant
from edgemon.model.machine import GATEWAY
from edgemon.model.snapshot import AlarmView, MachineView

SUPPRESSED = "suppressed by design"
HIDDEN = ("SHLVD", "OOSRV")
"""States into which only people bring an alarm."""
BELOW = 3
"""Rows at least that tell of the alarm selected."""

_LABEL = 15
"""Cells of the widest label, `out of service`."""
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
_ADVICE = {
    "UNACK": "Acknowledge it (a), then see to the machine.",
    "ACKED": "Noticed; it stands until the level is back within its limit.",
    "RTNUN": "Back within its limit before anyone noticed: look at its trend, acknowledge it (a).",
    "LATUN": "Back within its limit, but held: see to the machine, acknowledge it (a), have it reset.",
    "LATAK": "Back within its limit, but held until it is reset.",
    "SHLVD": "Hidden for a limited time; it comes back by itself.",
    "DSUPR": "Nothing: suppressed by design, for the reason shown.",
    "OOSRV": "Hidden until an engineer returns it to service.",
}


@dataclass(frozen=True, slots=True)
class Section:
    """Alarms that are one person's business."""

    title: str
    alarms: tuple[AlarmView, ...]


def sections(machines: Iterable[MachineView], own: Iterable[AlarmView] = ()) -> tuple[Section, ...]:
    """Set all alarms, and the gateway's own, apart by whose business they are; what is suppressed by design is left out."""
    alarms = sorted((*own, *(one for machine in machines for point in machine.points for one in point.alarms)), key=_order)
    hidden = tuple(one for one in alarms if one.alarm_state in HIDDEN)
    seen = [one for one in alarms if one.alarm_state not in HIDDEN and not status.is_suppressed(one)]
    found = (
        Section("For the operator", tuple(one for one in seen if one.annunciates)),
        Section("For the analyst: calls no operator", tuple(one for one in seen if not one.annunciates)),
        Section("Hidden by a person", hidden),
    )
    return tuple(section for section in found if section.alarms)


def listed(machines: Iterable[MachineView], own: Iterable[AlarmView] = ()) -> list[AlarmView]:
    """Give all alarms of all sections: those that call first, then by severity and priority, the newest first."""
    return [alarm for section in sections(machines, own) for alarm in section.alarms]


def suppressed(machines: Iterable[MachineView]) -> Counter[str]:
    """Count the records suppressed by design, by the name of their machine."""
    alarms = (one for machine in machines for point in machine.points for one in point.alarms)
    return Counter(one.machine_name for one in alarms if status.is_suppressed(one))


def _order(alarm: AlarmView) -> tuple[bool, bool, bool, bool, int, float, str]:
    return (
        not status.calls(alarm),
        not status.waits(alarm),
        alarm.proof,
        alarm.severity != "alarm",
        _PRIORITY.get(alarm.priority, 3),
        -alarm.raised_at,
        alarm.id,
    )


def state_words(alarm: AlarmView) -> str:
    """Write the alarm state in words."""
    words = _WORDS.get(alarm.alarm_state, safe(alarm.alarm_state))
    return f"PROOF, {words}" if alarm.proof else words


def _listed_state(alarm: AlarmView) -> str:
    """Write the alarm state as the list has room for it: the mark of a proof is never cut off."""
    return f"PROOF {safe(alarm.alarm_state)}" if alarm.proof else state_words(alarm)


def advice(alarm: AlarmView) -> str:
    """Say what is to do about an alarm."""
    if alarm.proof:
        first = "Acknowledge it (a): that belongs to the proof. " if status.wants_acknowledgement(alarm) else ""
        return f"A TEST, no real alarm. {first}Do nothing to the machine for its sake."
    if alarm.machine == GATEWAY.machine and alarm.alarm_state in ("UNACK", "ACKED"):
        if alarm.level == STORAGE:
            first = "Acknowledge it (a), then look" if status.calls(alarm) else "Look"
            return f"{first} at the gateway's disk. Machines are watched; what comes waits at the broker."
        first = "Acknowledge it (a); nothing" if status.calls(alarm) else "Nothing"
        return f"{first} at this gateway is watched now: look at radio base, broker, network and gateway."
    if status.of_alarm(alarm).value == "no-data":
        return f"{'Acknowledge it (a), then look' if status.calls(alarm) else 'Look'} at the sensor, its battery and its link."
    if alarm.alarm_state in ("UNACK", "RTNUN") and not alarm.annunciates:
        return "For the analyst: look at its trend and its spectrum."
    return _ADVICE.get(alarm.alarm_state, "")


def named(alarm: AlarmView) -> str:
    """Name an alarm in full."""
    return f"{safe(alarm.machine_name)}, {safe(alarm.point_name)}, {safe(alarm.title)}"


def machine_of(alarm: AlarmView) -> str:
    """Give whose gateway an alarm belongs to: its machine as shown, or the gateway itself."""
    return alarm.id.partition("/")[0]


def in_brief(alarm: AlarmView) -> str:
    """Name an alarm of a known machine."""
    return f"{safe(alarm.point_name)} {safe(alarm.title)} {alarm.severity}"


def in_short(alarm: AlarmView, now: Instant) -> str:
    """Name an alarm of a known machine and say how it stands."""
    return f"{in_brief(alarm)}, {state_words(alarm)} for {figures.age(alarm.since, now)}"


_NUMBERS = 2 * figures.NUMBER + 31
"""Cells of a row beside those of its names: marks, word, numbers, unit, age, and what is between."""


@dataclass(frozen=True, slots=True)
class Columns:
    """Widths of the columns that the data decides, in cells."""

    name: int
    state: int
    first: int = 0
    """Kept free in every row for the mark of the first of a machine's alarms; none where a name would be cut for it."""

    @classmethod
    def of(cls, alarms: Sequence[AlarmView], width: int = 0) -> "Columns":
        """Give each column what its longest entry takes."""
        name = max((width_of(safe(alarm.machine_name)) for alarm in alarms), default=12)
        state = max((len(_listed_state(alarm)) for alarm in alarms), default=5)
        first = max((len(alarm.first_out) + 1 for alarm in alarms if alarm.first_out), default=0)
        longest = max((width_of(f"{safe(alarm.point_name)} {safe(alarm.title)}") for alarm in alarms), default=0)
        taken = _NUMBERS + name + state + first + longest
        return cls(name, state, first if taken <= width else 0)


def heading(width: int, cols: Columns, look: Look) -> Row:
    """Write the head of the list."""
    numbers = f"{'value'.rjust(figures.NUMBER)} {'limit'.rjust(figures.NUMBER)}"
    left = f"     {fit('machine', cols.name)} {'':8} {numbers} {'':5} {'for':>4}  "
    left += fit("state", cols.state + cols.first)
    last = next((word for word in ("  point and level", "  point", "") if width_of(left + word) <= width), "")
    return fit_row([Span(left + last, Role.DIM)], width, " ")


def lines(machines: Sequence[MachineView], look: Look, width: int, own: Iterable[AlarmView] = ()) -> list[AlarmView | Row]:
    """Give every section under its title, and in sum what is suppressed; an alarm stands for its row, drawn when it is seen."""
    found: list[AlarmView | Row] = []
    for part in sections(machines, own):
        if found:
            found.append(blank(width))
        rule = look.glyphs.rule * max(0, width - width_of(part.title) - 2)
        found.append(fit_row([Span(f" {part.title} ", Role.BRIGHT), Span(rule, Role.RULE)], width))
        found.extend(part.alarms)
    names = ", ".join(f"{safe(name)} ({number})" for name, number in suppressed(machines).items())
    said = wrap(f"{SUPPRESSED.capitalize()}: {names}", max(10, width - 2)) if names else []
    if found and said:
        found.append(blank(width))
    return found + [fit_row([Span(f" {line}", Role.DIM)], width) for line in said]


def row(alarm: AlarmView, cols: Columns, now: Instant, look: Look, width: int, selected: bool) -> Row:
    """Write one alarm."""
    show = status.of_alarm(alarm)
    calling, waiting = status.calls(alarm), status.waits(alarm)
    word = status.word(show, unsure=False, short=True)
    bound = figures.limit(alarm.limit, alarm.side).rjust(figures.NUMBER)
    number = f"{figures.number(alarm.value).rjust(figures.NUMBER)} {bound}"
    spans = [
        Span(look.glyphs.cursor if selected else " ", Role.BRIGHT),
        *status.tag(show, look, calling),
        Span(" "),
        Span(fit(safe(alarm.machine_name), cols.name, look.glyphs.ellipsis), Role.BRIGHT if waiting else Role.TEXT),
        Span(" "),
        word,
        Span(" " * (8 - len(word.text))),
        Span(f" {number} {fit(figures.unit(alarm.unit, look.glyphs), 5)} ", Role.TEXT),
        Span(figures.age(alarm.since, now).rjust(4), Role.DIM),
        Span(f"  {fit(_listed_state(alarm), cols.state)}", Role.BRIGHT if waiting else Role.DIM),
        Span((f" {alarm.first_out}" if alarm.first_out else "").ljust(cols.first), Role.BRIGHT),
        Span(f"  {safe(alarm.point_name)} {safe(alarm.title)}", Role.DIM),
        Span("  simulated" if alarm.sim and look.mixed else "", Role.NO_DATA),
    ]
    if row_width(tuple(spans[:-2])) + 12 > width:
        del spans[-2:]
        if row_width(tuple(spans)) > width:  # it stands under the list, too
            del spans[-1]
    fitted = fit_row(spans, width, look.glyphs.ellipsis)
    return select(fitted) if selected else fitted


def below(alarm: AlarmView | None, now: Instant, look: Look, width: int, room: int = BELOW) -> list[Row]:
    """Write the alarm selected in full, and what is to do, in at most so many rows; what the operator is to do comes first."""
    if alarm is None:
        text = " No alarm calls and none waits: nothing is in alert or alarm."
        return [fit_row([Span(text, Role.TEXT)], width), *[blank(width)] * (BELOW - 1)]
    value = f"{figures.number(alarm.value)} {figures.unit(alarm.unit, look.glyphs)}".strip()
    what = f" {safe(alarm.machine_name)}, {safe(alarm.point_name)}: {safe(alarm.title)}"
    first = f"{what} {value}, limit {figures.limit(alarm.limit, alarm.side)}" if alarm.value is not None else what
    raised = f"priority {safe(alarm.priority)}, raised {figures.stamp(alarm.raised_at)} UTC"
    second = f" {alarm.severity}, {state_words(alarm)}, {raised}{', simulated' if alarm.sim else ''}"
    second += f", {alarm.first_out} of this machine's alarms" if alarm.first_out else ""
    urgent = Role.BRIGHT if status.waits(alarm) else Role.TEXT
    said = ((first.strip(), Role.BRIGHT), (second.strip(), Role.TEXT), (advice(alarm), urgent))
    told = [fit_row([Span(f" {line}", role)], width) for text, role in said for line in wrap(text, max(10, width - 2))]
    more = [row for label, text in written(alarm) for row in _labelled(label, text, width)]
    return _cut([*told, *more], max(room, len(told)), width, look)


def _cut(rows: list[Row], room: int, width: int, look: Look) -> list[Row]:
    """Keep what there is room for; that there is more is told at the end of the last row."""
    if len(rows) <= room:
        return rows
    return [*rows[: room - 1], sides(rows[room - 1], [Span(f" {look.glyphs.ellipsis} ", Role.BRIGHT)], width, ellipsis=" ")]


def written(alarm: AlarmView) -> list[tuple[str, str]]:
    """Give what the plant's people wrote about an alarm, and who hid it, each with its label; the most pressing first."""
    hidden, response = alarm.hidden, alarm.response
    said: list[tuple[str, str]] = []
    if hidden is not None:
        by = f"by {hidden.by}" if hidden.by else "by design"
        until = f", until {figures.stamp(hidden.until)} UTC" if hidden.until is not None else ""
        said.append((hidden.way.replace("-", " "), f"{by}{until}: {hidden.reason}"))
    if response is not None:
        within = f" Within {figures.spoken(response.within_s)}." if response.within_s is not None else ""
        said += [
            ("to do", f"{response.action}{within}"),
            ("limit from", alarm.origin),
            ("if not", response.consequence),
            ("causes", response.cause),
            ("look at", response.confirm),
        ]
    else:
        said.append(("limit from", alarm.origin))
    return [(label, safe(text.strip(), 400)) for label, text in said if text.strip()]


def _labelled(label: str, text: str, width: int) -> list[Row]:
    """Write a text beside its label, on as many rows as it takes."""
    lines = wrap(text, max(10, width - _LABEL - 2))
    heads = [f" {label}".ljust(_LABEL), *[" " * _LABEL] * (len(lines) - 1)]
    return [
        fit_row([Span(head, Role.DIM), Span(f" {line}", Role.TEXT)], width) for head, line in zip(heads, lines, strict=True)
    ]
