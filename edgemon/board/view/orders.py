"""What a person may order about an alarm besides acknowledging it, and the question that comes before."""

from dataclasses import dataclass, field
from enum import Enum

from edgemon.board.theme import Look, Role
from edgemon.board.view import figures, status
from edgemon.board.view.cells import Row, Span, fit_row, safe
from edgemon.board.view.draft import Written, keys
from edgemon.model.command import Person
from edgemon.model.command import Role as PersonRole
from edgemon.model.instant import Duration, Instant
from edgemon.model.snapshot import AlarmView

REASON_LENGTH = 80
DURATIONS_MIN = (15, 30, 60, 120, 240, 480, 720)
"""Offered for a shelf, as far as the alarm allows; its longest is offered besides."""


class Order(Enum):
    """What is ordered: as asked, as answered, and whether a reason and a duration belong to it."""

    SHELVE = ("Shelve this alarm?", "Shelved", True)
    UNSHELVE = ("End the shelf of this alarm now?", "No longer shelved", False)
    RESET = ("Reset this alarm? Its condition is gone.", "Reset", False)
    REMOVE = ("Take this alarm out of service?", "Out of service", True)
    RETURN = ("Return this alarm to service?", "In service again", False)

    def __init__(self, asks: str, done: str, reasoned: bool) -> None:
        self.asks, self.done, self.reasoned = asks, done, reasoned


@dataclass(frozen=True, slots=True)
class Draft(Written):
    """An order about an alarm while it is being written."""

    order: Order
    alarm: AlarmView
    person: Person
    length: int = field(default=1, kw_only=True)

    @property
    def durations_s(self) -> tuple[Duration, ...]:
        """Give the durations offered for a shelf."""
        longest = self.alarm.max_shelve_s
        return (*(60.0 * minutes for minutes in DURATIONS_MIN if 60.0 * minutes < longest), longest)

    @property
    def is_reasoned(self) -> bool:
        """Say whether a reason belongs to it."""
        return self.order.reasoned


def hiding(alarm: AlarmView) -> Order | str:
    """Give the order behind the key that shelves and ends a shelf, or why there is none."""
    match alarm.alarm_state:
        case "SHLVD":
            return Order.UNSHELVE
        case "DSUPR":
            return "It is suppressed by design while its machine does not run."
        case "OOSRV":
            return "It is out of service already."
        case _:
            return Order.SHELVE if alarm.max_shelve_s > 0.0 else "It may not be shelved."


def service(alarm: AlarmView, person: Person) -> Order | str:
    """Give the order behind the key that takes out of service and puts back, or why there is none."""
    if person.role is not PersonRole.ENGINEER:
        return f"You are {person.name} ({person.role}): out of service and back takes the engineer role."
    return Order.RETURN if alarm.alarm_state == "OOSRV" else Order.REMOVE


def resetting(alarm: AlarmView) -> Order | str:
    """Give the order behind the key that resets, or why there is none."""
    match alarm.alarm_state:
        case "LATAK":
            return Order.RESET
        case "LATUN":
            return "Acknowledge it first (a), then reset it."
        case _:
            return "Only a latched alarm whose condition is gone is reset."


def question(draft: Draft, now: Instant, look: Look, width: int) -> list[Row]:
    """Write the question: which alarm, who orders, for how long, and why."""
    alarm, person = draft.alarm, draft.person
    mark = status.tag(status.of_alarm(alarm), look, calling=False)
    lines = [
        [Span(f" {draft.order.asks}", Role.BRIGHT)],
        [],
        [Span(" "), *mark, Span(safe(alarm.machine_name), Role.BRIGHT), Span("  "), Span(alarm.severity, mark[0].role)],
        [Span(f"    {safe(alarm.point_name)}: {safe(alarm.title)}{', simulated' if alarm.sim else ''}")],
        [Span(f" as {safe(person.name)} ({person.role}) at {safe(person.station)}")],
        [],
    ]
    if draft.order is Order.SHELVE:
        until = figures.stamp(now + draft.duration_s)
        chosen = f" for {figures.spoken(draft.duration_s)}, until {until} UTC"
        lines.append([Span(chosen, Role.BRIGHT), Span("   left, right: change", Role.DIM)])
    if draft.is_reasoned:
        room = max(8, width - 12)
        lines.append([Span(" because ", Role.TEXT), Span(f"{draft.reason[-room:]}_", Role.BRIGHT)])
    lines += [[], keys(draft, "yes", "no, change nothing")]
    return [fit_row(spans, width, look.glyphs.ellipsis) for spans in lines]
