"""The plant screen: every machine at once, grouped by area or in order of severity."""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from edgemon.board.theme import PRECEDENCE, Look, Role, Show
from edgemon.board.view import figures, status
from edgemon.board.view.cells import Row, Span, fit, fit_row, safe, select, width_of
from edgemon.board.view.grid import COMPACT, FULL, MEDIUM, TALL, Form, Grid, Group, Heading, arrange
from edgemon.board.view.lead import lead, trend, vibration
from edgemon.model.instant import Instant
from edgemon.model.snapshot import AreaView, MachineView, WorstView

_MARK = 4
"""Cells of cursor and mark."""
_SHORT_WORD = 8
_LONG_WORD = 12
_VALUE = figures.NUMBER + 6
_AGE = 4


class Sort(StrEnum):
    """In which order machines stand."""

    AREA = "area"
    SEVERITY = "severity"


@dataclass(frozen=True, slots=True)
class Wish:
    """What the operator asked to see."""

    sort: Sort = Sort.AREA
    abnormal_only: bool = False
    search: str = ""

    @property
    def hides(self) -> bool:
        """Say whether some machines may be left out."""
        return self.abnormal_only or bool(self.search)


def chosen(machines: Sequence[MachineView], wish: Wish) -> tuple[MachineView, ...]:
    """Give the machines the operator asked to see."""
    sought = wish.search.casefold()
    return tuple(
        machine
        for machine in machines
        if (not sought or sought in safe(machine.name).casefold() or sought in machine.id)
        and (not wish.abnormal_only or status.is_notable(machine))
    )


def groups(machines: Sequence[MachineView], areas: Sequence[AreaView], wish: Wish) -> tuple[Group, ...]:
    """Set machines under their areas, in the plant file's order; or all in one, the most severe first."""
    if wish.sort is Sort.SEVERITY:
        ranked = sorted(machines, key=severity)
        return (Group("", "By severity", tuple(machine.id for machine in ranked)),) if ranked else ()
    titles = {area.id: safe(area.name) for area in areas}
    for machine in machines:
        titles.setdefault(machine.area, safe(machine.area))
    found = ((area, title, tuple(one.id for one in machines if one.area == area)) for area, title in titles.items())
    return tuple(Group(area, title, members) for area, title, members in found if members)


def severity(machine: MachineView) -> tuple[bool, int, float]:
    """Rank a machine: what calls first, then by state, then by how far beyond its limit."""
    ratio = machine.worst.ratio if machine.worst is not None else 0.0
    return not machine.unacknowledged, PRECEDENCE[status.of_machine(machine)], -ratio


def name_width(machines: Sequence[MachineView]) -> int:
    """Give the cells the longest name takes."""
    return max((width_of(safe(machine.name)) for machine in machines), default=12)


def layout(machines: Sequence[MachineView], areas: Sequence[AreaView], wish: Wish, width: int, height: int) -> Grid:
    """Arrange what the operator asked to see."""
    shown = chosen(machines, wish)
    return arrange(groups(shown, areas, wish), width, height, name_width(shown))


@dataclass(frozen=True, slots=True)
class Columns:
    """Widths of the columns within one machine's row, in cells; nought where the form has no such column."""

    name: int
    word: int
    bar: int
    value: int = 0
    label: int = 0
    trend: int = 0
    age: int = 0

    @property
    def before_bar(self) -> int:
        """Give the cells left of the bar."""
        return _MARK + self.name + 1 + self.word + 1


def columns(form: Form, width: int, name: int) -> Columns:
    """Share a row's width among its columns; the name gets all it needs before anything else gets more."""
    word = _SHORT_WORD if form in (COMPACT, MEDIUM) else _LONG_WORD
    name = max(4, min(name, width - _MARK - word - 2))
    rest = max(0, width - _MARK - name - word - 2)
    if form is COMPACT:
        return Columns(name, word, rest)
    if form is MEDIUM:
        trend = min(12, max(0, rest - _VALUE - _AGE - 2 - 20))
        return Columns(name, word, max(0, rest - _VALUE - _AGE - 2 - trend - bool(trend)), _VALUE, 0, trend, _AGE)
    if form is TALL:
        return Columns(name, word, max(0, rest - _VALUE - _AGE - 3), _VALUE, 0, 0, _AGE)
    spare = max(0, rest - _VALUE - _AGE - 7)
    label = min(30, spare // 2)
    trend = min(40, spare // 6)
    return Columns(name, word, spare - label - trend, _VALUE, label, trend, _AGE)


def heading(slot: Heading, cols: Columns, width: int, look: Look) -> Row:
    """Write the line above an area: its name, and which tick of the bars below is alert (1) and which alarm (2)."""
    title = f"{slot.title} (continued)" if slot.continued else slot.title
    start = cols.before_bar
    head = fit(f" {title} ", min(start, width_of(title) + 2), look.glyphs.ellipsis)
    line = look.glyphs.rule
    one, two = figures.ticks(cols.bar)
    if cols.bar <= 3:
        return fit_row([Span(head, Role.BRIGHT), Span(line * max(0, width - width_of(head)), Role.RULE)], width)
    spans = [
        Span(head, Role.BRIGHT),
        Span(line * max(0, start - width_of(head) + one), Role.RULE),
        Span("1", Role.DIM),
        Span(line * (two - one - 1), Role.RULE),
        Span("2", Role.DIM),
        Span(line * max(0, width - start - two - 1), Role.RULE),
    ]
    return fit_row(spans, width, look.glyphs.ellipsis)


def tile(
    machine: MachineView, form: Form, cols: Columns, width: int, now: Instant, look: Look, selected: bool
) -> tuple[Row, ...]:
    """Write one machine in one or two rows, each exactly `width` cells."""
    rows = [_first(machine, form, cols, now, look, selected)]
    if form.lines == 2:
        rows.append(_second(machine, cols, look))
    fitted = tuple(fit_row(row, width, look.glyphs.ellipsis) for row in rows)
    return tuple(select(row) for row in fitted) if selected else fitted


def is_known(machine: MachineView) -> bool:
    """Say whether the machine's numbers may be shown as the present ones."""
    return machine.quality != "stale" and machine.state != "unknown" and machine.worst is not None


def _first(machine: MachineView, form: Form, cols: Columns, now: Instant, look: Look, selected: bool) -> list[Span]:
    show = status.of_machine(machine)
    unsure = status.is_unsure(machine.state, machine.quality)
    word = status.word(show, unsure, cols.word == _SHORT_WORD)
    quiet = show in (Show.NORMAL, Show.STOPPED)
    spans = [
        Span(look.glyphs.cursor if selected else " ", Role.BRIGHT),
        *status.tag(show, look, machine.unacknowledged, unsure),
        Span(fit(safe(machine.name), cols.name, look.glyphs.ellipsis), Role.TEXT if quiet else Role.BRIGHT),
        Span("~" if machine.sim and look.mixed else " ", Role.NO_DATA),
        word,
        Span(" " * (cols.word + 1 - width_of(word.text))),
        *_bar(machine, cols.bar, word.role, look),
    ]
    if cols.value:
        spans.append(Span(" " + value(machine, look), _figure_role(machine, quiet)))
    if form is FULL:
        spans.append(Span("  " + fit(label(machine), cols.label, look.glyphs.ellipsis), Role.DIM))
    if cols.trend:
        gap = "  " if form is FULL else " "
        spans.append(Span(gap + figures.trend(trend(machine), cols.trend, look.glyphs), trend_role(machine)))
    if cols.age:
        gap = " " if form is MEDIUM else "  "
        spans.append(Span(gap + figures.age(machine.t, now).rjust(_AGE), _age_role(machine)))
    return spans


def _second(machine: MachineView, cols: Columns, look: Look) -> list[Span]:
    """Write the second row of a tall tile: what the bar shows or why there is nothing, the short trend, the speed.

    Where the bar shows a temperature, the vibration level nearest its limit stands in the speed's place.
    """
    reason = why(machine)
    turning = f"{machine.rpm:.0f} r/min" if machine.rpm is not None and is_known(machine) else ""
    shaking = vibration(machine) if is_known(machine) else None
    if shaking is not None:
        turning = _number(shaking, look)
    return [
        Span(" " * _MARK),
        Span(
            fit(reason or label(machine), cols.name + 1 + cols.word, look.glyphs.ellipsis), Role.NO_DATA if reason else Role.DIM
        ),
        Span(" "),
        Span(figures.trend(trend(machine), cols.bar, look.glyphs), trend_role(machine)),
        Span(f" {turning.rjust(_VALUE)}", Role.DIM),
    ]


def _bar(machine: MachineView, width: int, role: Role, look: Look) -> list[Span]:
    worst = lead(machine)
    if width <= 0:
        return []
    known = worst is not None and is_known(machine)
    at = figures.place(worst.value, worst.alert, worst.alarm, worst.side) if worst is not None and known else None
    limits = (worst.alert is not None, worst.alarm is not None) if worst is not None else (True, True)
    filled, track = figures.bar(at, width, look.glyphs, limits)
    return [Span(filled, Role.TEXT if role is Role.DIM and machine.state == "normal" else role), Span(track, Role.RULE)]


def value(machine: MachineView, look: Look) -> str:
    """Write the value of the level shown, with its unit, right-aligned number, `_VALUE` cells; `--` where it is not known."""
    worst = lead(machine)
    if worst is None or not is_known(machine):
        return fit("--".rjust(figures.NUMBER), _VALUE)
    return _number(worst, look)


def _number(level: WorstView, look: Look) -> str:
    return f"{figures.number(level.value).rjust(figures.NUMBER)} {fit(figures.unit(level.unit, look.glyphs), 5)}"


def label(machine: MachineView) -> str:
    """Name the point and level the bar stands for."""
    worst = lead(machine)
    if worst is not None:
        return f"{safe(worst.point)} {safe(worst.title)}"
    return "no level with a limit" if machine.state == "normal" else ""


def why(machine: MachineView) -> str:
    """Say why the data is not good; empty where it is."""
    return "" if machine.quality == "good" else safe(", ".join(reason.replace("-", " ") for reason in machine.reasons))


def speed(machine: MachineView) -> str:
    """Say what the machine is and how fast it turns."""
    turning = f"{machine.rpm:.0f} r/min" if machine.rpm is not None and is_known(machine) else ""
    return ", ".join(filter(None, (safe(machine.kind), turning, "simulated" if machine.sim else "")))


def _figure_role(machine: MachineView, quiet: bool) -> Role:
    if machine.state == "not-running" and machine.quality == "good":
        return Role.DIM
    return Role.NO_DATA if not is_known(machine) else Role.TEXT if quiet else Role.BRIGHT


def trend_role(machine: MachineView) -> Role:
    """Give the ink of a short trend: never a hue, for what is past is no state."""
    return Role.TEXT if machine.state in ("alert", "alarm") else Role.DIM


def _age_role(machine: MachineView) -> Role:
    return Role.DIM if machine.quality == "good" else Role.NO_DATA
