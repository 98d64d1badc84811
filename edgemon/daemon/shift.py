"""The shift log: what people write, the handover page, and who took over."""

from collections.abc import Awaitable, Callable

from edgemon.api.handover import frozen, handover
from edgemon.api.view import NO_POINTS, Points
from edgemon.clock import Clock
from edgemon.errors import ParameterError
from edgemon.model.command import Person
from edgemon.model.event import Event, JournalEntry
from edgemon.model.ids import MachineId
from edgemon.model.instant import Instant
from edgemon.model.shift import TEXT_LONGEST, HandoverView, LogKind, LogWritten, ShiftTaken
from edgemon.model.snapshot import Outcome, Snapshot
from edgemon.model.text import clean
from edgemon.store.port import Reader

FIRST_S = 12 * 3600.0
"""How far the page reaches back where nobody ever took over: one long shift."""
PAGES_KEPT = 32
"""Pages that somebody may be reading."""
_PAGE = 500
ENTRIES_MOST = 20_000
"""Journal entries looked through at most, the newest."""


class Shift:
    """Reads the journal for the page, and puts what people say into it."""

    def __init__(
        self,
        reader: Reader,
        clock: Clock,
        tell: Callable[[Event], Awaitable[None]],
        snapshot: Callable[[], Snapshot],
        points: Points = NO_POINTS,
    ) -> None:
        self._reader = reader
        self._clock = clock
        self._tell = tell
        self._snapshot = snapshot
        self._points = points
        self._read: dict[str, HandoverView] = {}

    async def write(self, person: Person, text: str, sort: LogKind, machine: MachineId | None, corrects: int | None) -> Outcome:
        """Write into the log. Raises `ParameterError` for an empty text, or an entry to correct that is none of the log."""
        said = clean(text.strip(), TEXT_LONGEST)
        if not said:
            raise ParameterError("nothing is written", "text", "say what happened")
        if (sort is LogKind.CORRECTION) is (corrects is None):
            raise ParameterError("a correction names the entry it is about, and nothing else does", "corrects")
        if corrects is not None:
            (entry, *_) = (*await self._reader.journal(1, before=corrects + 1), None)
            if entry is None or entry.seq != corrects or not isinstance(entry.event, LogWritten):
                raise ParameterError(f"entry {corrects} is not one of the shift log", "corrects")
        await self._tell(LogWritten(self._clock.now(), said, sort, person.name, person.station, machine, corrects))
        return Outcome(True)

    async def page(self) -> HandoverView:
        """Write the handover page as things are now; who takes over says which page was read."""
        since, taken_by, entries = await self._since()
        page = handover(self._snapshot(), entries, since, taken_by, self._points)
        self._read.pop(page.digest, None)
        self._read[page.digest] = page
        while len(self._read) > PAGES_KEPT:
            del self._read[next(iter(self._read))]
        return page

    async def take(self, person: Person, digest: str, note: str) -> Outcome:
        """Take over, having read the page of this digest; what happened after it was written stands on the next page."""
        page = self._read.get(digest)
        if page is None:
            return Outcome(False, "this page is not known any more: read it again")
        taken = ShiftTaken(
            self._clock.now(), person.name, person.station, digest, page.now, frozen(page), clean(note.strip(), TEXT_LONGEST)
        )
        await self._tell(taken)
        return Outcome(True)

    async def _since(self) -> tuple[Instant, str, list[JournalEntry]]:
        """Give the time of the page last taken over, who did, and what was journalled after it, oldest first."""
        begin, taken_by = self._clock.now() - FIRST_S, ""
        found: list[JournalEntry] = []
        before: int | None = None
        while len(found) < ENTRIES_MOST:
            entries = await self._reader.journal(_PAGE, before=before)
            for entry in entries:
                if isinstance(entry.event, ShiftTaken) and not taken_by:
                    begin, taken_by = entry.event.read_at, entry.event.by
                elif entry.recorded_at <= begin:
                    return begin, taken_by, found[::-1]
                else:
                    found.append(entry)
            if len(entries) < _PAGE:
                break
            before = entries[-1].seq
        return begin, taken_by, found[::-1]
