"""Store and reader in memory, for tests: same promises, nothing on disk."""

import math
from collections.abc import Collection, Iterable

from edgemon.errors import StoreError
from edgemon.model.alarm import AlarmState, MachineSpeed, PointState, SensorState
from edgemon.model.baseline import Baseline, BaselineApproved, BaselineProposed, BaselineRetired
from edgemon.model.collection import still_on
from edgemon.model.event import AlarmChanged, DiagnosisMade, JournalEntry
from edgemon.model.ids import AlarmKey, CaptureKey, MachineId, PointKey, ReadingKey, SensorId
from edgemon.model.instant import Instant
from edgemon.model.message import Quarantined
from edgemon.model.proof import ProofEnded, ProofStarted
from edgemon.model.reading import Capture, CapturePart
from edgemon.model.search import EVERYTHING, Search
from edgemon.model.signoff import newest_signs
from edgemon.model.snapshot import TrendBins, TrendPoint
from edgemon.store.chain import GENESIS, numbered
from edgemon.store.port import Commit, Known, Saved
from edgemon.store.wire import is_wanted
from edgemon.units import to_si

QUARANTINE_MOST = 1000


class MemoryStore:
    """Fulfils `port.Store` and `port.Reader` at once.

    Parameters
    ----------
    quarantine_most : int
        Rejected messages kept; the oldest are dropped.
    before : MemoryStore, optional
        The store of the run before: what it held is held again.

    Attributes
    ----------
    failing : StoreError | None
        Raised by each commit while it is set, as a full disk does.
    commits : list[Commit]
        What was stored, in order.
    """

    def __init__(self, quarantine_most: int = QUARANTINE_MOST, before: "MemoryStore | None" = None) -> None:
        self.failing: StoreError | None = None
        self.commits: list[Commit] = [] if before is None else list(before.commits)
        self._quarantine_most = quarantine_most
        self._published = 0
        self._closed = False
        self._journal: list[JournalEntry] = []
        self._captures: dict[CaptureKey, Capture] = {}
        self._parts: dict[tuple[CaptureKey, int], CapturePart] = {}
        self._trend: dict[tuple[str, ...], dict[Instant, TrendPoint]] = {}
        self._readings: set[ReadingKey] = set()
        self._quarantine: list[Quarantined] = []
        self._points: dict[tuple[PointKey, bool], PointState] = {}
        self._sensors: dict[tuple[str, bool], SensorState] = {}
        self._speeds: dict[tuple[MachineId, bool], MachineSpeed] = {}
        self._counters: dict[str, int] = {}
        self._settings: dict[str, str] = {}
        self._schedules: dict[str, bool] = {}
        for commit in self.commits:
            self._take(commit)
        if before is not None:
            self._published = before._published

    async def load(self) -> Saved:
        """Read what the last run left behind."""
        self._ask()
        made = (entry.event for entry in self._journal if isinstance(entry.event, DiagnosisMade))
        newest = {(event.point, event.sim): event for event in made}
        proof = next((entry.event for entry in reversed(await self.proofs())), None)
        return Saved(
            tuple(self._points[key] for key in sorted(self._points)),
            tuple(self._sensors[key] for key in sorted(self._sensors)),
            tuple(self._speeds[key] for key in sorted(self._speeds)),
            tuple(self._parts.values()),
            dict(sorted(self._counters.items())),
            tuple(newest.values()),
            await self.baselines(),
            len(self._journal) + 1,
            self._published,
            dict(sorted(self._settings.items())),
            proof if isinstance(proof, ProofStarted) else None,
            still_on(entry.event for entry in self._journal),
            frozenset(topic for topic, is_ours in self._schedules.items() if is_ours),
            newest_signs(entry.event for entry in self._journal),
        )

    async def known(
        self,
        captures: Collection[CaptureKey],
        readings: Collection[ReadingKey],
        parts: Collection[tuple[CaptureKey, int]] = (),
    ) -> Known:
        """Say which keys are stored already; a part only while its capture waits for others."""
        self._ask()
        return Known(
            frozenset(captures) & self._captures.keys(),
            frozenset(readings) & self._readings,
            frozenset(parts) & self._parts.keys(),
        )

    async def commit(self, commit: Commit) -> tuple[JournalEntry, ...]:
        """Store everything, or nothing if it is made to fail."""
        self._ask()
        if self.failing is not None:
            raise self.failing
        self.commits.append(commit)
        return self._take(commit)

    async def mark_published(self, seq: int) -> None:
        """Remember how far the journal was published."""
        self._published = max(self._published, seq)

    async def size_bytes(self) -> int:
        """Give the bytes of the samples held."""
        self._ask()
        return sum(counts.nbytes for capture in self._captures.values() for counts in capture.axes.values())

    async def close(self) -> None:
        """Close; twice does no harm."""
        self._closed = True

    async def journal(
        self, limit: int, before: int | None = None, after: int | None = None, search: Search = EVERYTHING
    ) -> tuple[JournalEntry, ...]:
        """Give journal entries: the newest first, or with `after` the oldest first after that number."""
        self._ask()
        fit = [
            entry
            for entry in self._journal
            if (before is None or entry.seq < before) and entry.seq > (after or 0) and is_wanted(entry, search)
        ]
        return tuple((fit[::-1] if after is None else fit)[:limit])

    async def standing(self, at: Instant) -> tuple[JournalEntry, ...]:
        """Give, of each alarm, what tells whether it stood at a time and since when, oldest first."""
        self._ask()
        told: dict[tuple[AlarmKey, bool], JournalEntry] = {}
        for entry in self._journal:
            if isinstance(entry.event, AlarmChanged) and entry.recorded_at < at:
                told[entry.event.alarm, True] = entry
                if entry.event.from_state not in (AlarmState.UNACK, AlarmState.ACKED):
                    told[entry.event.alarm, False] = entry
        return tuple(sorted({entry.seq: entry for entry in told.values()}.values(), key=lambda entry: entry.seq))

    async def trend(
        self,
        point: PointKey,
        level: str,
        since: Instant,
        until: Instant,
        sim: bool = False,
        most: int = 2000,
        earliest: bool = False,
    ) -> tuple[TrendPoint, ...]:
        """Give the values of a level in the house's unit, oldest first; the newest (or earliest) `most` of them."""
        return self._values(("point", *point, level, str(sim)), since, until, most, earliest)

    async def trend_bins(
        self, point: PointKey, level: str, since: Instant | None, until: Instant, columns: int, sim: bool = False
    ) -> TrendBins:
        """Cut a level's fit values into stretches, in the house's unit; `since` None: from its first value on."""
        self._ask()
        every = self._trend.get(("point", *point, level, str(sim)), {})
        return TrendBins.of((every[t] for t in sorted(every)), since, until, columns)

    async def baselines(self) -> tuple[Baseline, ...]:
        """Give the newest baseline of each point and level, in whatever state it is."""
        self._ask()
        newest: dict[tuple[PointKey, str, bool], Baseline] = {}
        for entry in self._journal:
            if isinstance(entry.event, BaselineProposed | BaselineApproved | BaselineRetired):
                one = entry.event.baseline
                newest[one.point, one.level, one.sim] = one
        return tuple(newest.values())

    async def proofs(self) -> tuple[JournalEntry, ...]:
        """Give the entries that announce a proof or end one, oldest first."""
        self._ask()
        return tuple(entry for entry in self._journal if isinstance(entry.event, ProofStarted | ProofEnded))

    async def readings(
        self, sensor: SensorId, name: str, since: Instant, until: Instant, sim: bool = False, most: int = 2000
    ) -> tuple[TrendPoint, ...]:
        """Give what a sensor said under a name, oldest first; the newest `most` of them."""
        return self._values(("sensor", sensor, "", name, str(sim)), since, until, most)

    async def capture(self, key: CaptureKey) -> Capture | None:
        """Give a stored capture."""
        self._ask()
        return self._captures.get(key)

    async def captures(
        self,
        sensor: SensorId | None,
        since: Instant,
        until: Instant,
        sim: bool | None = None,
        most: int = 1000,
        spectra: bool | None = False,
    ) -> tuple[CaptureKey, ...]:
        """List stored waveforms, with `spectra` spectra instead (None: both), newest first."""
        self._ask()
        found = [
            capture.key
            for capture in reversed(self._captures.values())
            if sensor in (None, capture.sensor)
            and sim in (None, capture.sim)
            and spectra in (None, capture.form is not None)
            and since <= capture.taken_at <= until
        ]
        return tuple(sorted(found, key=lambda key: -key.taken_at)[:most])

    async def quarantined(self, limit: int) -> tuple[Quarantined, ...]:
        """Give rejected messages, newest first."""
        self._ask()
        return tuple(self._quarantine[::-1][:limit])

    def _ask(self) -> None:
        if self._closed:
            raise StoreError("the store is closed")

    def _values(
        self, series: tuple[str, ...], since: Instant, until: Instant, most: int, earliest: bool = False
    ) -> tuple[TrendPoint, ...]:
        self._ask()
        found = sorted(
            (value for t, value in self._trend.get(series, {}).items() if since <= t <= until), key=lambda value: value.t
        )
        return tuple(found[:most] if earliest else found[max(0, len(found) - most) :])

    def _take(self, commit: Commit) -> tuple[JournalEntry, ...]:
        for capture in commit.captures:
            self._captures.setdefault(capture.key, capture)
        for part in commit.parts:
            self._parts.setdefault((part.key, part.number), part)
        whole = {capture.key for capture in commit.captures}
        self._parts = {key: part for key, part in self._parts.items() if key[0] not in whole}
        self._take_values(commit)
        self._points |= {(state.point, state.sim): state for state in commit.points}
        self._sensors |= {(state.sensor, state.sim): state for state in commit.sensors}
        self._speeds |= {(speed.machine, speed.sim): speed for speed in commit.speeds}
        self._counters |= commit.counters
        self._settings |= commit.settings
        self._schedules |= commit.schedules
        if commit.quarantined:
            self._quarantine += commit.quarantined
            del self._quarantine[: max(0, len(self._quarantine) - self._quarantine_most)]
        first = len(self._journal) + 1
        previous = bytes.fromhex(self._journal[-1].hash) if self._journal else GENESIS
        entries, _ = numbered(first, previous, commit.recorded_at, commit.events)
        self._journal += entries
        return entries

    def _take_values(self, commit: Commit) -> None:
        for measurement in commit.measurements:
            for level in measurement.levels:
                series = ("point", *measurement.point, level.name, str(measurement.sim))
                self._take_value(series, TrendPoint(measurement.taken_at, level.value, measurement.verdict.is_fit))
            if measurement.rpm is not None:
                speed = TrendPoint(measurement.taken_at, to_si(measurement.rpm, "r/min"), True)
                self._take_value(("point", *measurement.point, "rpm", str(measurement.sim)), speed)
        for reading in commit.readings:
            name = ("sensor", reading.sensor, "", reading.key.name, str(reading.sim))
            self._take_value(name, TrendPoint(reading.taken_at, reading.value, True))
        self._readings |= {reading.key for reading in commit.readings if math.isfinite(reading.value)}

    def _take_value(self, series: Iterable[str], value: TrendPoint) -> None:
        if not math.isfinite(value.value):
            return
        values = self._trend.setdefault(tuple(series), {})
        earlier = values.get(value.t)
        if earlier is None or (value.fit and not earlier.fit):
            values[value.t] = value
