"""A source made of several: the gateways of a site as one plant. Questions and orders go to whom they concern, or to all."""

import asyncio
from collections.abc import AsyncGenerator, AsyncIterator, Awaitable, Callable, Sequence
from contextlib import suppress
from dataclasses import replace
from typing import NamedTuple, TypeVar

from edgemon.board.merging import Merging
from edgemon.board.port import Lost, Outcome, Source, Update
from edgemon.board.view import site, whole
from edgemon.board.view.site import Index, Part
from edgemon.clock import Clock
from edgemon.errors import EdgemonError, LinkDown, LinkRefused
from edgemon.model.command import Person, Role
from edgemon.model.commission import CommissionView
from edgemon.model.ids import MachineId
from edgemon.model.instant import Duration, Instant
from edgemon.model.look import SpectrumRequest, SpectrumView, WaveformRequest, WaveformView, Which
from edgemon.model.outlook import BaselineView, OutlookView
from edgemon.model.performance import Performance
from edgemon.model.proof import Scope
from edgemon.model.search import EVERYTHING, Search
from edgemon.model.shift import HandoverView, LogKind
from edgemon.model.snapshot import JournalView, Snapshot, TrendBins, TrendPoint

T = TypeVar("T")

RETRY_S = 1.0
"""A source that ended or failed is asked again so much later."""
LOOK_EVERY_S = 1.0
"""Between two looks for gateways that fell silent."""
WAIT_MOST = 64
"""Updates that may wait for the board; past it the streams are not read."""
_ROLES = tuple(Role)


class _Said(NamedTuple):
    """What one source said, and when."""

    place: int
    update: Update | None
    """None: nobody said anything; time has passed."""
    at: Duration
    person: Person | None = None


class Several:
    """Several gateways as one source.

    Parameters
    ----------
    sources : sequence of (str, Source)
        Each with what was attached to; machines stand in their order.
    clock : Clock
        Drives the watch over silent gateways, and retries.
    """

    def __init__(self, sources: Sequence[tuple[str, Source]], clock: Clock) -> None:
        self._labels = [label for label, _ in sources]
        self._sources = [source for _, source in sources]
        self._clock = clock
        self._merging = Merging(self._labels)
        self._tasks: list[asyncio.Task[None]] = []

    async def updates(self) -> AsyncIterator[Update]:
        """Give a snapshot of all, then what moved at any; `Lost` only when all are."""
        await _end(self._tasks)
        self._merging = merging = Merging(self._labels)
        said: asyncio.Queue[_Said] = asyncio.Queue(WAIT_MOST)
        tasks = [
            asyncio.create_task(self._listen(place, said), name=f"listen to {label}")
            for place, label in enumerate(self._labels)
        ]
        tasks.append(asyncio.create_task(self._watch(said), name="watch over silent gateways"))
        self._tasks = tasks
        try:
            while True:
                one = await said.get()
                if one.update is None:
                    for task in tasks:
                        if task.done():
                            task.result()  # a task that broke breaks the board as a single source would
                    for update in merging.silent(one.at):
                        yield update
                elif (merged := merging.take(one.place, one.update, one.at, one.person)) is not None:
                    yield merged
        finally:
            await _end(tasks)

    async def hear(self) -> Snapshot:
        """Hear each gateway once, for questions without a board. Raises `LinkDown` where none answers."""
        self._merging = merging = Merging(self._labels)
        found = await asyncio.gather(*map(_first, self._sources))
        for place, (update, person) in enumerate(found):
            merging.take(place, update, self._clock.elapsed(), person)
        if all(part.lost is not None for part in merging.parts):
            raise LinkDown("; ".join(f"{part.label}: {part.lost}" for part in merging.parts))
        return site.snapshot(merging.parts, merging.known)

    async def _listen(self, place: int, said: "asyncio.Queue[_Said]") -> None:
        source = self._sources[place]
        while True:
            try:
                async for update in source.updates():
                    person = await source.whoami() if isinstance(update, Snapshot) else None
                    await said.put(_Said(place, update, self._clock.elapsed(), person))
                why = "the daemon ended the connection"
            except EdgemonError as error:
                why = error.what
            await said.put(_Said(place, Lost(why), self._clock.elapsed()))
            await self._clock.sleep(RETRY_S)

    async def _watch(self, said: "asyncio.Queue[_Said]") -> None:
        while True:
            await self._clock.sleep(LOOK_EVERY_S)
            await said.put(_Said(0, None, self._clock.elapsed()))

    async def whoami(self) -> Person:
        """Give the person with the least of all roles; the screens ask `SiteView` for what they may at one gateway."""
        known = [one.person for one in self.parts if one.person is not None]
        if not known:
            raise LinkDown("no gateway has said who you are")
        return min(known, key=lambda one: _ROLES.index(one.role))

    async def acknowledge(self, alarm: str, occurrence: int) -> Outcome:
        """Acknowledge one occurrence of an alarm, at its gateway."""
        return await self._order(alarm, lambda source, own: source.acknowledge(own, occurrence))

    async def shelve(self, alarm: str, duration_s: float, reason: str) -> Outcome:
        """Hide an alarm for a while, at its gateway."""
        return await self._order(alarm, lambda source, own: source.shelve(own, duration_s, reason))

    async def unshelve(self, alarm: str) -> Outcome:
        """End a shelf early."""
        return await self._order(alarm, lambda source, own: source.unshelve(own))

    async def reset(self, alarm: str) -> Outcome:
        """End a latched alarm whose condition is gone."""
        return await self._order(alarm, lambda source, own: source.reset(own))

    async def remove_from_service(self, alarm: str, reason: str) -> Outcome:
        """Take an alarm out of service."""
        return await self._order(alarm, lambda source, own: source.remove_from_service(own, reason))

    async def return_to_service(self, alarm: str) -> Outcome:
        """Put an alarm back into service."""
        return await self._order(alarm, lambda source, own: source.return_to_service(own))

    async def diagnose(self, machine: str, point: str) -> Outcome:
        """Have the newest capture of a point diagnosed."""
        return await self._order(machine, lambda source, own: source.diagnose(own, point))

    async def _order(self, about: str, order: Callable[[Source, str], Awaitable[Outcome]]) -> Outcome:
        """Give an order to the gateway of an alarm or a machine; a refusal names it."""
        found = self.known.own(about)
        if found is None:
            return Outcome(False, f"no gateway, or more than one, has {about}: nothing was ordered")
        place, own = found
        outcome = await self._to(place, lambda source: order(source, own))
        return outcome if outcome.done else replace(outcome, why=f"{self.names[place]}: {outcome.why}")

    async def silence(self) -> Outcome:
        """Silence the horns of all."""
        return await self._all(lambda source, _: source.silence())

    async def lamp_test(self) -> Outcome:
        """Test the horns and beacons of all."""
        return await self._all(lambda source, _: source.lamp_test())

    async def start_proof(self, scope: Scope, duration_s: float, reason: str) -> Outcome:
        """Announce a proof of alarms at the gateway of its machine; of an area or the whole plant at all."""
        if scope.machine is None:
            return await self._all(lambda source, _: source.start_proof(scope, duration_s, reason))

        def start(source: Source, own: str) -> Awaitable[Outcome]:
            return source.start_proof(scope._replace(machine=MachineId(own)), duration_s, reason)

        return await self._order(scope.machine, start)

    async def stop_proof(self, reason: str) -> Outcome:
        """End the proof that is on, at each gateway that has one."""

        async def stop(source: Source, place: int) -> Outcome:
            gateway = self._merging.parts[place].gateway
            return Outcome(True) if gateway is None or gateway.proof is None else await source.stop_proof(reason)

        return await self._all(stop)

    async def start_collection(self, target: str, interval_s: float, duration_s: float, reason: str) -> Outcome:
        """Have the sensor of a point measure more often, at the gateway of its machine."""
        machine, _, point = target.partition("/")
        times = interval_s, duration_s
        return await self._order(machine, lambda source, own: source.start_collection(f"{own}/{point}", *times, reason))

    async def stop_collection(self, target: str, reason: str) -> Outcome:
        """Take a fast collection back, at the gateway of its machine."""
        machine, _, point = target.partition("/")
        return await self._order(machine, lambda source, own: source.stop_collection(f"{own}/{point}", reason))

    async def write_log(self, text: str, sort: LogKind = LogKind.OBSERVATION) -> Outcome:
        """Write into the shift log of each."""
        return await self._all(lambda source, _: source.write_log(text, sort))

    async def take_over(self, digest: str, note: str = "") -> Outcome:
        """Take the shift over at each whose page was read, by its own digest."""
        own = whole.digests(digest)

        async def take(source: Source, place: int) -> Outcome:
            if place >= len(own) or not own[place]:
                return Outcome(False, "its page was not on the one that was read")
            return await source.take_over(own[place], note)

        return await self._all(take)

    async def _all(self, order: Callable[[Source, int], Awaitable[Outcome]]) -> Outcome:
        """Give an order to all at once, and say who did not do it."""

        async def one(place: int) -> Outcome:
            try:
                lost = self.parts[place].lost
                return Outcome(False, lost) if lost is not None else await order(self._sources[place], place)
            except EdgemonError as error:
                return Outcome(False, error.what)

        return whole.outcome(self.names, await asyncio.gather(*map(one, range(len(self._sources)))))

    async def handover(self) -> HandoverView:
        """Give all pages as one; whose could not be had is said on it. Raises `LinkDown` where none could."""
        return whole.handover(self.names, await self._each(lambda source, _: source.handover()))

    async def journal(self, limit: int, before: int | None = None, search: Search = EVERYTHING) -> tuple[JournalView, ...]:
        """Give the newest entries of all journals by time; who could not be asked is said at the top of the first page."""
        begun = whole.befores(before, len(self._sources))
        only = self.known.at.get(search.machine or "")

        async def ask(source: Source, place: int) -> tuple[JournalView, ...]:
            if begun[place] == 0 or (only is not None and only[0] != place):
                return ()
            own = search if only is None else replace(search, machine=only[1])
            return await source.journal(limit, begun[place], own)

        found = await self._each(ask)
        merged = whole.journal(self.names, [() if isinstance(one, str) else one for one in found], begun, limit)
        return merged if before is not None else whole.with_gaps(merged, self.names, found, limit, self._clock.now())

    async def performance(self, since: Instant, until: Instant | None = None, sim: bool | None = None) -> Performance:
        """Give the figures of all beside each other. Raises `LinkDown` where none could be had."""
        found = await self._each(lambda source, _: source.performance(since, until, sim))
        named = list(zip(self.names, found, strict=True))
        missing = {name: one for name, one in named if isinstance(one, str)}
        return whole.performance({name: one for name, one in named if not isinstance(one, str)}, missing)

    async def sign_off(self, machine: str, point: str, remark: str, left_open: Sequence[str]) -> Outcome:
        """Sign a point off at the gateway of its machine."""
        return await self._order(machine, lambda source, own: source.sign_off(own, point, remark, left_open))

    async def withdraw_sign_off(self, machine: str, point: str, reason: str) -> Outcome:
        """Take the sign-off of a point back, at the gateway of its machine."""
        return await self._order(machine, lambda source, own: source.withdraw_sign_off(own, point, reason))

    async def commissioning(self) -> CommissionView:
        """Give how far the points of all that answer are. Raises `LinkDown` where none does."""
        machines = self._merging.known.machines
        found = await self._each(lambda source, _: source.commissioning())
        given = [(place, one) for place, one in enumerate(found) if not isinstance(one, str)]
        rows = (replace(row, machine=machines[place].get(row.machine, row.machine)) for place, one in given for row in one.rows)
        return CommissionView(max(one.now for _, one in given), tuple(rows))

    async def baselines(self) -> tuple[BaselineView, ...]:
        """Give the baselines of all that answer."""
        machines = self.known.machines
        found = await self._each(lambda source, _: source.baselines())
        return tuple(
            replace(one, machine=machines[place].get(one.machine, one.machine))
            for place, some in enumerate(found)
            if not isinstance(some, str)
            for one in some
        )

    async def _each(self, ask: Callable[[Source, int], Awaitable[T]]) -> list[T | str]:
        """Ask all that are heard at once; of who does not answer give why. Raises `LinkDown` where nobody does."""

        async def one(place: int) -> T | str:
            lost = self.parts[place].lost
            if lost is not None:
                return lost
            try:
                return await ask(self._sources[place], place)
            except EdgemonError as error:
                return error.what

        found = await asyncio.gather(*map(one, range(len(self._sources))))
        if all(isinstance(some, str) for some in found):
            raise LinkDown("; ".join(f"{name}: {why}" for name, why in zip(self.names, found, strict=True)))
        return list(found)

    async def trend(self, machine: str, point: str, level: str, since: Instant, until: Instant) -> tuple[TrendPoint, ...]:
        """Give the past of a level."""
        return await self._ask(machine, lambda source, own: source.trend(own, point, level, since, until))

    async def trend_bins(
        self, machine: str, point: str, level: str, since: Instant | None, until: Instant, columns: int
    ) -> TrendBins:
        """Give the past of a level cut into stretches."""
        return await self._ask(machine, lambda source, own: source.trend_bins(own, point, level, since, until, columns))

    async def waveform(self, machine: str, point: str, which: Which, wanted: WaveformRequest) -> WaveformView:
        """Give a waveform as columns of a picture."""
        return await self._ask(machine, lambda source, own: source.waveform(own, point, which, wanted))

    async def spectrum(self, machine: str, point: str, which: Which, wanted: SpectrumRequest) -> SpectrumView:
        """Give a spectrum; with an `EnvelopeRequest` that of the envelope."""
        return await self._ask(machine, lambda source, own: source.spectrum(own, point, which, wanted))

    async def forecast(self, machine: str, point: str, level: str) -> OutlookView | None:
        """Say where a level is heading; None where nobody can."""
        found = await self._ask(machine, lambda source, own: source.forecast(own, point, level))
        return found and replace(found, machine=machine)

    async def _ask(self, machine: str, ask: Callable[[Source, str], Awaitable[T]]) -> T:
        """Ask the gateway of a machine. Raises `LinkRefused` where it is nobody's, and what that gateway raises."""
        found = self.known.own(machine)
        if found is None:
            raise LinkRefused(f"no gateway, or more than one, has {machine}")
        return await self._to(found[0], lambda source: ask(source, found[1]))

    async def _to(self, place: int, what: Callable[[Source], Awaitable[T]]) -> T:
        """Turn to one gateway; what it raises names it."""
        name, lost = self.names[place], self.parts[place].lost
        if lost is not None:
            raise LinkDown(f"{name}: {lost}")
        try:
            return await what(self._sources[place])
        except EdgemonError as error:
            raise type(error)(f"{name}: {error.what}", error.where, error.hint) from error

    @property
    def names(self) -> tuple[str, ...]:
        """Name the gateways, each otherwise."""
        return self._merging.known.names

    @property
    def known(self) -> Index:
        """Give which machine is at which gateway."""
        return self._merging.known

    @property
    def parts(self) -> Sequence[Part]:
        """Give each gateway as last heard."""
        return self._merging.parts

    async def close(self) -> None:
        """Stop asking; a source whose door jams keeps no other one open."""
        await _end(self._tasks)
        for source in self._sources:
            with suppress(EdgemonError):
                await source.close()


async def _first(source: Source) -> tuple[Update, Person | None]:
    """Give the first that a source says, and for whom it takes us."""
    updates = source.updates()
    try:
        async for update in updates:
            return update, await source.whoami() if isinstance(update, Snapshot) else None
    except EdgemonError as error:
        return Lost(error.what), None
    finally:
        if isinstance(updates, AsyncGenerator):
            await updates.aclose()
    return Lost("the daemon ended the connection"), None


async def _end(tasks: Sequence["asyncio.Task[None]"]) -> None:
    for task in tasks:
        task.cancel()
    await asyncio.gather(*tasks, return_exceptions=True)
