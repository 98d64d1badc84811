"""What all screens share: the daemon, the clock, the picture, how to draw, who sits here, and what was last said to them."""

from dataclasses import dataclass, replace

from edgemon.board.picture import Picture
from edgemon.board.port import Source
from edgemon.board.theme import Look, Paint, Role
from edgemon.board.view.banner import CAUTION, Summary, summary
from edgemon.board.view.cells import safe
from edgemon.board.view.site import SiteView
from edgemon.clock import Clock
from edgemon.model.command import Person
from edgemon.model.command import Role as PersonRole
from edgemon.model.instant import Duration

MESSAGE_FOR: Duration = 10.0
"""Seconds for which a message stands in the footer."""


LONGEST = 400
"""Characters of a message; part of it may have come from the daemon."""


@dataclass
class Desk:
    """The place an operator sits at."""

    source: Source
    clock: Clock
    palette: dict[Role, Paint]
    look: Look
    picture: Picture
    person: Person | None = None
    message: str = ""
    selected: str = ""
    """Machine selected on the plant screen."""
    hidden: str = ""
    """The alarm that was last shelved or taken out of service from here: what an undo is about."""

    def __post_init__(self) -> None:
        """Begin with the caution."""
        self._message_until = 0.0
        self._summary: tuple[int, Summary] | None = None
        self.say(f"{CAUTION} Keep protection independent of it.")

    def say(self, message: str) -> None:
        """Put a message into the footer for a while."""
        self.message = safe(message, LONGEST)
        self._message_until = self.clock.elapsed() + MESSAGE_FOR

    def beat(self) -> bool:
        """Let half a second pass: turn the flash, drop an old message, adopt changes; says whether a machine changed."""
        total = self.summary()
        phase = self.look.phase if self.look.still else not self.look.phase
        self.look = replace(self.look, phase=phase, mixed=0 < total.simulated < total.machines)
        if self.message and self.clock.elapsed() >= self._message_until:
            self.message = ""
        return self.picture.drain(self.clock.elapsed())

    def summary(self) -> Summary:
        """Sum up all machines, once per change."""
        if self._summary is None or self._summary[0] != self.picture.revision:
            self._summary = self.picture.revision, summary(self.picture.machines, self.picture.own_alarms)
        return self._summary[1]

    def person_at(self, machine: str = "") -> Person | None:
        """Say who sits here for the gateway of a machine; without one, for an order that goes to every gateway."""
        gateway = self.picture.gateway
        return gateway.person_at(machine) if isinstance(gateway, SiteView) else self.person

    def forbidden(self, machine: str = "") -> str:
        """Say why this person may not order anything about a machine, or at all, now; empty if they may."""
        gateway, person = self.picture.gateway, self.person_at(machine)
        lost = self.picture.lost or (gateway.lost_at(machine) if isinstance(gateway, SiteView) else "")
        if lost:
            return f"Nothing can be ordered: {lost}."
        if person is None:
            return "Nothing can be ordered: the daemon has not said who you are."
        if person.role is PersonRole.VIEWER:
            where = f" at {person.station}" if isinstance(gateway, SiteView) else ""
            return f"You are {person.name} (viewer){where}: orders take the operator or the engineer role."
        return ""
