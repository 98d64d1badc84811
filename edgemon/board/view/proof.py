"""The question before a proof of alarms: of what, for how long, why, and what it means."""

from collections.abc import Sequence
from dataclasses import dataclass

from edgemon.board.theme import Look, Role
from edgemon.board.view import figures
from edgemon.board.view.cells import Row, Span, fit, fit_row, safe, width_of
from edgemon.board.view.draft import Written, keys
from edgemon.model.command import Person
from edgemon.model.command import Role as PersonRole
from edgemon.model.ids import AreaId, MachineId, PointId
from edgemon.model.instant import Duration, Instant
from edgemon.model.proof import ProofView, Scope
from edgemon.model.snapshot import AreaView, MachineView

DURATIONS_S: tuple[Duration, ...] = tuple(60.0 * minutes for minutes in (5, 15, 30, 60, 120, 240, 480))
"""Offered; the longest is the longest there may be."""
MEANING = (
    "Simulated data of these points then calls like real alarms (horn, beacon,",
    "boards, upstream), marked as a test. Announce it to the control room first.",
    "Real alarms call as ever, and come first.",
)
_SCOPE = 28
"""Cells for what is proven in the status line: who calls must have room beside it on 80 columns."""
BEGUN_BY_ENGINEERS = "a proof of alarms takes the engineer role."


@dataclass(frozen=True, slots=True)
class ProofDraft(Written):
    """A proof while it is being written."""

    choices: tuple[tuple[str, Scope], ...]
    """What it may be of, the narrowest first, each in words."""
    person: Person

    @property
    def scope(self) -> Scope:
        """Give what was chosen."""
        return self.choices[self.choice][1]

    @property
    def offered(self) -> int:
        """Give how much of the plant there is to choose from."""
        return len(self.choices)

    @property
    def durations_s(self) -> tuple[Duration, ...]:
        """Give the durations offered."""
        return DURATIONS_S


def choices(machine: MachineView | None, point: str, areas: Sequence[AreaView]) -> tuple[tuple[str, Scope], ...]:
    """Give what a proof may be of where somebody stands: the point, its machine, the area, the whole plant."""
    found: list[tuple[str, Scope]] = []
    if machine is not None:
        id_, name = MachineId(machine.id), safe(machine.name)
        found += [
            (f"{name}, {safe(one.name)}", Scope(None, id_, PointId(point))) for one in machine.points if one.point == point
        ]
        found.append((name, Scope(None, id_)))
        found += [(f"area {safe(area.name)}", Scope(AreaId(area.id))) for area in areas if area.id == machine.area]
    return (*found, ("the whole plant", Scope()))


def forbidden(person: Person) -> str:
    """Say why somebody may not begin or end a proof; empty if they may."""
    return "" if person.role is PersonRole.ENGINEER else f"You are {safe(person.name)} ({person.role}): {BEGUN_BY_ENGINEERS}"


def question(draft: ProofDraft, now: Instant, look: Look, width: int) -> list[Row]:
    """Write the question."""
    person, until = draft.person, figures.stamp(now + draft.duration_s)
    lines = [
        [Span(" Begin a proof of alarms?", Role.BRIGHT)],
        *([Span(f" {line}", Role.DIM)] for line in MEANING),
        [],
        [Span(f" of {draft.choices[draft.choice][0]}", Role.BRIGHT), Span("   up, down: change", Role.DIM)],
        [
            Span(f" for {figures.spoken(draft.duration_s)}, until {until} UTC", Role.BRIGHT),
            Span("   left, right: change", Role.DIM),
        ],
        [Span(" because "), Span(f"{draft.reason[-max(8, width - 12) :]}_", Role.BRIGHT)],
        [Span(f" as {safe(person.name)} ({person.role}) at {safe(person.station)}")],
        [],
        keys(draft, "begin", "no, begin nothing"),
    ]
    return [fit_row(spans, width, look.glyphs.ellipsis) for spans in lines]


def status_words(proof: ProofView, simulated: int, look: Look) -> str:
    """Say in the status line what is being proven, until when, and how many machines show simulated data."""
    begins = "" if proof.is_open else " announced:"
    scope = safe(proof.scope, 140)
    named = scope if width_of(scope) <= _SCOPE else fit(scope, _SCOPE, look.glyphs.ellipsis)
    return f"PROOF{begins} {named} until {figures.clock(proof.until)[:5]}" + (f", {simulated} simulated" if simulated else "")
