"""An order while it is being written: what is chosen of what is offered, for how long, and why."""

from dataclasses import dataclass, replace
from typing import Self

from edgemon.board.theme import Role
from edgemon.board.view.cells import Span
from edgemon.model.instant import Duration


@dataclass(frozen=True, slots=True, kw_only=True)
class Written:
    """What all such orders have; one with something to choose, or without a reason, says so."""

    choice: int = 0
    length: int = 2
    reason: str = ""

    @property
    def offered(self) -> int:
        """Give how many there are to choose from."""
        return 1

    @property
    def durations_s(self) -> tuple[Duration, ...]:
        """Give the durations offered, the shortest first."""
        raise NotImplementedError

    @property
    def duration_s(self) -> Duration:
        """Give the duration chosen."""
        return self.durations_s[min(self.length, len(self.durations_s) - 1)]

    @property
    def is_reasoned(self) -> bool:
        """Say whether a reason belongs to it."""
        return True

    @property
    def lacks(self) -> str:
        """Say what is still missing; empty where nothing is."""
        return "write a reason first" if self.is_reasoned and not self.reason.strip() else ""

    def because(self, reason: str) -> Self:
        """Give another reason, where one is asked for."""
        return replace(self, reason=reason) if self.is_reasoned else self

    def other(self, by: int) -> Self:
        """Choose another of what is offered."""
        return replace(self, choice=max(0, min(self.choice + by, self.offered - 1)))

    def longer(self, by: int) -> Self:
        """Choose a longer or shorter time."""
        return replace(self, length=max(0, min(self.length + by, len(self.durations_s) - 1)))


def keys(draft: Written, yes: str, no: str) -> list[Span]:
    """Name the keys that answer; instead of the yes what is still missing."""
    if draft.lacks:
        say = [Span(f" {draft.lacks}     ", Role.DIM)]
    else:
        say = [Span(" enter", Role.BRIGHT), Span(f" {yes}     ", Role.DIM)]
    return [*say, Span("esc", Role.BRIGHT), Span(f" {no}", Role.DIM)]
