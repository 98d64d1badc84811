"""Keeps what the path came to, as far as the disk allows: everything, or states and journal only, or nothing for a while.

    everything -> commit fails -> journal and alarm states (in the space of the ballast) -> that fails, too -> nothing

What is not written waits here, bounded: the newest of each state, and the journal's events. Captures and readings do not: they
are not acknowledged, the broker keeps them. Every second it is tried whether the disk works again; where that did not last, the
next trial waits longer, up to a minute.
"""

import asyncio
import logging
from collections import ChainMap
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

from edgemon.clock import Clock
from edgemon.engine.analyse import Judged, Questions
from edgemon.engine.unkept import COMES_AGAIN, Backlog, judged_in
from edgemon.errors import StoreCorrupt, StoreError, StoreFull, StoreSlow
from edgemon.model.alarm import SensorState
from edgemon.model.event import Event, JournalEntry
from edgemon.model.ids import CaptureKey, ReadingKey, SensorId
from edgemon.model.instant import Instant
from edgemon.model.reading import CapturePart
from edgemon.store.ballast import Ballast
from edgemon.store.port import Commit, Known, Store

PATIENCE_S = 5.0
"""How long a commit may take before the path goes on without it. House choice: disks stall for a second or two."""
EVENTS_MOST = 50_000
"""Journal entries that may wait. House choice: some 25 MB."""
JUDGED_MOST = 50_000
"""Captures and readings remembered as judged; of older ones only the sensor's own mark tells."""
STABLE_S = 60.0
LONGEST_WAIT_S = 60.0

log = logging.getLogger(__name__)


class Keeps(StrEnum):
    """How much is written to the disk."""

    EVERYTHING = "everything"
    STATES = "journal and alarm states"
    NOTHING = "nothing"


@dataclass(frozen=True, slots=True)
class Written:
    """What came of a trial."""

    entries: tuple[JournalEntry, ...]
    counters: Mapping[str, int]
    """Counters as they stand now, for what was stored by it."""


class Storing:
    """The path's way to the store.

    Parameters
    ----------
    store : Store
        The one writer.
    clock : Clock
        Time.
    ballast : Ballast, optional
        Given up when the disk is full.
    """

    def __init__(self, store: Store, clock: Clock, ballast: Ballast | None = None) -> None:
        self._store = store
        self._clock = clock
        self._ballast = ballast
        self.keeps = Keeps.EVERYTHING
        self.since: Instant | None = None
        self.error: StoreError | None = None
        self._late = 0
        self._backlog = Backlog()
        self._owed = Commit(0.0)
        self._under_way: asyncio.Task[tuple[JournalEntry, ...]] | None = None
        self._doubtful: tuple[Commit, Commit] = (self._owed, self._owed)
        self._captures: dict[CaptureKey, bool] = {}
        self._readings: dict[ReadingKey, None] = {}
        self._is_sure = True
        self._well_at = float("-inf")
        self._wait_s = 0.0
        self._next_at = float("-inf")

    @property
    def is_well(self) -> bool:
        """Say whether everything is kept."""
        return self.keeps is Keeps.EVERYTHING

    @property
    def unwritten(self) -> tuple[Event, ...]:
        """Give the entries of the journal that wait."""
        return self._backlog.events

    @property
    def dropped(self) -> int:
        """Give how many more were too many to wait, as far as that was not told yet."""
        return self._backlog.dropped

    @property
    def answers(self) -> bool:
        """Say whether the store can be asked: nothing is under way that does not end."""
        return self._under_way is None

    def told(self) -> tuple[int, str]:
        """Give how many journal entries were written late, and what more there is to say of it; each is told once."""
        late, dropped = self._late, self._backlog.dropped
        self._late, self._backlog = 0, replace(self._backlog, dropped=0)
        more = f"; {dropped} journal entries were too many to be kept" if dropped else ""
        return late, f"what was not acknowledged is delivered again by the broker{more}"

    async def begin(self, sensors: Mapping[SensorId, SensorState], dropped: int = 0) -> None:
        """Take up what the last run left: where it judged what it could not store, only the sensors' marks tell of it.

        `dropped` journal entries were too many for it to keep, and nobody was told yet.
        """
        self._backlog = Backlog(dropped=dropped)
        self._is_sure = all(state.unkept_since is None for state in sensors.values())
        try:
            await self._take_ballast()
        except OSError as error:
            log.warning("the disk has no room for a ballast: %s", error.strerror or error)

    async def _take_ballast(self) -> None:
        if self._ballast is not None:
            await asyncio.to_thread(self._ballast.make)

    async def keep(self, commit: Commit) -> tuple[JournalEntry, ...] | None:
        """Store everything; None where that failed, and from then on `hold` is to be used."""
        try:
            entries = await self._write(commit)
        except StoreError as error:
            await self._fails(error)
            self._owed = replace(commit, events=(), points=(), sensors=(), speeds=(), counters={}, quarantined=(), parts=())
            return None
        self._forget(commit)
        return entries

    async def hold(self, light: Commit, whole: Commit) -> tuple[JournalEntry, ...]:
        """Write states and events where that works, else let them wait; remember what of the whole was judged."""
        captures, readings = judged_in(whole)
        self._captures.update(captures)
        self._readings.update(dict.fromkeys(readings))
        while len(self._captures) > JUDGED_MOST:
            del self._captures[next(iter(self._captures))]
            self._is_sure = False
        while len(self._readings) > JUDGED_MOST:
            del self._readings[next(iter(self._readings))]
            self._is_sure = False
        if self._under_way is not None and self._doubtful[0] is whole:
            self._doubtful = (whole, light)
            return ()
        if self.keeps is Keeps.STATES:
            try:
                return await self._write(light)
            except StoreError as error:
                self._worse(error)
                if isinstance(error, StoreSlow):
                    self._doubtful = (light, light)
                    return ()
        self._wait(light)
        return ()

    async def attempt(self, parts: Sequence[CapturePart], counters: Mapping[str, int]) -> Written | None:
        """Try whether the disk works again; `is_well` tells afterwards.

        Parameters
        ----------
        parts : sequence of CapturePart
            Those of captures that wait for others: they are to be kept before the broker is told so.
        counters : mapping of str to int
            As they stand.
        """
        if self.is_well or self._clock.elapsed() < self._next_at:
            return None
        counted = dict(counters)
        entries: tuple[JournalEntry, ...] = ()
        if self._under_way is not None:
            if not self._under_way.done():
                return None
            entries = self._resolved(counted)
        if await self._has_room():
            whole = self._all(parts, counted)
            written = await self._written(whole)
            if written is not None:
                self._well()
                return Written(entries + written, whole.counters)
            if isinstance(self.error, StoreFull) and self._ballast is not None:
                await asyncio.to_thread(self._ballast.give_up)
        return Written(entries + await self._light(), counted)

    async def standing(
        self, asked: Questions, sensors: Mapping[SensorId, SensorState], judged_until: Callable[[CaptureKey], Instant]
    ) -> tuple[Known, Judged]:
        """Say what is stored already, and what was judged without being stored.

        While not everything is kept, what was judged counts as known: it comes again. `judged_until` gives the time of the
        newest measurement judged of a capture's sensor: of a newer one only parts were heard, if anything.
        """
        found = await self._known(asked)
        known = found or Known()
        keys: tuple[CaptureKey | ReadingKey, ...] = (*asked.captures, *asked.readings)
        marked = {
            key: None
            for key in keys
            if self._is_marked(key, sensors) and (isinstance(key, ReadingKey) or key.taken_at <= judged_until(key))
        }
        if self.is_well:
            captures = {key: False for key in asked.captures if key in marked and key not in known.captures}
            readings = {key: None for key in asked.readings if key in marked and key not in known.readings}
            return known, Judged(ChainMap(self._captures, captures), ChainMap(self._readings, readings))
        if found is None:
            marked |= {key: None for key in keys if self._is_older(key, sensors)}
        seen = {key for key in asked.captures if key in self._captures or key in marked}
        said = {key for key in asked.readings if key in self._readings or key in marked}
        return Known(known.captures | seen, known.readings | said, known.parts), Judged()

    @property
    def judged(self) -> Judged:
        """Give what was judged and is not stored yet; nothing while it is not to be stored."""
        return Judged(self._captures, self._readings) if self.is_well else Judged()

    def _is_marked(self, key: CaptureKey | ReadingKey, sensors: Mapping[SensorId, SensorState]) -> bool:
        """Say whether only its sensor's mark tells that it was judged."""
        since = sensors[key.sensor].unkept_since if key.sensor in sensors else None
        return not self._is_sure and since is not None and key.taken_at >= since

    def _is_older(self, key: CaptureKey | ReadingKey, sensors: Mapping[SensorId, SensorState]) -> bool:
        """Say, without the store, whether something was stored before the trouble began: what is asked for is not new."""
        since = sensors[key.sensor].unkept_since if key.sensor in sensors else None
        return since is None or key.taken_at < since

    async def _known(self, asked: Questions) -> Known | None:
        if not self.answers:
            return None
        try:
            return await self._store.known(asked.captures, asked.readings, asked.parts)
        except StoreError as error:
            await self._fails(error)
            return None

    async def _written(self, commit: Commit) -> tuple[JournalEntry, ...] | None:
        """Write what waits; where it takes too long it is in doubt, and no longer waits."""
        light = self._backlog.commit(commit.recorded_at)
        try:
            return await self._write(commit)
        except StoreError as error:
            self._note(error)
            if isinstance(error, StoreSlow):
                self.keeps, self._doubtful = Keeps.NOTHING, (commit, light)
                self._backlog = Backlog(dropped=self._backlog.dropped)
            return None

    async def _write(self, commit: Commit) -> tuple[JournalEntry, ...]:
        """Commit, for so long as patience lasts; what takes longer goes on by itself."""
        task = asyncio.ensure_future(self._store.commit(commit))
        task.add_done_callback(_seen)
        await asyncio.wait({task}, timeout=PATIENCE_S)
        if not task.done():
            self._under_way, self._doubtful = task, (commit, commit)
            raise StoreSlow(f"the disk has not answered for {PATIENCE_S:g} s")
        return task.result()

    async def _fails(self, error: StoreError) -> None:
        now = self._clock.elapsed()
        if self.is_well:
            self.since = self._clock.now()
            lasted_s = now - self._well_at
            self._wait_s = 0.0 if lasted_s > STABLE_S else min(LONGEST_WAIT_S, max(1.0, 2.0 * self._wait_s))
            self._next_at = now + self._wait_s
            self.keeps = Keeps.NOTHING if isinstance(error, StoreSlow) else Keeps.STATES
        if isinstance(error, StoreFull) and self._ballast is not None and await asyncio.to_thread(self._ballast.give_up):
            log.warning("the disk is full: the ballast is given up, so that journal and alarm states can be written")
        self._note(error)

    def _worse(self, error: StoreError) -> None:
        self.keeps = Keeps.NOTHING
        self._note(error)

    def _note(self, error: StoreError) -> None:
        if self.error is None:
            log.error("the store fails, nothing is acknowledged until it works again: %s", error)
        if not isinstance(self.error, StoreFull) or isinstance(error, StoreFull | StoreCorrupt):
            self.error = error  # on a full disk everything fails in ways of its own

    def _wait(self, light: Commit) -> None:
        self._backlog = self._backlog.with_commit(light, EVENTS_MOST)

    async def _has_room(self) -> bool:
        if not isinstance(self.error, StoreFull) or self._ballast is None:
            return True
        try:
            await self._take_ballast()
        except OSError:
            return False
        return True

    def _all(self, parts: Sequence[CapturePart], counters: Mapping[str, int]) -> Commit:
        waiting, owed = self._backlog.commit(self._clock.now()), self._owed
        stored = {"captures": len(owed.captures), "readings": len(owed.readings)}
        counted = {**counters, **{name: counters.get(name, 0) + count for name, count in stored.items() if count}}
        return replace(
            waiting,
            captures=owed.captures,
            measurements=owed.measurements,
            readings=owed.readings,
            parts=tuple(parts),
            counters={**waiting.counters, **counted},
        )

    async def _light(self) -> tuple[JournalEntry, ...]:
        """Write what waits, without what takes space."""
        if self._under_way is not None or (self.keeps is Keeps.STATES and not self._backlog.events):
            return ()
        entries = await self._written(self._backlog.commit(self._clock.now()))
        if entries is None:
            self.keeps = Keeps.NOTHING
            return ()
        self._late += len(self._backlog.events)
        self._backlog, self.keeps = Backlog(dropped=self._backlog.dropped), Keeps.STATES
        return entries

    def _resolved(self, counted: dict[str, int]) -> tuple[JournalEntry, ...]:
        """Take what came of the commit that took too long."""
        task, (whole, light) = self._under_way, self._doubtful
        assert task is not None
        self._under_way = None
        if task.cancelled() or task.exception() is not None:
            later = self._backlog
            before = Backlog(dropped=later.dropped).with_commit(light, EVENTS_MOST)
            self._backlog = before.with_commit(later.commit(self._clock.now()), EVENTS_MOST)
            return ()
        self._forget(whole)
        self._owed = Commit(0.0)
        for name in COMES_AGAIN:
            missing = whole.counters.get(name, 0) - light.counters.get(name, counted.get(name, 0))
            counted[name] = counted.get(name, 0) + max(0, missing)
        return task.result()

    def _well(self) -> None:
        self._late += len(self._backlog.events)
        self._forget(self._owed)
        self._backlog, self._owed = Backlog(dropped=self._backlog.dropped), Commit(0.0)
        self.keeps, self.error = Keeps.EVERYTHING, None
        self._well_at = self._clock.elapsed()

    def _forget(self, commit: Commit) -> None:
        if self._captures or self._readings:
            for capture in commit.captures:
                self._captures.pop(capture.key, None)
            for reading in commit.readings:
                self._readings.pop(reading.key, None)


def _seen(task: "asyncio.Task[tuple[JournalEntry, ...]]") -> None:
    """Look at an outcome that nobody may be waiting for any more."""
    if not task.cancelled():
        task.exception()
