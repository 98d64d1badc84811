"""What is remembered, shown to whoever asks: the API's site. Views are made when looked at, and only of what moved."""

import logging
from collections import ChainMap
from collections.abc import AsyncIterator, Awaitable, Callable, Iterable, Mapping
from dataclasses import dataclass, replace

from edgemon import __version__
from edgemon.alarms.annunciate import annunciation
from edgemon.alarms.parent import RULES, SENSORS
from edgemon.api.view import journal_view
from edgemon.clock import Clock
from edgemon.daemon.annunciator import Annunciator
from edgemon.daemon.collecting import FastDoor
from edgemon.daemon.learning import Learning
from edgemon.daemon.looking import Looking
from edgemon.daemon.outcomes import STARTING
from edgemon.daemon.performing import performance_of
from edgemon.daemon.proofdoor import ProofDoor
from edgemon.daemon.shift import Shift
from edgemon.engine import views
from edgemon.engine.memory import Memory, Setting
from edgemon.errors import ParameterError, StoreError
from edgemon.model.alarm import SensorState
from edgemon.model.annunciation import Annunciation
from edgemon.model.collection import FastCollectionStarted
from edgemon.model.command import Command, Person, Silence
from edgemon.model.ids import MachineId, PointKey, SensorId
from edgemon.model.instant import Instant
from edgemon.model.level import LEVEL_KINDS
from edgemon.model.look import (
    CapturePage,
    EnvelopeRequest,
    SpectrumRequest,
    SpectrumView,
    WaveformRequest,
    WaveformView,
    Which,
)
from edgemon.model.machine import GATEWAY
from edgemon.model.outlook import BaselineView, OutlookView
from edgemon.model.performance import Performance
from edgemon.model.proof import proof_view
from edgemon.model.retention import KeepView
from edgemon.model.search import EVERYTHING, Search
from edgemon.model.shift import HandoverView, LogKind
from edgemon.model.snapshot import (
    Change,
    GatewayView,
    JournalView,
    LinkView,
    MachineView,
    Outcome,
    SensorView,
    Snapshot,
    TrendBins,
    TrendPoint,
)
from edgemon.model.upstream import UpstreamView
from edgemon.mqtt.port import Link
from edgemon.store.port import Reader
from edgemon.units import from_si

QUICKEST_S = 0.25
SLOWEST_S = 1.0
ALL_SENSORS_S = 10.0
"""Every so often all sensors are shown anew."""

log = logging.getLogger(__name__)


@dataclass(slots=True)
class _Seen:
    """What one listener was told last."""

    versions: dict[MachineId, int]
    sensors: dict[SensorId, SensorState]
    fast: Mapping[SensorId, FastCollectionStarted]
    all_sensors_at: float
    """When all of them were shown last, s of the monotonic clock."""


class Hub(ProofDoor, FastDoor):
    """The site of one daemon, as `api.port.Site` asks it to be."""

    def __init__(self, setting: Setting, reader: Reader, link: Link, clock: Clock) -> None:
        self._setting = setting
        self._reader = reader
        self._link = link
        self._clock = clock
        self._memory: Memory | None = None
        self._views: dict[MachineId, MachineView] = {}
        self._versions: dict[MachineId, int] = {machine.id: 0 for machine in setting.plant.machines}
        self._started_at = clock.now()
        self._store_trouble = ""
        self._store_keeps = "everything"
        self._store_since: Instant | None = None
        self.store_bytes = 0
        self.store_remark = ""
        """What was found damaged at the start."""
        self.journal_end = (0, "")
        """Number and hash of the newest journal entry."""
        self.commands: Callable[[Command | Silence, Person], Awaitable[Outcome]] | None = None
        """Set by whoever owns the states."""
        self.diagnoses: Callable[[PointKey, bool, str], Awaitable[Outcome]] | None = None
        """Set by whoever diagnoses."""
        self.learning: Learning | None = None
        """Set by whoever learns."""
        self.shift: Shift | None = None
        """Set by whoever keeps the shift log."""
        self.annunciator: Annunciator | None = None
        """Set by whoever annunciates."""
        self.looking: Looking | None = None
        """Set by whoever looks at captures."""
        self.unsent: Callable[[], tuple[int, Instant | None]] = lambda: (0, None)
        """How much waits to be published, and since when; set by whoever publishes."""
        self.keep: Callable[[], KeepView] = KeepView
        """How the store stands against its budget; set by whoever tends it."""
        self.upstreams: Callable[[], tuple[UpstreamView, ...]] = tuple
        """How the upstreams stand; set by whoever feeds them."""

    def limits_are(self, setting: Setting) -> None:
        """Show these limits from now on."""
        self._setting = setting
        self._views.clear()

    def adopt(self, memory: Memory, moved: Iterable[MachineId]) -> None:
        """Show this memory from now on; views of what moved are made when they are looked at."""
        self._memory = memory
        for machine in moved:
            self._versions[machine] += 1
            self._views.pop(machine, None)

    @property
    def store_is_ok(self) -> bool:
        """Say whether the store takes everything."""
        return not self._store_trouble

    def store_is(self, keeps: str, since: Instant | None, error: StoreError | None) -> None:
        """Say how much the store takes: everything where there is no error, else so much, and since when."""
        self._store_keeps, self._store_since = keeps, None if error is None else since
        self._store_trouble = "" if error is None else str(error)

    def machines(self, which: Iterable[MachineId]) -> tuple[MachineView, ...]:
        """Show some machines."""
        return tuple(self.machine(machine) for machine in which)

    def snapshot(self) -> Snapshot:
        """Show everything, now."""
        return Snapshot(
            self.gateway(),
            views.areas(self._setting),
            self.machines(machine.id for machine in self._setting.plant.machines),
            views.sensors(self._setting, self.memory, self._clock.now()),
        )

    def changes(self) -> AsyncIterator[Change]:
        """Show what differs from this call on."""
        memory = self.memory
        return self._changes(_Seen(dict(self._versions), dict(memory.sensors), memory.fast, self._clock.elapsed()))

    async def _changes(self, seen: _Seen) -> AsyncIterator[Change]:
        told_at = self._clock.elapsed()
        while True:
            await self._clock.sleep(QUICKEST_S)
            moved = [machine for machine, version in self._versions.items() if seen.versions[machine] != version]
            if not moved and self._clock.elapsed() - told_at < SLOWEST_S - QUICKEST_S / 2:
                continue
            told_at = self._clock.elapsed()
            for machine in moved:
                seen.versions[machine] = self._versions[machine]
            yield Change(self.gateway(), self.machines(moved), self._sensors(seen))

    def gateway(self) -> GatewayView:
        """Show the gateway itself."""
        memory, plant = self.memory, self._setting.plant
        link = self._link.status
        count, upstreams = memory.counters.get, self.upstreams()
        unsent, oldest_unsent = self.unsent()
        call = self.annunciation()
        outputs = () if self.annunciator is None else self.annunciator.links()
        return GatewayView(
            site=plant.site,
            site_name=plant.name,
            version=__version__,
            started_at=self._started_at,
            now=self._clock.now(),
            links=(LinkView("broker", link.up, link.detail), *outputs, *(_link(one) for one in upstreams)),
            messages=count("messages", 0),
            captures=count("captures", 0),
            readings=count("readings", 0),
            rejected=count("rejected", 0),
            repeats=count("repeats", 0),
            late=count("late", 0),
            events=count("events", 0),
            queue=link.waiting,
            open_captures=len(memory.assembly.open),
            store_bytes=self.store_bytes,
            store_ok=self.store_is_ok,
            store_detail=self._store_trouble,
            store_keeps=self._store_keeps,
            store_since=self._store_since,
            store_remark=self.store_remark,
            notes=views.notes(memory),
            unsent=unsent,
            oldest_unsent=oldest_unsent,
            journal_seq=self.journal_end[0],
            journal_hash=self.journal_end[1],
            sounding=call.horn,
            beacon=call.beacon,
            silenced_at=call.silenced_at,
            test_until=None if self.annunciator is None else self.annunciator.test_until,
            test_by="" if self.annunciator is None else self.annunciator.test_by,
            alarms=views.own_alarms(memory),
            gateway=self._setting.gateway.id,
            upstreams=upstreams,
            keep=self.keep(),
            deaf_since=memory.lost.get(SENSORS),
            proof=None if memory.proof is None else proof_view(memory.proof),
        )

    def annunciation(self) -> Annunciation:
        """Give what calls the operator now; simulated alarms count where the gateway hears nothing else, and in a proof."""
        setting, memory = self._setting, self.memory
        rules, points = ChainMap({GATEWAY: RULES}, dict(setting.rules)), memory.points.values()
        sim = setting.gateway.simulated
        return annunciation(rules, points, setting.plant.alarms, self._clock.now(), sim, memory.proof)

    @property
    def memory(self) -> Memory:
        """Give what is remembered."""
        if self._memory is None:
            raise ParameterError("the memory is looked at before it was loaded")
        return self._memory

    async def command(self, order: Command, person: Person) -> Outcome:
        """Hand a command to the owner of the states."""
        return STARTING if self.commands is None else await self.commands(order, person)

    async def silence(self, person: Person) -> Outcome:
        """Silence whatever calls now."""
        return STARTING if self.commands is None else await self.commands(Silence(), person)

    async def lamp_test(self, person: Person) -> Outcome:
        """Have horn, beacon and board show all they can."""
        return STARTING if self.annunciator is None else await self.annunciator.test(person)

    async def diagnose(self, point: PointKey, sim: bool, person: Person) -> Outcome:
        """Have the newest capture of a point diagnosed."""
        if self.diagnoses is None:
            return STARTING
        return await self.diagnoses(point, sim, person.name)

    def baselines(self) -> tuple[BaselineView, ...]:
        """Show every baseline, and how far the learning of the others is."""
        return () if self.learning is None else self.learning.views()

    async def propose_baseline(self, point: PointKey, level: str, person: Person, reason: str) -> Outcome:
        """Propose a baseline from what there is."""
        return STARTING if self.learning is None else await self.learning.propose(point, level, person, reason)

    async def approve_baseline(
        self, point: PointKey, level: str, person: Person, reason: str, proposed_at: Instant | None
    ) -> Outcome:
        """Make a proposed baseline the measure."""
        return STARTING if self.learning is None else await self.learning.approve(point, level, person, reason, proposed_at)

    async def retire_baseline(self, point: PointKey, level: str, person: Person, reason: str) -> Outcome:
        """Take a baseline out of use."""
        return STARTING if self.learning is None else await self.learning.retire(point, level, person, reason)

    async def outlook(self, point: PointKey, level: str) -> OutlookView:
        """Say where a level is heading."""
        if self.learning is None:
            raise StoreError(STARTING.why)
        return await self.learning.outlook(point, level, self._is_sim(point))

    async def outlooks(self, machine: str) -> tuple[OutlookView, ...]:
        """Say where every level with a limit is heading, at all points of a machine."""
        if self.learning is None:
            raise StoreError(STARTING.why)
        return await self.learning.outlooks(machine, self._is_sim)

    async def captures(self, point: PointKey, sim: bool | None, before: Instant | None, limit: int) -> CapturePage:
        """List a point's stored captures, newest first."""
        return await self._looks().captures(point, self._is_sim(point) if sim is None else sim, before, limit)

    async def waveform(self, point: PointKey, which: Which, wanted: WaveformRequest) -> WaveformView:
        """Show a stored waveform."""
        return await self._looks().waveform(point, which, self._meant(point, which), wanted)

    async def spectrum(self, point: PointKey, which: Which, wanted: SpectrumRequest) -> SpectrumView:
        """Take the spectrum of a stored waveform."""
        return await self._looks().spectrum(point, which, self._meant(point, which), wanted)

    async def envelope(self, point: PointKey, which: Which, wanted: EnvelopeRequest) -> SpectrumView:
        """Take the spectrum of a stored waveform's envelope."""
        return await self._looks().envelope(point, which, self._meant(point, which), wanted)

    def _looks(self) -> Looking:
        if self.looking is None:
            raise StoreError(STARTING.why)
        return self.looking

    def _meant(self, point: PointKey, which: Which) -> bool:
        return self._is_sim(point) if which.sim is None else which.sim

    def _is_sim(self, point: PointKey) -> bool:
        """Say whether a point shows simulated data."""
        if point.machine not in self._versions:
            return self._setting.gateway.simulated
        shown = (one.sim for one in self.machine(point.machine).points if one.point == point.point)
        return next(shown, self._setting.gateway.simulated)

    async def trend(self, point: PointKey, level: str, since: Instant, until: Instant, sim: bool) -> tuple[TrendPoint, ...]:
        """Give the past of a level in the unit of its limit."""
        unit = self._unit(point, level)
        found = await self._reader.trend(point, level, since, until, sim)
        return tuple(TrendPoint(one.t, from_si(one.value, unit), one.fit) for one in found)

    async def trend_bins(
        self, point: PointKey, level: str, since: Instant | None, until: Instant, columns: int, sim: bool
    ) -> TrendBins:
        """Give the past of a level cut into stretches, in the unit of its limit."""
        unit = self._unit(point, level)
        found = await self._reader.trend_bins(point, level, since, until, columns, sim)
        bins = (
            replace(one, low=from_si(one.low, unit), mean=from_si(one.mean, unit), high=from_si(one.high, unit))
            for one in found.bins
        )
        return replace(found, bins=tuple(bins))

    def _unit(self, point: PointKey, level: str) -> str:
        known = self._setting.plant.points.get(point)
        if known is None:
            raise ParameterError("no such point", str(point))
        limit, kind = known.limit_of(level), known.kind_of(level)
        unit = limit.unit if limit else kind.unit if kind else None
        if unit is None:
            raise ParameterError(f"no such level: {level}", str(point), f"known are {', '.join(LEVEL_KINDS)}")
        return unit

    async def handover(self) -> HandoverView:
        """Write the handover page."""
        return await self._shift().page()

    async def write_log(
        self, person: Person, text: str, sort: LogKind, machine: MachineId | None, corrects: int | None
    ) -> Outcome:
        """Write into the shift log."""
        if machine is not None and machine not in self._versions:
            raise ParameterError("no such machine", machine)
        return await self._shift().write(person, text, sort, machine, corrects)

    async def take_over(self, person: Person, digest: str, note: str) -> Outcome:
        """Take the shift over."""
        return await self._shift().take(person, digest, note)

    def _shift(self) -> Shift:
        if self.shift is None:
            raise StoreError(STARTING.why)
        return self.shift

    async def journal(self, limit: int, before: int | None, search: Search = EVERYTHING) -> tuple[JournalView, ...]:
        """Give journal entries in words, newest first."""
        found = await self._reader.journal(limit, before=before, search=search)
        return tuple(journal_view(entry, self._setting.plant.points) for entry in found)

    async def performance(self, since: Instant, until: Instant | None, sim: bool | None) -> Performance:
        """Give the figures of alarm performance, until now by default."""
        is_sim = self._setting.gateway.simulated if sim is None else sim
        return await performance_of(self._reader, since, self._clock.now() if until is None else until, is_sim)

    def machine(self, machine: MachineId) -> MachineView:
        """Show one machine."""
        view = self._views.get(machine)
        if view is None:
            (view,) = views.machines(self._setting, self.memory, self._clock.now(), (machine,))
            self._views[machine] = view
        return view

    def _sensors(self, seen: _Seen) -> tuple[SensorView, ...]:
        """Show the sensors heard since; now and then all of them, for silence is not heard."""
        memory, elapsed = self.memory, self._clock.elapsed()
        which = {sensor for sensor, state in memory.sensors.items() if seen.sensors.get(sensor) is not state}
        which |= {sensor for sensor, _ in memory.fast.items() ^ seen.fast.items()}
        seen.sensors.update(memory.sensors)
        seen.fast = memory.fast
        if elapsed - seen.all_sensors_at >= ALL_SENSORS_S:
            seen.all_sensors_at = elapsed
            which = set(self._setting.plant.sensors)
        known = self._setting.plant.sensors
        return views.sensors(self._setting, memory, self._clock.now(), [sensor for sensor in known if sensor in which])


def _link(upstream: UpstreamView) -> LinkView:
    return LinkView(f"upstream {upstream.name}", upstream.up, upstream.detail)
