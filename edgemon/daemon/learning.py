"""Baselines and forecasts beside the path: learnt from what is stored, in a worker thread; nothing here holds the path up."""

import asyncio
import logging
from collections.abc import Awaitable, Callable, Iterable, Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass
from functools import partial

from edgemon.clock import Clock
from edgemon.engine.alike import RPM
from edgemon.engine.baseline_views import Told, baseline_views
from edgemon.engine.baselines import Key, Learnt, has_baseline, kind_at, learn, learnable, mask_of
from edgemon.engine.masks import spectrum_for, with_mask
from edgemon.engine.memory import Setting
from edgemon.engine.outlook import MOST, outlook
from edgemon.errors import ParameterError, StoreError
from edgemon.model.baseline import Baseline, BaselineApproved, BaselineProposed, BaselineRetired, BaselineState, Refusal
from edgemon.model.command import ApproveBaseline, BaselineCommand, Person, ProposeBaseline, RetireBaseline, Role
from edgemon.model.derived import MaskSpec
from edgemon.model.event import Event
from edgemon.model.ids import PointKey
from edgemon.model.instant import EARLIEST, LATEST, Instant
from edgemon.model.level import LevelKind, Measurement
from edgemon.model.machine import Machine
from edgemon.model.outlook import BaselineView, OutlookView
from edgemon.model.snapshot import Outcome, TrendPoint
from edgemon.store.port import Reader
from edgemon.trend.baseline import LEAST

STRETCH = 2000
"""Values looked at in one go, the earliest: a baseline is learnt from the first of them."""
STRETCHES = 20
"""Stretches looked at before the learning waits for more values."""
LOOKS = 4
"""Looks at what is stored until enough has come, about."""
_GATEWAY = Person("", Role.ENGINEER, "gateway")

log = logging.getLogger(__name__)


@dataclass(slots=True)
class Progress:
    """How far the learning of one level is."""

    count: int = 0
    """Fit values in like conditions, as last looked."""
    missing: int = 1
    """Values to wait for until it is worth looking again."""
    since: Instant | None = None
    """Where to go on; None for the beginning, or the last repair."""
    note: str = ""


class Learning:
    """Learns, and asks the path to propose; says where levels are heading.

    Parameters
    ----------
    filed : Setting
        Of the plant file alone.
    reader : Reader
        Gives the values.
    executor : Executor
        Where the work is done.
    command : callable
        Takes a proposal, an approval or a retirement into the path.
    baselines : callable
        Gives what the path remembers.
    in_force : callable
        Gives the setting with the limits in force.
    """

    def __init__(
        self,
        filed: Setting,
        reader: Reader,
        clock: Clock,
        executor: Executor,
        command: Callable[[BaselineCommand, Person], Awaitable[Outcome]],
        baselines: Callable[[], Mapping[Key, Baseline]],
        in_force: Callable[[], Setting],
    ) -> None:
        self._filed = filed
        self._reader = reader
        self._clock = clock
        self._executor = executor
        self._command = command
        self._baselines = baselines
        self._in_force = in_force
        self._sim = filed.gateway.simulated
        self.progress: dict[Key, Progress] = {}
        """Of every level that is being learnt."""
        self._due: dict[Key, None] = {}
        self._wake = asyncio.Event()
        known = baselines()
        self._feeds: dict[tuple[PointKey, str], tuple[str, ...]] = {}
        """Masks that are learnt with a level."""
        for point in filed.plant.points.values():
            for mask in point.masks:
                if mask.is_learnt:
                    feed = (point.key, mask.base_level)
                    self._feeds[feed] = (*self._feeds.get(feed, ()), mask.name)
            for kind in learnable(point):
                key = (point.key, kind.name, self._sim)
                if key not in known or known[key].state is BaselineState.RETIRED:
                    self.progress[key] = Progress()

    def measured(self, measurements: Iterable[Measurement]) -> None:
        """Count what was just stored; where enough has come, look."""
        if not self.progress:
            return
        for one in measurements:
            if one.sim is not self._sim or not one.verdict.is_fit:
                continue
            for level in one.levels:
                self._count((one.point, level.name, one.sim))
                for mask in self._feeds.get((one.point, level.name), ()):
                    self._count((one.point, mask, one.sim))

    def _count(self, key: Key) -> None:
        progress = self.progress.get(key)
        if progress is not None:
            progress.missing -= 1
            if progress.missing <= 0:
                self._due[key] = None
                self._wake.set()

    def heard(self, events: Iterable[Event]) -> None:
        """Stop learning what is proposed; begin anew with what was retired."""
        for event in events:
            match event:
                case BaselineProposed(baseline=one) | BaselineApproved(baseline=one):
                    self.progress.pop((one.point, one.level, one.sim), None)
                case BaselineRetired(baseline=one):
                    point = self._filed.plant.points[one.point]
                    if any(kind.name == one.level for kind in learnable(point)):
                        self.progress[one.point, one.level, one.sim] = Progress()
                case _:
                    pass

    async def run(self) -> None:
        """Learn what is due, for ever."""
        while True:
            await self._wake.wait()
            self._wake.clear()
            while self._due:
                key = next(iter(self._due))
                del self._due[key]
                progress = self.progress.get(key)
                if progress is None:
                    continue
                try:
                    await self._look(key, progress)
                except StoreError as error:
                    progress.missing = LEAST
                    log.warning("the baseline of %s %s is not learnt now: %s", key[0], key[1], error)
                except Exception:  # our own fault: the monitoring goes on without this baseline
                    self.progress.pop(key, None)
                    log.exception("the baseline of %s %s is not learnt", key[0], key[1])

    async def _look(self, key: Key, progress: Progress) -> None:
        learnt = await self._learn(key, progress, None)
        wanted = self._filed.plant.machine_of[key[0].machine].learning.captures
        if not isinstance(learnt.outcome, Baseline):
            progress.missing = max(1, (wanted - learnt.count) // LOOKS)  # so that it shows how far it is
            return
        reason = f"the first {learnt.outcome.count} fit values in like conditions"
        await self._command(ProposeBaseline(learnt.outcome, reason), _GATEWAY)

    async def _learn(self, key: Key, progress: Progress, least: int | None) -> Learnt:
        """Look through what is stored, stretch by stretch; `progress` remembers where to go on, and why nothing came of it."""
        point, level, sim = key
        machine = self._filed.plant.machine_of[point.machine]
        mask = mask_of(self._filed.plant.points[point], level)
        kind = kind_at(self._filed, point, level if mask is None else mask.base_level)
        retired, repaired = self._retired_at(key), self._repaired_at(key)
        work = partial(learn, machine, point, kind, learnt_since=repaired, sim=sim, least=least)
        for _ in range(STRETCHES):
            begin = max(time for time in (EARLIEST, retired, progress.since) if time is not None)
            values, speeds, told = await self._read(point, kind, begin, sim, STRETCH, earliest=True)
            loop = asyncio.get_running_loop()
            learnt = await loop.run_in_executor(self._executor, partial(work, values, speeds, told, self._clock.now()))
            if mask is not None and isinstance(learnt.outcome, Baseline):
                learnt = await self._mask(mask, learnt, learnt.outcome, speeds)
            progress.count = learnt.count
            if isinstance(learnt.outcome, Baseline):
                return learnt
            progress.note = f"{learnt.outcome.reason.value} ({learnt.outcome.text})"
            if learnt.resume_at is not None:  # unsteady: the next stretch begins after it
                progress.since = _after(learnt.resume_at)
                if mask is not None and learnt.times:  # steady, but without captures: say so before going on
                    return learnt
            elif len(values) == STRETCH:
                progress.since = _after(values[-1].t)
            else:
                return learnt
        return learnt

    async def _mask(self, mask: MaskSpec, learnt: Learnt, of_level: Baseline, speeds: Sequence[TrendPoint]) -> Learnt:
        """Read the captures again that the level's baseline rests on, one by one, and keep their lines only."""
        point, sim = self._filed.plant.points[of_level.point], of_level.sim
        rpm_hz = {speed.t: speed.value for speed in speeds}
        loop, spectra, why = asyncio.get_running_loop(), [], ""
        for t in learnt.times:
            for key in await self._reader.captures(point.sensor, t, t, sim, spectra=None):
                capture = await self._reader.capture(key)
                if capture is None:
                    continue
                work = partial(spectrum_for, point, mask, capture, rpm_hz.get(t))
                made = await loop.run_in_executor(self._executor, work)
                if isinstance(made, str):
                    why = f"; {made}"
                else:
                    spectra.append(made)
        outcome = await loop.run_in_executor(self._executor, with_mask, mask, of_level, spectra)
        if isinstance(outcome, Refusal):
            outcome = Refusal(outcome.reason, outcome.text + why)
        resume = (
            None if isinstance(outcome, Baseline) else learnt.times[-1]
        )  # these captures do not serve: go on with later ones
        return Learnt(outcome, len(spectra), resume, learnt.times)

    async def _read(
        self, point: PointKey, kind: LevelKind, since: Instant, sim: bool, most: int, earliest: bool
    ) -> tuple[tuple[TrendPoint, ...], tuple[TrendPoint, ...], tuple[TrendPoint, ...]]:
        machine = self._filed.plant.machine_of[point.machine]
        return await read_values(self._reader, machine, point, kind, since, LATEST, sim, most, earliest)

    def _retired_at(self, key: Key) -> Instant | None:
        """Give the time before which nothing is learnt from: a baseline was retired, or a proposal turned down."""
        known = self._baselines().get(key)
        return None if known is None else known.retired_at or known.learnt_since

    def _repaired_at(self, key: Key) -> Instant | None:
        """Give the end of the last repair, when an approved baseline was retired: values before it are another machine's."""
        return repaired_at(self._baselines().get(key))

    async def propose(self, point: PointKey, level: str, person: Person, reason: str) -> Outcome:
        """Propose a baseline from what there is, at least `LEAST` fit values in like conditions.

        Raises
        ------
        ParameterError
            No such point or level.
        """
        kind = kind_at(self._filed, point, level)
        if not has_baseline(kind):
            return Outcome(False, f"a {kind.title} has no baseline: its zero is a convention, so its spread says nothing")
        key = (point, level, self._sim)
        known = self._baselines().get(key)
        if known is not None and known.state is BaselineState.APPROVED:
            return Outcome(False, "an approved baseline is in force; retire it first")
        try:
            learnt = await self._learn(key, self.progress.get(key) or Progress(), LEAST)
        except StoreError as error:
            return Outcome(False, str(error))
        if not isinstance(learnt.outcome, Baseline):
            return Outcome(False, f"no baseline can be proposed: {learnt.outcome.reason.value} ({learnt.outcome.text})")
        return await self._command(ProposeBaseline(learnt.outcome, reason), person)

    def views(self) -> tuple[BaselineView, ...]:
        """Show every baseline, and how far the learning of the others is, in the plant file's order."""
        learning = {key: Told(one.count, one.note) for key, one in self.progress.items()}
        return baseline_views(self._filed, self._in_force(), self._baselines(), learning)

    async def approve(
        self, point: PointKey, level: str, person: Person, reason: str, proposed_at: Instant | None = None
    ) -> Outcome:
        """Make a proposed baseline the measure. Raises `ParameterError` for an unknown point or level."""
        return await self._command(ApproveBaseline(point, level, self._sim, reason, proposed_at), person)

    async def retire(self, point: PointKey, level: str, person: Person, reason: str) -> Outcome:
        """Take a baseline out of use. Raises `ParameterError` for an unknown point or level."""
        return await self._command(RetireBaseline(point, level, self._sim, reason), person)

    async def outlook(self, key: PointKey, level: str, sim: bool) -> OutlookView:
        """Say where a level is heading.

        Raises
        ------
        ParameterError
            No such point or level.
        StoreError
            The values cannot be read.
        """
        setting = self._in_force()
        kind = kind_at(setting, key, level)
        since = self._repaired_at((key, level, sim))
        read = await self._read(key, kind, EARLIEST if since is None else since, sim, MOST, earliest=False)
        machine, point = setting.plant.machine_of[key.machine], setting.plant.points[key]
        work = partial(outlook, machine, point, kind, *read, self._clock.now(), since, sim)
        return await asyncio.get_running_loop().run_in_executor(self._executor, work)

    async def outlooks(self, machine: str, sim_of: Callable[[PointKey], bool]) -> tuple[OutlookView, ...]:
        """Say where every level with a limit is heading, at all points of a machine. Raises as `outlook` does."""
        known = {str(one.id): one for one in self._filed.plant.machines}.get(machine)
        if known is None:
            raise ParameterError("no such machine", machine)
        wanted = [(point.key, limit.level) for point in known.points for limit in point.limits]
        return tuple([await self.outlook(key, level, sim_of(key)) for key, level in wanted])


async def read_values(
    reader: Reader,
    machine: Machine,
    point: PointKey,
    kind: LevelKind,
    since: Instant,
    until: Instant,
    sim: bool,
    most: int,
    earliest: bool = False,
) -> tuple[tuple[TrendPoint, ...], tuple[TrendPoint, ...], tuple[TrendPoint, ...]]:
    """Give the values of a level, the speeds they were taken at, and those of the level that tells of a standstill."""
    values = await reader.trend(point, kind.name, since, until, sim, most, earliest)
    if not values:
        return (), (), ()
    span, rule = (values[0].t, values[-1].t), machine.standstill
    speeds = await reader.trend(point, RPM, *span, sim, 2 * most)
    is_other = rule is not None and rule.level != kind.name
    told = await reader.trend(point, rule.level, *span, sim, 2 * most) if rule is not None and is_other else ()
    return values, speeds, told


def repaired_at(known: Baseline | None) -> Instant | None:
    """Give the end of the last repair, when an approved baseline was retired: values before it are another machine's."""
    if known is None:
        return None
    return known.retired_at if known.approved_at is not None and known.retired_at is not None else known.learnt_since


def _after(at: Instant) -> Instant:
    """Give the time just after one: a microsecond, which no two captures of a sensor lie apart."""
    return at + 1e-6
