"""A damaged store is set aside, and what can be saved of it goes into a new one, before anybody writes again.

The new database is made beside the damaged one and takes its name only when it is whole: a crash at any instant leaves the
damaged one, or the new one, and never neither. Sample files stay where they are; captures whose samples are gone are left out.
"""

import os
import sqlite3
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from edgemon.errors import StoreFull
from edgemon.model.instant import Instant, format_instant
from edgemon.store.backup import nobody_writes, sync_folder
from edgemon.store.faults import translated
from edgemon.store.graft import clear, grafted, open_damaged
from edgemon.store.migrate import connect, refuse_newer_or_other
from edgemon.store.salvage import Saved, salvage
from edgemon.store.segments import folder_of
from edgemon.store.stream import Stream

DAMAGED = ".damaged-"
"""In the name of a file set aside, followed by the time."""
MENDING = ".mending"
MOST = 3
"""Damaged stores set aside within a day; a disk that damages more is to be replaced, not written to. House choice."""
_DAY_S = 86_400.0
_LOGS = ("-wal", "-shm")


@dataclass(frozen=True, slots=True)
class Mended:
    """What became of a damaged store."""

    kept_as: Path
    saved: tuple[Saved, ...]
    journal: str
    """How far the chain of the journal is whole."""
    note: str = ""


def set_aside(database: Path) -> tuple[Path, ...]:
    """List the damaged stores that lie beside a store."""
    found = database.parent.glob(f"{database.name}{DAMAGED}*")
    return tuple(sorted(path for path in found if not path.name.endswith(_LOGS)))


def may_mend(database: Path, now: Instant) -> bool:
    """Say whether a damaged file is to be mended: it is ours, and the disk does not damage one after the other."""
    lately = [path for path in set_aside(database) if now - path.stat().st_mtime < _DAY_S]
    return len(lately) < MOST and was_ours(database)


def was_ours(database: Path) -> bool:
    """Say of a file that is no database whether a store of ours was there: something of it lies beside."""
    return folder_of(database).exists() or database.with_name(database.name + "-wal").exists()


def resume_mending(database: Path) -> None:
    """Finish what a crash interrupted: the damaged file had its new name, the new one not yet; before that it is begun anew."""
    fresh = database.with_name(database.name + MENDING)
    if database.exists():
        clear(fresh)
    elif fresh.exists():
        fresh.rename(database)


def mend(database: Path, now: Instant) -> Mended:
    """Save what can be saved, set the rest aside.

    Raises
    ------
    StoreTooNew
        A newer version wrote it; it is left alone.
    StoreError
        It belongs to another program, a daemon has it open, or the disk does not let us.
    """
    refuse_newer_or_other(database)
    fresh = database.with_name(database.name + MENDING)
    aside = database.with_name(f"{database.name}{DAMAGED}{_stamp(now)}")
    with translated(database), nobody_writes(folder_of(database)):
        note = ""
        try:
            saved = _made(database, fresh, now)
        except (StoreFull, sqlite3.Error, OSError) as error:
            note = f"nothing could be saved: {error}"
            saved = _empty(fresh)
        journal = _journal(fresh)
        for end in _LOGS:
            fresh.with_name(fresh.name + end).unlink(missing_ok=True)
        for end in ("", *_LOGS):
            path = database.with_name(database.name + end)
            if path.exists():
                path.rename(aside.with_name(aside.name + end))
        os.utime(aside)
        fresh.rename(database)
        sync_folder(database.parent)
    return Mended(aside, saved, journal, note)


def _made(database: Path, fresh: Path, now: Instant) -> tuple[Saved, ...]:
    clear(fresh)
    copy = grafted(database, fresh.with_name(fresh.name + ".copy"))
    try:
        with closing(open_damaged(copy or database)) as source, closing(connect(fresh)) as target:
            target.execute("BEGIN IMMEDIATE")
            saved = salvage(source, target, database, now)
            target.execute("COMMIT")
            target.execute("PRAGMA journal_mode = DELETE")  # one file, to be renamed
    finally:
        if copy is not None:
            clear(copy)
    with fresh.open("rb") as file:
        os.fsync(file.fileno())
    return saved


def _empty(fresh: Path) -> tuple[Saved, ...]:
    clear(fresh)
    with closing(connect(fresh)) as target:
        target.execute("PRAGMA journal_mode = DELETE")
    return ()


def _journal(fresh: Path) -> str:
    with Stream(fresh) as stream:
        verdict = stream.verify({}, lambda _: None)
    if verdict.is_whole:
        return f"whole up to entry {verdict.newest_seq}"
    first = verdict.breaks[0]
    more = f", and {verdict.break_count - 1} more breaks" if verdict.break_count > 1 else ""
    return f"entry {first.seq} {first.what}{more}"


def _stamp(now: Instant) -> str:
    return format_instant(now).replace("-", "").replace(":", "").split(".")[0] + "Z"
