"""The strip under the plant: all of the machine selected that its row has no room for."""

from edgemon.board.theme import Look, Role
from edgemon.board.view import alarms, figures, plant, status
from edgemon.board.view.cells import Row, Span, blank, fit_row, row_width, safe, sides
from edgemon.board.view.lead import lead, trend, vibration
from edgemon.model.instant import Instant
from edgemon.model.snapshot import MachineView

HEIGHT = 4
"""Rows of the strip, its rule among them."""


def detail(machine: MachineView | None, hint: str, now: Instant, look: Look, width: int) -> tuple[Row, ...]:
    """Write the strip: a rule with a hint at its end, then who, what and why."""
    said = f" {hint} " if hint else ""
    rule = sides([Span(look.glyphs.rule * width, Role.RULE)], [Span(said, Role.DIM)], width, ellipsis=look.glyphs.rule)
    if machine is None:
        return rule, *(blank(width) for _ in range(HEIGHT - 1))
    return rule, _who(machine, now, look, width), _what(machine, look, width), _alarms(machine, now, look, width)


def _who(machine: MachineView, now: Instant, look: Look, width: int) -> Row:
    show = status.of_machine(machine)
    unsure = status.is_unsure(machine.state, machine.quality)
    left = [
        Span(" "),
        *status.tag(show, look, machine.unacknowledged, unsure),
        Span(safe(machine.name) + " ", Role.BRIGHT),
        status.word(show, unsure, short=False),
        Span("  " + plant.speed(machine), Role.DIM),
    ]
    old = figures.age(machine.t, now)
    return sides(
        left,
        [Span(f" data {old} old " if machine.t is not None else " never heard ", Role.DIM)],
        width,
        ellipsis=look.glyphs.ellipsis,
    )


def _what(machine: MachineView, look: Look, width: int) -> Row:
    worst = lead(machine)
    spans = [Span("     ")]
    if worst is None:
        spans.append(Span(plant.label(machine), Role.DIM))
    else:
        unit = figures.unit(worst.unit, look.glyphs)
        shown = figures.number(worst.value) if plant.is_known(machine) else "--"
        spans.append(Span(f"{plant.label(machine)} ", Role.DIM))
        spans.append(Span(f"{shown} {unit}".rstrip(), Role.TEXT))
        limits = f"  alert {figures.limit(worst.alert, worst.side)}  alarm {figures.limit(worst.alarm, worst.side)}"
        spans.append(Span("" if plant.why(machine) else limits, Role.DIM))
    reason = plant.why(machine)
    if reason:
        spans.append(Span(f"  {reason}", Role.NO_DATA))
    else:
        spans.extend(_beside_temperature(machine, look, width - row_width(tuple(spans))))
    room = width - row_width(tuple(spans)) - 2
    past = trend(machine)
    if room >= 8 and past:
        spans.append(Span("  " + figures.trend(past, min(room, 24), look.glyphs), plant.trend_role(machine)))
    return fit_row(spans, width, look.glyphs.ellipsis)


def _beside_temperature(machine: MachineView, look: Look, room: int) -> list[Span]:
    """Name the vibration level nearest its limit where the row shows a temperature, as far as there is room."""
    other = vibration(machine)
    if other is None:
        return []
    named = f"  {safe(other.point)} {safe(other.title)} "
    value = f"{figures.number(other.value)} {figures.unit(other.unit, look.glyphs)}"
    limits = f"  alert {figures.limit(other.alert, other.side)}  alarm {figures.limit(other.alarm, other.side)}"
    spans = [Span(named, Role.DIM), Span(value, Role.TEXT), Span(limits, Role.DIM)]
    return spans if row_width(tuple(spans)) <= room else spans[:2] if row_width(tuple(spans[:2])) <= room else []


def _alarms(machine: MachineView, now: Instant, look: Look, width: int) -> Row:
    listed = alarms.listed([machine])
    if not listed:
        said = alarms.SUPPRESSED if alarms.suppressed([machine]) else "no alarm records"
        return fit_row([Span(f"     {said}", Role.DIM)], width)
    more = f"  and {len(listed) - 1} more" if len(listed) > 1 else ""
    call = "to acknowledge (a): " if status.waits(listed[0]) else ""
    head, rest = Span(f"     {call}", Role.BRIGHT), Span(more, Role.DIM)
    words = [alarms.in_short(listed[0], now), *([alarms.in_brief(listed[0])] if call else [])]  # the call says how it stands
    rows = [(head, Span(one, Role.TEXT), rest) for one in words]
    return fit_row(next((row for row in rows if row_width(row) <= width), rows[-1]), width, look.glyphs.ellipsis)
