"""The question before a fast collection: how often, for how long, why, and what it costs; and the line while one is on."""

from collections.abc import Sequence
from dataclasses import dataclass

from edgemon.board.theme import Look, Role
from edgemon.board.view import figures
from edgemon.board.view.cells import Row, Span, fit_row, safe
from edgemon.board.view.draft import Written, keys
from edgemon.errors import ParameterError
from edgemon.model.collection import CollectionView, check, how_to_command
from edgemon.model.command import Person
from edgemon.model.command import Role as PersonRole
from edgemon.model.instant import Duration, Instant

DURATIONS_S: tuple[Duration, ...] = (900.0, 3600.0, 7200.0, 8 * 3600.0, 86_400.0, 7 * 86_400.0)
"""Offered; the longest is the longest there may be."""
PARTS = (10, 5, 2)
"""The routine interval is offered divided by these, as far as a capture fits."""


@dataclass(frozen=True, slots=True)
class FastDraft(Written):
    """A fast collection while it is being written."""

    where: str
    sensor: str
    shown: CollectionView
    person: Person

    @property
    def interval_s(self) -> Duration:
        """Give the interval chosen."""
        return intervals(self.shown)[self.choice]

    @property
    def duration_s(self) -> Duration:
        """Give the duration chosen; never shorter than one interval."""
        return max(DURATIONS_S[self.length], self.interval_s)

    @property
    def offered(self) -> int:
        """Give how many intervals there are to choose from."""
        return len(intervals(self.shown))

    @property
    def durations_s(self) -> tuple[Duration, ...]:
        """Give the durations offered."""
        return DURATIONS_S


def intervals(shown: CollectionView) -> tuple[Duration, ...]:
    """Give the intervals that are offered, the shortest first; none where a capture fits into none."""
    return tuple(every for part in PARTS if _may_be(shown, every := shown.interval_s / part))


def _may_be(shown: CollectionView, every: Duration) -> bool:
    try:
        check(shown.interval_s, shown.takes_s, every, max(DURATIONS_S[-1], every))
    except ParameterError:
        return False
    return True


def forbidden(person: Person, sensor: str, shown: CollectionView | None) -> str:
    """Say why somebody may not begin or end a fast collection here; empty if they may."""
    if person.role is not PersonRole.ENGINEER:
        return f"You are {safe(person.name)} ({person.role}): fast collection takes the engineer role."
    if shown is None:
        return f"Not commanded: {how_to_command(safe(sensor))}."
    return "" if shown.fast is not None or intervals(shown) else "Its routine is as fast as its captures are long."


def question(draft: FastDraft, now: Instant, look: Look, width: int) -> Sequence[Row]:
    """Write the question, its cost before the order."""
    person, shown, until = draft.person, draft.shown, figures.stamp(now + draft.duration_s)
    every = f" every {draft.interval_s:g} s instead of {shown.interval_s:g} s"
    lines = [
        [Span(f" Collect faster at {draft.where}, sensor {safe(draft.sensor)}?", Role.BRIGHT)],
        [Span(" Its routine is in force again at the end; what is expected of it stays the same.", Role.DIM)],
        [],
        [Span(every, Role.BRIGHT), Span("   up, down: change", Role.DIM)],
        [
            Span(f" for {figures.spoken(draft.duration_s)}, until {until} UTC", Role.BRIGHT),
            Span("   left, right: change", Role.DIM),
        ],
        [Span(f" cost: {shown.cost(draft.interval_s, draft.duration_s)}", Role.BRIGHT)],
        [Span(" because "), Span(f"{draft.reason[-max(8, width - 12) :]}_", Role.BRIGHT)],
        [Span(f" as {safe(person.name)} ({person.role}) at {safe(person.station)}")],
        [],
        keys(draft, "begin", "no, begin nothing"),
    ]
    return [fit_row(spans, width, look.glyphs.ellipsis) for spans in lines]


def on_words(shown: CollectionView | None) -> str:
    """Say what is on; empty where nothing is."""
    fast = None if shown is None else shown.fast
    if fast is None:
        return ""
    return f"fast collection: every {fast.interval_s:g} s until {figures.stamp(fast.until)} UTC, by {safe(fast.by)}"
