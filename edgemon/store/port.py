"""What the rest of the house asks of the store."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from typing import Protocol

from edgemon.model.alarm import MachineSpeed, PointState, SensorState
from edgemon.model.baseline import Baseline
from edgemon.model.collection import FastCollectionStarted
from edgemon.model.event import DiagnosisMade, Event, JournalEntry
from edgemon.model.ids import CaptureKey, PointKey, ReadingKey, SensorId
from edgemon.model.instant import Instant
from edgemon.model.level import Measurement
from edgemon.model.message import Quarantined
from edgemon.model.proof import ProofStarted
from edgemon.model.reading import Capture, CapturePart, Reading
from edgemon.model.search import EVERYTHING, Search
from edgemon.model.signoff import SignEvent
from edgemon.model.snapshot import TrendBins, TrendPoint


@dataclass(frozen=True, slots=True)
class Commit:
    """What one transaction holds; all of it or nothing is stored."""

    recorded_at: Instant
    parts: tuple[CapturePart, ...] = ()
    """Parts of captures that are not whole yet."""
    captures: tuple[Capture, ...] = ()
    """Whole captures (or closed with parts missing); their stored parts are dropped in the same transaction."""
    measurements: tuple[Measurement, ...] = ()
    """Levels of points, fit or not: the trend. The shaft speed, where known, is kept beside them under the name `rpm`."""
    readings: tuple[Reading, ...] = ()
    """What sensors said as scalars: battery, signal, speed, and levels as they came."""
    quarantined: tuple[Quarantined, ...] = ()
    events: tuple[Event, ...] = ()
    """In the order in which they happened; the journal numbers them."""
    points: tuple[PointState, ...] = ()
    sensors: tuple[SensorState, ...] = ()
    speeds: tuple[MachineSpeed, ...] = ()
    counters: Mapping[str, int] = field(default_factory=dict)
    """Absolute values, not increments."""
    settings: Mapping[str, str] = field(default_factory=dict)
    """What the settings files say from now on: file name to its keys and values as JSON; empty where that stays as it is."""
    schedules: Mapping[str, bool] = field(default_factory=dict)
    """Topics at which a broker keeps schedules from us from now on (True), or no longer (False)."""

    @property
    def is_empty(self) -> bool:
        """Say whether there is nothing in it to store."""
        records = self.parts or self.captures or self.measurements or self.readings or self.quarantined
        states = self.points or self.sensors or self.speeds or self.counters or self.settings or self.schedules
        return not (records or self.events or states)


@dataclass(frozen=True, slots=True)
class Known:
    """Which of the keys asked for are stored already."""

    captures: frozenset[CaptureKey] = frozenset()
    readings: frozenset[ReadingKey] = frozenset()
    parts: frozenset[tuple[CaptureKey, int]] = frozenset()


@dataclass(frozen=True, slots=True)
class Saved:
    """What the last run left behind."""

    points: tuple[PointState, ...] = ()
    sensors: tuple[SensorState, ...] = ()
    speeds: tuple[MachineSpeed, ...] = ()
    parts: tuple[CapturePart, ...] = ()
    """Of captures still waiting for parts, in the order in which they came."""
    counters: Mapping[str, int] = field(default_factory=dict)
    diagnoses: tuple[DiagnosisMade, ...] = ()
    """The newest of each point, real and simulated."""
    baselines: tuple[Baseline, ...] = ()
    """The newest of each point and level, real and simulated, in whatever state it is; the journal keeps those before."""
    next_seq: int = 1
    published_seq: int = 0
    """Journal entries up to this one are known to have been published."""
    settings: Mapping[str, str] = field(default_factory=dict)
    """What the settings files said at the newest start; empty where nothing knows."""
    proof: ProofStarted | None = None
    """The proof that was on: announced and not ended."""
    fast: tuple[FastCollectionStarted, ...] = ()
    """The fast collections that were on."""
    schedules: frozenset[str] = frozenset()
    """Topics at which a broker may keep schedules of sensors from us."""
    signs: tuple[SignEvent, ...] = ()
    """What happened last to the sign-off of each point."""


class Store(Protocol):
    """The one writer. Raises `StoreError` and its kinds; after an error nothing of the commit is stored."""

    async def load(self) -> Saved:
        """Read what the last run left behind."""
        ...

    async def known(
        self,
        captures: Collection[CaptureKey],
        readings: Collection[ReadingKey],
        parts: Collection[tuple[CaptureKey, int]] = (),
    ) -> Known:
        """Say which keys are stored already."""
        ...

    async def commit(self, commit: Commit) -> tuple[JournalEntry, ...]:
        """Store everything durably, or nothing; gives the events as the journal numbered them."""
        ...

    async def mark_published(self, seq: int) -> None:
        """Remember that journal entries up to `seq` were published; need not be durable at once."""
        ...

    async def size_bytes(self) -> int:
        """Give the size on disk."""
        ...

    async def close(self) -> None:
        """Close in order; nothing may be asked afterwards."""
        ...


class Reader(Protocol):
    """Read-only questions; never waits for the writer."""

    async def journal(
        self, limit: int, before: int | None = None, after: int | None = None, search: Search = EVERYTHING
    ) -> tuple[JournalEntry, ...]:
        """Give journal entries: the newest first, or with `after` the oldest first after that number."""
        ...

    async def standing(self, at: Instant) -> tuple[JournalEntry, ...]:
        """Give, of each alarm, what tells whether it stood at a time and since when, oldest first.

        That is the last of its changes recorded before, and the last one before that did not begin in UNACK or ACKED.
        """
        ...

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
        """Give the values of a level in the house's unit, oldest first; the newest (or earliest) `most` of them.

        The name `rpm` stands for the shaft speed at the point's measurements, Hz.
        """
        ...

    async def trend_bins(
        self, point: PointKey, level: str, since: Instant | None, until: Instant, columns: int, sim: bool = False
    ) -> TrendBins:
        """Cut a level's fit values into stretches, in the house's unit; `since` None: from its first value on."""
        ...

    async def baselines(self) -> tuple[Baseline, ...]:
        """Give the newest baseline of each point and level, in whatever state it is."""
        ...

    async def proofs(self) -> tuple[JournalEntry, ...]:
        """Give the entries that announce a proof or end one, oldest first."""
        ...

    async def capture(self, key: CaptureKey) -> Capture | None:
        """Give a stored capture, a waveform or a spectrum as its key says."""
        ...

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
        ...

    async def readings(
        self, sensor: SensorId, name: str, since: Instant, until: Instant, sim: bool = False, most: int = 2000
    ) -> tuple[TrendPoint, ...]:
        """Give what a sensor said under a name (`battery`, `x/velocity_rms`), oldest first."""
        ...

    async def quarantined(self, limit: int) -> tuple[Quarantined, ...]:
        """Give rejected messages, newest first."""
        ...

    async def close(self) -> None:
        """Close."""
        ...
