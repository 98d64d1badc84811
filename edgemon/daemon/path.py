"""The data path: deliveries in, one transaction, then the acknowledgement, then the world is told.

One task owns the memory and is the only one that judges. Everything that moves a state (a batch of messages, the tick
of a second, a person's command, a link that came or went) waits in one bounded inbox and is worked off in order:

    batch -> decode, analyse (worker thread) -> judge -> COMMIT -> adopt the next memory -> acknowledge -> publish

- A crash before the commit: nothing is stored, the broker delivers again.
- A crash between commit and acknowledgement: the broker delivers again, the keys are known, the repeat changes nothing.
- The commit fails (disk full, or slow): people are told of the states all the same, what moved them is not acknowledged,
  and the broker keeps it. Once the disk works again, the states and journal entries of the time between are written
  (`storing.py`), the connection is made anew, and the broker delivers again what was judged before: it is stored then,
  and not judged a second time.
- A batch that breaks our own code: its messages are tried one by one, and the one that breaks it is kept in
  quarantine, so that it can never block the queue.
"""

import asyncio
import logging
from collections.abc import Callable, Iterable, Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import replace
from functools import partial
from typing import assert_never

from edgemon import __version__
from edgemon.clock import Clock
from edgemon.daemon.collecting import topics
from edgemon.daemon.hub import Hub
from edgemon.daemon.obeying import obey
from edgemon.daemon.outcomes import doubted, outcome_of
from edgemon.daemon.publisher import Publisher
from edgemon.daemon.pulse import Pulse
from edgemon.daemon.remembering import Carried, changed, gone, memory_of
from edgemon.daemon.storing import Keeps, Storing
from edgemon.daemon.unrepeated import Unrepeated
from edgemon.daemon.work import AnyCommand, End, Happened, Order, Tick, Work
from edgemon.decode.assemble import Assembly
from edgemon.decode.decoded import Decoded
from edgemon.decode.registry import quarantine
from edgemon.engine import judge as judging
from edgemon.engine import signoff as signing
from edgemon.engine.analyse import Analysis, Judged, analyse, decode_all, questions
from edgemon.engine.baselines import Key, in_force
from edgemon.engine.draft import Judgement
from edgemon.engine.memory import Memory, Setting
from edgemon.engine.unkept import judged_until, unkept
from edgemon.errors import DecodeError, EdgemonError, StoreCorrupt
from edgemon.model.alarm import MachineSpeed
from edgemon.model.baseline import Baseline
from edgemon.model.command import Person, Silence
from edgemon.model.event import Event, JournalEntry
from edgemon.model.gateway_event import GatewayStarted, StoreChanged
from edgemon.model.ids import CaptureKey, MachineId, ReadingKey
from edgemon.model.instant import Instant
from edgemon.model.level import Measurement
from edgemon.model.message import Message, Quarantined
from edgemon.model.snapshot import Outcome
from edgemon.mqtt.port import Delivery, Link
from edgemon.store.ballast import Ballast
from edgemon.store.port import Commit, Store

BATCH = 32
"""Messages judged in one transaction at most; more costs memory and brings nothing (measured)."""

AGAIN_AT_ONCE = 8 * BATCH
"""Messages kept while the store failed that are stored in one second; what comes meanwhile has the rest of the time."""
_INBOX = 4
_NOTHING: frozenset[CaptureKey] = frozenset()
_NO_READING: frozenset[ReadingKey] = frozenset()

log = logging.getLogger(__name__)


class DataPath:
    """The owner of the memory."""

    def __init__(
        self,
        setting: Setting,
        store: Store,
        link: Link,
        clock: Clock,
        executor: Executor,
        publisher: Publisher,
        hub: Hub,
        ballast: Ballast | None = None,
    ) -> None:
        self._filed = self._setting = setting
        self._store = store
        self._storing = Storing(store, clock, ballast)
        self._link = link
        self._clock = clock
        self._executor = executor
        self._publisher = publisher
        self._hub = hub
        self._inbox: asyncio.Queue[Work] = asyncio.Queue(_INBOX)
        self._memory = Memory({}, {}, {}, Assembly(), {})
        self._unrepeated = Unrepeated()
        self._at_work = False
        self._is_told = False
        """The journal was told that the store fails."""
        self.damaged = asyncio.Event()
        """Set once the store turns out to be damaged: trying again does not help."""
        self.pulse = Pulse(clock)
        """Notes that the path comes round."""
        self.listener: Callable[[Iterable[Event]], None] = _nobody
        """Told what happened, after it was committed."""
        self.measured: Callable[[Iterable[Measurement]], None] = _nobody
        """Told what was measured, after it was committed."""

    async def begin(
        self,
        plant_fingerprint: str,
        carried: Carried | None = None,
        settings: Mapping[str, str] | None = None,
        has_run: bool = False,
    ) -> None:
        """Load what the last run left, journal the start and how the settings files differ from then, show everything."""
        settings = settings or {}
        saved = await self._store.load()
        carried = None if carried is None else carried.onto(saved)
        saved = saved if carried is None else carried.over(saved)
        now = self._clock.now()
        memory = memory_of(self._filed, saved, now)
        taken_back = signing.withdrawn(self._filed.plant, memory, now)
        self._memory = signing.with_signs(memory, taken_back)
        await self._storing.begin(self._memory.sensors, 0 if carried is None else carried.dropped)
        self._setting = in_force(self._filed, self._memory.baselines)
        self._hub.limits_are(self._setting)
        started = GatewayStarted(now, __version__, plant_fingerprint)
        schedules, differs = topics(self._filed), changed(saved, settings, now, has_run)
        self._publisher.begin(saved.published_seq, saved.next_seq - 1, gone(self._filed, saved), saved.schedules - schedules)
        if carried is not None:
            self._unrepeated.restore(carried.messages, carried.lost)
            await self._conclude(Judgement(self._memory, carried.commit(now), frozenset()))
        judgement = judging.begin(self._setting, saved, self._memory, started, (*differs, *taken_back))
        if settings != saved.settings:
            judgement = replace(judgement, commit=replace(judgement.commit, settings=settings))
        ours = dict.fromkeys(schedules - saved.schedules, True)
        judgement = replace(judgement, commit=replace(judgement.commit, schedules=ours))
        await self._conclude(judgement)
        if carried is not None and carried.since is not None and self._storing.is_well:
            await self._works(carried.since, len(carried.events))

    @property
    def carried(self) -> Carried:
        """Give what a next run in this process is to know."""
        kept, storing = self._unrepeated, self._storing
        return Carried(self._memory, storing.unwritten, kept.messages, storing.dropped, kept.lost, self.failing_since)

    @property
    def failing_since(self) -> Instant | None:
        """Give since when not everything is stored; None where it is."""
        return None if self._storing.is_well else self._storing.since

    @property
    def setting(self) -> Setting:
        """Give what is in force: the plant file's limits, and those that approved baselines lead to."""
        return self._setting

    @property
    def speeds(self) -> Mapping[tuple[MachineId, bool], MachineSpeed]:
        """The newest shaft speed heard of each machine, real and simulated."""
        return self._memory.speeds

    @property
    def baselines(self) -> Mapping[Key, Baseline]:
        """Give the newest baseline of each level."""
        return self._memory.baselines

    @property
    def is_idle(self) -> bool:
        """Say whether nothing waits and nothing is being worked at."""
        return self._inbox.empty() and not self._at_work

    async def put(self, work: Work) -> None:
        """Hand work to the path; waits while its inbox is full."""
        await self._inbox.put(work)

    async def command(self, command: AnyCommand, person: Person) -> Outcome:
        """Do what a person commands and say what became of it."""
        outcome: asyncio.Future[Outcome] = asyncio.get_running_loop().create_future()
        await self._inbox.put(Order(command, person, outcome))
        return await outcome

    async def tell(self, event: Event) -> None:
        """Have the journal take an event; returns when it is stored."""
        stored: asyncio.Future[None] = asyncio.get_running_loop().create_future()
        await self._inbox.put(Happened(event, stored))
        await stored

    async def run(self) -> None:
        """Work until `End`."""
        while True:
            self._at_work = False
            work = await self._inbox.get()
            self._at_work = True
            self.pulse.beat()
            match work:
                case list():
                    await self._deliver(work)
                case Tick():
                    await self._tick()
                case Happened(event, stored):
                    await self._happened(event)
                    if stored is not None and not stored.done():
                        stored.set_result(None)
                case Order():
                    await self._order(work)
                case End(event):
                    await self._happened(event)
                    await self._recover()
                    await self._repeat(len(self._unrepeated))
                    return
                case _:
                    assert_never(work)

    async def _deliver(self, deliveries: Sequence[Delivery]) -> None:
        try:
            judgement = await self._judged([delivery.message for delivery in deliveries])
        except Exception:
            if len(deliveries) > 1:
                for delivery in deliveries:
                    await self._deliver([delivery])
                return
            log.exception("a message broke the analysis and is kept in quarantine: %r", deliveries[0].message.topic)
            judgement = self._condemned(deliveries[0].message)
        is_stored = await self._conclude(judgement)
        now = self._clock.now()
        self.pulse.lagged(now - min((delivery.message.received_at for delivery in deliveries), default=now))
        if is_stored:
            self._link.acknowledge(deliveries)
        else:
            self._unrepeated.keep(deliveries)

    async def _repeat(self, at_most: int) -> None:
        """Store what was kept because no broker delivers it again, once that is possible."""
        while at_most > 0 and self._storing.is_well and (some := self._unrepeated.take(min(at_most, BATCH))):
            at_most -= len(some)
            await self._deliver(some)

    async def _judged(self, messages: Sequence[Message]) -> Judgement:
        loop = asyncio.get_running_loop()
        now = self._clock.now()
        setting, memory = self._setting, self._memory
        judged = self._storing.judged
        first = await loop.run_in_executor(self._executor, _decode_and_analyse, setting, memory, messages, now, judged)
        if isinstance(first, Analysis):
            return judging.judge(setting, memory, first, now)
        asked = questions(memory, first)
        known, judged = await self._storing.standing(asked, memory.sensors, partial(judged_until, setting, memory))
        parts_known = {key for key, _ in known.parts}
        log.debug(
            "repeats asked for: %d, of them stored: %d, parts: %d", len(asked.captures), len(known.captures), len(parts_known)
        )
        analysis = await loop.run_in_executor(
            self._executor, analyse, setting, memory, messages, first, known.captures, known.readings, now, judged
        )
        return judging.judge(setting, memory, analysis, now)

    def _condemned(self, message: Message) -> Judgement:
        error = DecodeError("the analysis broke on this message", message.topic, "report it with the quarantined bytes")
        whole = replace(quarantine(message, error), head=message.payload)  # it is our fault: nothing of it is lost
        analysis = Analysis(self._memory.assembly, (whole,), 1)
        return judging.judge(self._setting, self._memory, analysis, self._clock.now())

    async def _tick(self) -> None:
        await self._recover()
        await self._repeat(AGAIN_AT_ONCE)
        now = self._clock.now()
        if self._memory.assembly.open:
            await self._conclude(await self._judged([]))
        lost = [*(() if self._link.status.up else ("broker",)), *(() if self._storing.is_well else ("store",))]
        await self._conclude(judging.tick(self._setting, self._memory, now, lost))

    async def _happened(self, event: Event) -> None:
        await self._conclude(judging.happened(self._setting, self._memory, event, self._clock.now()))

    async def _order(self, order: Order) -> None:
        try:
            failing = None if self._storing.is_well else self._storing.error
            setting, memory, now = self._setting, self._memory, self._clock.now()
            judgement = obey(self._filed, setting, memory, order.command, order.person, now, failing)
        except EdgemonError as error:
            if not order.outcome.done():
                order.outcome.set_exception(error)
            return
        is_stored = await self._conclude(judgement)
        if not order.outcome.done():
            nothing = "nothing sounds" if isinstance(order.command, Silence) else "nothing changed"
            outcome = outcome_of(judgement.commit.events, nothing)
            in_doubt = not is_stored and self._storing.keeps is Keeps.NOTHING
            order.outcome.set_result(doubted(outcome) if in_doubt else outcome)

    async def _conclude(self, judgement: Judgement) -> bool:
        """Commit, and only then adopt and tell; says whether everything is stored.

        What is not is left to the broker; people are told all the same.
        """
        entries = await self._committed(judgement.commit)
        if entries is not None:
            self._adopt(judgement, entries)
            return True
        was_told, self._is_told = self._is_told, True
        self._look_for_damage()
        light = unkept(judgement, self._memory)
        self._adopt(light, await self._storing.hold(light.commit, judgement.commit))
        if not was_told:
            await self._happened(StoreChanged(self._clock.now(), self._storing.keeps.value, str(self._storing.error)))
        return False

    async def _committed(self, commit: Commit) -> tuple[JournalEntry, ...] | None:
        if not self._storing.is_well:
            return None
        if commit.is_empty:
            return ()
        began = self._clock.elapsed()
        entries = await self._storing.keep(commit)
        if entries is not None:
            self.pulse.committed(self._clock.elapsed() - began)
        return entries

    def _adopt(self, judgement: Judgement, entries: tuple[JournalEntry, ...]) -> None:
        if judgement.memory.baselines is not self._memory.baselines:
            self._setting = in_force(self._filed, judgement.memory.baselines)
            self._hub.limits_are(self._setting)
        self._memory = judgement.memory
        machines = {track[0].machine for track in judgement.moved if track[0] in self._setting.rules}
        self._hub.adopt(self._memory, machines)
        self._hub.store_is(self._storing.keeps.value, self._storing.since, self._storing.error)
        self._publisher.moved(machines)
        self.listener(judgement.commit.events)
        self.measured(judgement.commit.measurements)
        self._grown(entries)

    def _grown(self, entries: Sequence[JournalEntry]) -> None:
        if entries:
            self._hub.journal_end = (entries[-1].seq, entries[-1].hash)
            self._publisher.journal_grew(entries[-1].seq)

    def _look_for_damage(self) -> None:
        if isinstance(self._storing.error, StoreCorrupt):
            self.damaged.set()

    async def _recover(self) -> None:
        """Try whether the store works again; then have the broker deliver again what was not kept."""
        parts = [part for opened in self._memory.assembly.open.values() for part in opened.parts.values()]
        written = await self._storing.attempt(parts, self._memory.counters)
        self._look_for_damage()
        if written is None:
            return
        self._memory = replace(self._memory, counters=written.counters)
        self._hub.store_is(self._storing.keeps.value, self._storing.since, self._storing.error)
        self._grown(written.entries)
        if not self._storing.is_well:
            return
        self._is_told = False
        await self._works(self._storing.since)
        await self._link.renew("the store works again: what was not kept is to be delivered again")

    async def _works(self, since: Instant | None, handed_on: int = 0) -> None:
        """Tell that the store works again, how much was written late (of an earlier run, too) and what is lost."""
        late, detail = self._storing.told()
        late, detail = late + handed_on, "; ".join(part for part in (detail, self._unrepeated.told()) if part)
        log.info("the store works again, %d journal entries were written late; %s", late, detail)
        await self._happened(StoreChanged(self._clock.now(), self._storing.keeps.value, detail, since, late))


def _nobody(told: Iterable[object]) -> None:
    """Listen to nothing."""


def _decode_and_analyse(
    setting: Setting, memory: Memory, messages: Sequence[Message], now: float, judged: Judged
) -> Analysis | tuple[Decoded | Quarantined, ...]:
    """Analyse at once where nothing can be a repeat; else give what was decoded, for the store to be asked."""
    decoded = decode_all(setting, memory, messages)
    if questions(memory, decoded).are_any:
        return decoded
    return analyse(setting, memory, messages, decoded, _NOTHING, _NO_READING, now, judged)
