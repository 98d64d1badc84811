"""The chain of the journal: each entry carries a hash over itself and the hash before it, so that a change can be noticed.

The hash of an entry is SHA-256 (FIPS 180-4) over 32 bytes, the hash before it (zeros for the first of the chain), and one JSON
array without white space, ASCII only: seq, recorded_at, at, kind, machine, point, sim (0 or 1), body. Times are written as the
shortest decimal that reads back as the same float, as Python does; body is the text of the document as it is stored.

What a chain can show, and what not: an entry that was changed, taken out, put in or exchanged no longer fits. Whoever may write
the file may compute the chain anew from there on, or cut off its end; that shows only against a hash that was kept elsewhere.
So the gateway publishes the hash of each entry with the entry, and the newest one in its own state.
"""

import hashlib
import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from edgemon.model.event import Event, JournalEntry
from edgemon.model.instant import Instant
from edgemon.store.wire import Row, event_row

GENESIS = bytes(32)
"""Stands for the hash before the first entry of the chain."""
CHAINED_FROM = "SELECT value FROM meta WHERE key = 'journal_chained_from'"
CHAINED_ROWS = """SELECT seq, recorded_at, at, kind, machine, point, sim, body, hash FROM journal
    WHERE seq > ? AND seq <= ? ORDER BY seq LIMIT ?"""
CUT = "SELECT seq, hash FROM journal_cut"
_AS_TEXT = json.JSONEncoder(separators=(",", ":")).encode
_TOLD = 20
"""Breaks told one by one; the others are counted. House choice."""


def link(previous: bytes, row: Row) -> bytes:
    """Give the hash of a row `seq, recorded_at, at, kind, machine, point, sim, body`, with the hash before it."""
    seq, recorded_at, at, kind, machine, point, sim, body = row
    # SQLite keeps no negative zero: plus 0.0 makes it the positive one
    fields = (seq, float(recorded_at) + 0.0, float(at) + 0.0, kind, machine, point, int(sim), body)
    return hashlib.sha256(previous + _AS_TEXT(fields).encode("ascii")).digest()


def numbered(
    first: int, previous: bytes, recorded_at: Instant, events: Iterable[Event]
) -> tuple[tuple[JournalEntry, ...], list[Row]]:
    """Give events as journal entries from number `first` on, and their rows with the hash at the end."""
    entries, rows = [], []
    for seq, event in enumerate(events, first):
        row = event_row(seq, recorded_at, event)
        previous = link(previous, row)
        entries.append(JournalEntry(seq, recorded_at, event, previous.hex()))
        rows.append((*row, previous))
    return tuple(entries), rows


@dataclass(frozen=True, slots=True)
class Break:
    """A place where the journal is not as it was written."""

    seq: int
    what: str


@dataclass(frozen=True, slots=True)
class Verdict:
    """What became of looking through a journal."""

    entries: int
    chained_from: int
    """The first entry that the chain covers; those before it were written by an older version and carry no hash."""
    unchained: int
    newest_seq: int
    newest_hash: str
    """Hex; empty where nothing is chained yet."""
    breaks: tuple[Break, ...]
    """The first ones, by seq."""
    break_count: int
    cut_seq: int = 0
    """Entries up to this one were older than the journal's age and went, but for those still needed."""
    unproven: int = 0
    """Of those the ones that are still there: the chain no longer covers them."""

    @property
    def is_whole(self) -> bool:
        """Say whether nothing is broken."""
        return self.break_count == 0


@dataclass(slots=True)
class Audit:
    """Looks through a journal, entry by entry from the first on.

    Parameters
    ----------
    chained_from : int
        The first entry that must carry a hash.
    checkpoints : mapping of int to str
        Hashes (hex) that were noted elsewhere, by seq.
    cut_seq, cut_hash : int and bytes
        The newest entry that went by age, and its hash: the chain goes on from it.
    """

    chained_from: int
    checkpoints: Mapping[int, str] = field(default_factory=dict)
    cut_seq: int = 0
    cut_hash: bytes | None = None
    entries: int = 0
    unchained: int = 0
    _unproven: int = 0
    _previous: bytes = GENESIS
    _newest: int = 0
    _breaks: list[Break] = field(default_factory=list)
    _count: int = 0

    def __post_init__(self) -> None:
        """Begin behind what went by age."""
        self._newest = self.cut_seq
        self._previous = self.cut_hash or GENESIS
        if self.cut_seq:
            self._against_checkpoint(self.cut_seq, self.cut_hash)

    def look(self, row: Row) -> None:
        """Look at the next row: `seq, recorded_at, at, kind, machine, point, sim, body, hash`."""
        seq, found = int(row[0]), row[8]
        if seq <= self.cut_seq:
            self.entries, self._unproven = self.entries + 1, self._unproven + 1
            self._against_checkpoint(seq, found)
            return
        self._missing(seq)
        self.entries += 1
        self._newest = seq
        if seq < self.chained_from:
            self.unchained += 1
        elif found is None:
            self._broken(seq, "carries no hash")
            self._previous = GENESIS
        else:
            if not self._fits(found, row[:8]):
                self._broken(seq, "does not fit the hash it carries: changed, exchanged or put in")
            self._previous = found  # goes on from what is written, so that one change is one break
        self._against_checkpoint(seq, found)

    def end(self, last_seq: int) -> Verdict:
        """Say what became of it; `last_seq` is the highest number ever given, by the database's own count."""
        self._missing(last_seq + 1, " at the end")
        for seq in sorted(seq for seq in self.checkpoints if seq > max(last_seq, self._newest)):
            self._broken(seq, "is missing: it was noted elsewhere, the journal ends before it")
        newest_hash = "" if self._newest < self.chained_from else self._previous.hex()
        first = tuple(sorted(self._breaks, key=lambda one: one.seq)[:_TOLD])
        known = (self.entries, self.chained_from, self.unchained, self._newest, newest_hash, first, self._count)
        return Verdict(*known, self.cut_seq, self._unproven)

    def _fits(self, found: bytes, row: Row) -> bool:
        try:
            return link(self._previous, row) == found
        except (TypeError, ValueError):  # a column that holds something else than the house ever writes there
            return False

    def _missing(self, seq: int, where: str = "") -> None:
        gap = seq - self._newest - 1
        if gap == 1:
            self._broken(self._newest + 1, f"is missing{where}")
        elif gap > 1:
            self._broken(self._newest + 1, f"and all up to {seq - 1} are missing{where}")

    def _against_checkpoint(self, seq: int, found: bytes | None) -> None:
        noted = self.checkpoints.get(seq)
        if noted is not None and (found is None or found.hex() != noted.lower()):
            self._broken(seq, "carries another hash than the one noted elsewhere: the journal was written anew")

    def _broken(self, seq: int, what: str) -> None:
        self._count += 1
        if len(self._breaks) < _TOLD:
            self._breaks.append(Break(seq, what))
