"""What several gateways say, in the order it comes, as what one daemon would say: snapshots, changes, and losses."""

from collections.abc import Sequence
from dataclasses import replace

from edgemon.board.picture import SILENT_AFTER
from edgemon.board.port import Lost, Update
from edgemon.board.view import site
from edgemon.board.view.site import Index, Part
from edgemon.model.command import Person
from edgemon.model.instant import Duration
from edgemon.model.snapshot import Change, Snapshot


class Merging:
    """The one mutable thing behind a board of several gateways; time is an argument, in monotonic seconds.

    Parameters
    ----------
    labels : sequence of str
        What was attached to, in the order in which the gateways' machines stand.
    """

    def __init__(self, labels: Sequence[str]) -> None:
        self.parts: list[Part] = [Part(label) for label in labels]
        self.known: Index = site.index(self.parts)

    def take(self, place: int, said: Update, at: Duration, person: Person | None = None) -> Update | None:
        """Adopt what one gateway said; gives what is to be said of all of them: of machines only what moved."""
        if isinstance(said, Lost):
            return self._lose(place, said.why, is_silent=False)
        part = self.parts[place]
        if isinstance(said, Snapshot):
            self.parts[place] = part.heard(said, at, person)
            return self._anew()
        if part.gateway is None or (part.lost is not None and not part.is_silent):
            return None  # only a snapshot tells what was missed
        is_new = any(one.id not in part.machines for one in said.machines)
        is_new = is_new or any(one.id not in part.sensors for one in said.sensors)
        self.parts[place] = replace(part.changed(said, at), lost=None, is_silent=False)
        if is_new or part.is_silent:
            return self._anew()
        return Change(
            site.gateway(self.parts, self.known),
            site.shown_machines(said.machines, self.parts, self.known, place),
            site.shown_sensors(said.sensors, self.known, place),
        )

    def silent(self, at: Duration) -> list[Update]:
        """Lose whoever has not been heard for too long; gives what is to be said of it."""
        late = [place for place, part in enumerate(self.parts) if part.lost is None and at - part.heard_at > SILENT_AFTER]
        why = f"silent for more than {SILENT_AFTER:g} s"
        return [said for place in late if (said := self._lose(place, why, is_silent=True)) is not None]

    def _anew(self) -> Snapshot:
        self.known = site.index(self.parts)
        return site.snapshot(self.parts, self.known)

    def _lose(self, place: int, why: str, *, is_silent: bool) -> Update | None:
        part = self.parts[place]
        is_news = part.lost is None
        self.parts[place] = replace(part, lost=why, is_silent=is_silent)
        if all(part.lost is not None for part in self.parts):
            told = (f"{name}: {part.lost}" for name, part in zip(self.known.names, self.parts, strict=True))
            return Lost("; ".join(told))
        machines = site.machines_of(self.parts, self.known, place) if is_news else ()
        return Change(site.gateway(self.parts, self.known), machines)
