"""The daemon: start order, stop order, one task group."""

import asyncio
import logging
from collections import Counter
from collections.abc import Callable, Coroutine, Iterable, Mapping, Sequence
from concurrent.futures import Executor, ThreadPoolExecutor
from contextlib import AsyncExitStack
from dataclasses import replace

from edgemon import __version__
from edgemon.api.health import Health
from edgemon.api.service import Api
from edgemon.api.view import words
from edgemon.clock import Clock
from edgemon.daemon.annunciator import Annunciator
from edgemon.daemon.collecting import published
from edgemon.daemon.commissioning import Commissioning
from edgemon.daemon.diagnostics import Diagnostics
from edgemon.daemon.hub import Hub
from edgemon.daemon.learning import Learning
from edgemon.daemon.looking import Looking
from edgemon.daemon.opening import Opened, open_all, storable
from edgemon.daemon.path import BATCH, DataPath
from edgemon.daemon.plan import document
from edgemon.daemon.proving import Proving
from edgemon.daemon.publisher import Publisher
from edgemon.daemon.remembering import LEFT, Carried
from edgemon.daemon.shift import Shift
from edgemon.daemon.supervisor import Supervisor, watch
from edgemon.daemon.tending import Tending
from edgemon.daemon.watching import Watching, watcher
from edgemon.daemon.wiring import link_to
from edgemon.daemon.work import End, Happened, Tick
from edgemon.engine.memory import Setting, setting_of
from edgemon.errors import EdgemonError, LinkDown
from edgemon.model.annunciation import Annunciation
from edgemon.model.event import Event
from edgemon.model.gateway import Broker, Gateway
from edgemon.model.gateway_event import ClockStepped, GatewayStopped, LinkChanged, StoreMended
from edgemon.model.ids import MachineId
from edgemon.model.machine import Plant
from edgemon.model.outgoing import Outgoing
from edgemon.mqtt.embedded import EmbeddedBroker
from edgemon.mqtt.port import Link
from edgemon.mqtt.wire import annunciator_state, gateway_offline, gateway_state, machine_states
from edgemon.store.mend import may_mend
from edgemon.store.port import Reader, Store

TICK_S = 1.0
CLOCK_STEP_S = 2.0
"""A difference between UTC and the monotonic clock over one tick that is a step, not a drift."""

_FLUSH_S = 3.0
_END_S = 10.0
"""What was taken from the broker is worked off so long at the end; a store that fails must not hold the stop up for ever."""
_STATUS_EVERY = 10

log = logging.getLogger(__name__)


class Service:
    """One daemon, from start to stop."""

    def __init__(
        self, plant: Plant, gateway: Gateway, fingerprint: str, clock: Clock, supervisor: Supervisor | None = None
    ) -> None:
        self._plant = plant
        self._gateway = gateway
        self._fingerprint = fingerprint
        self._clock = clock
        self._supervisor = supervisor or Supervisor({})
        self.settings: Mapping[str, str] = {}
        """What the settings files say, as `remembering.written_down` gives it; empty where there are none."""
        self.has_run = False
        """Another daemon ran in this process before it: changed settings were read anew on somebody's word."""
        self.stopping_for = "told to stop"
        """Why it ends, for the journal."""
        self.is_damaged = False
        """It ended because its store is damaged; it is to be started anew with what it `carried`."""
        self.is_storable = False
        """It began with a store that could not be opened, and ended because that can be; to be started anew likewise."""
        self.carried: Carried | None = None
        """What the run before it in this process remembers, where the store may have lost it; at its end, its own."""
        self.ready = asyncio.Event()
        """Set when everything is open and bound; the broker need not answer yet."""
        self.broker: Broker = gateway.broker
        """The broker in use, the embedded one included; known once ready."""

    async def run(self, stop: asyncio.Event) -> None:
        """Run until `stop` is set; then end in order.

        Raises
        ------
        EdgemonError
            Something cannot be opened at the start.
        """
        async with AsyncExitStack() as stack:
            if self.broker.is_embedded:
                embedded = EmbeddedBroker()
                await embedded.start()
                stack.push_async_callback(embedded.stop)
                self.broker = embedded.address(self.broker)
            opened = await open_all(self._gateway, self._plant, self._clock, stack)
            store, reader = opened.store, opened.reader
            executor = stack.enter_context(ThreadPoolExecutor(1, "compute"))
            setting = setting_of(self._plant, self._gateway)

            def birth() -> tuple[Outgoing, ...]:
                return (gateway_state(self._gateway.root, hub.gateway()),)

            link = link_to(self._gateway, self.broker, self._clock, self._plant.site, birth)
            hub = Hub(setting, reader, link, self._clock)

            def render(machine: MachineId) -> tuple[Outgoing, ...]:
                root, now = self._gateway.root, self._clock.now()
                states = machine_states(root, self._plant.site, hub.machine(machine))
                return (*states, *published(root, path.setting, hub.memory, machine, now))

            publisher = Publisher(link, store, reader, self._clock, self._gateway.root, self._plant.site, render)
            path = DataPath(setting, store, link, self._clock, executor, publisher, hub, opened.ballast)
            doors = self._doors(hub, path, opened, stack)
            await self._begin(path, hub, opened.mended)  # journals what the settings end: what may refuse them came before
            thinker = stack.enter_context(ThreadPoolExecutor(1, "diagnose"))
            thinking = self._thinking(setting, reader, thinker, path, hub, publisher, link)
            looker = stack.enter_context(ThreadPoolExecutor(1, "look"))
            hub.looking, hub.upstreams = Looking(lambda: path.setting, reader, looker), opened.upstreams.views
            hub.unsent = lambda: (publisher.waiting, publisher.waiting_since)
            await link.start()
            log.info("started: %d machines, %d sensors", len(self._plant.machines), len(self._plant.sensors))
            beside = {
                "pump": lambda: _pump(link, path),
                "watching": self._watching(path, hub).run,
                "publisher": publisher.run,
                "tick": lambda: self._tick(path, publisher, link),
                "watch": lambda: watch(self._supervisor, self._clock, path.pulse.vitals, lambda: _line(hub)),
                "report": lambda: self._report(publisher, hub, link, store),
                "upstreams": opened.upstreams.run,
                "damage": lambda: self._damage(path, stop),
                **thinking,
                **self._disk(opened, path, hub, stop),
            }
            await self._work(stop, path, doors, beside)
            self.carried = self._handed_on(path, opened)
            await self._farewell(publisher, link)
        log.info("stopped")

    def _disk(
        self, opened: Opened, path: DataPath, hub: Hub, stop: asyncio.Event
    ) -> dict[str, Callable[[], Coroutine[None, None, None]]]:
        """Give what runs beside the path for the disk: what tends the store, or what waits for it."""
        if opened.tender is None:
            return {"storable": lambda: self._storable(stop)}
        tending = Tending(opened.tender, self._clock, lambda: path.is_idle)
        hub.keep = tending.view
        return {"tending": tending.run}

    async def _storable(self, stop: asyncio.Event) -> None:
        """End once the store can be opened: whoever runs this starts anew."""
        await storable(self._gateway, self._plant, self._clock)
        self.stopping_for = "the store can be written"
        self.is_storable = True
        stop.set()

    def _handed_on(self, path: DataPath, opened: Opened) -> Carried | None:
        carried = path.carried
        if self.is_damaged:
            return carried
        if self.is_storable and opened.away is not None:
            return replace(carried, knows_past=opened.away.was_read)
        if carried.left:
            log.error(LEFT, carried.left)
        return None

    async def _begin(self, path: DataPath, hub: Hub, mended: StoreMended | None) -> None:
        await path.begin(self._fingerprint, self.carried, self.settings, self.has_run)
        if mended is not None:
            hub.store_remark = words(mended)
            log.error("%s", hub.store_remark)
            await path.put(Happened(mended))

    async def _damage(self, path: DataPath, stop: asyncio.Event) -> None:
        """End where the store turns out to be damaged: whoever runs this starts anew, and that mends it."""
        await path.damaged.wait()
        if not may_mend(self._gateway.store, self._clock.now()):
            log.error("the store is damaged again and is not mended any more: replace the disk; machines are watched on")
            return
        self.stopping_for = "the store is damaged"
        self.is_damaged = True
        stop.set()

    def _doors(self, hub: Hub, path: DataPath, opened: Opened, stack: AsyncExitStack) -> list[Api | Health]:
        doors: list[Api | Health] = []

        def let_in(door: Api | Health) -> None:
            stack.callback(door.close)
            doors.append(door)

        try:
            let_in(Api(hub, self._gateway.access))
        except EdgemonError as error:
            if opened.away is None or not isinstance(error.__cause__, OSError):  # another daemon answers there
                raise
            log.error("no board and no command can ask until the store can be written: %s", error)
        if self._gateway.health_port is not None:
            let_in(Health(self._gateway.health_port, hub.snapshot, path.pulse.vitals))
        return doors

    def _thinking(
        self, setting: Setting, reader: Reader, thinker: Executor, path: DataPath, hub: Hub, publisher: Publisher, link: Link
    ) -> dict[str, Callable[[], Coroutine[None, None, None]]]:
        """Put diagnosis, learning and annunciation beside the path, and give what they run."""
        diagnostics = Diagnostics(setting, reader, self._clock, thinker, path.put, lambda: path.speeds)
        learning = Learning(setting, reader, self._clock, thinker, path.command, lambda: path.baselines, lambda: path.setting)

        annunciator = self._annunciator(path, hub, publisher, link)

        def listen(events: Iterable[Event]) -> None:
            diagnostics.notice(events, hub.store_is_ok)  # it reads the capture from the store
            learning.heard(events)
            annunciator.heard(events)

        if self.carried is not None:
            diagnostics.notice(self.carried.events, is_stored=False)
        path.listener, path.measured = listen, learning.measured
        hub.commands, hub.diagnoses, hub.learning = path.command, diagnostics.diagnose, learning
        hub.shift = Shift(reader, self._clock, path.tell, hub.snapshot, self._plant.points)
        hub.annunciator = annunciator
        proving = self._proving(reader, setting, path, hub, link)
        publisher.sent, annunciator.told = proving.sent, proving.told
        return {
            "diagnostics": diagnostics.run,
            "late diagnoses": lambda: diagnostics.catch_up(lambda: hub.store_is_ok),
            "learning": learning.run,
            "annunciator": annunciator.run,
            "proving": proving.run,
        }

    def _proving(self, reader: Reader, setting: Setting, path: DataPath, hub: Hub, link: Link) -> Proving:
        def is_linked() -> bool:
            return link.status.up

        proving = Proving(reader, self._clock, path.command, path.tell, lambda: hub.memory.proof, setting, is_linked)
        in_force, memory = (lambda: path.setting), (lambda: hub.memory)
        hub.proving, hub.collects = proving, path.command
        hub.commissions = Commissioning(reader, self._clock, proving, in_force, memory, lambda: hub.upstreams(), path.command)
        return proving

    def _watching(self, path: DataPath, hub: Hub) -> Watching:
        def make() -> Link:
            return link_to(self._gateway, watcher(self.broker), self._clock)

        return Watching(make, path.put, lambda: not hub.store_is_ok, self._clock, BATCH)

    def _annunciator(self, path: DataPath, hub: Hub, publisher: Publisher, link: Link) -> Annunciator:
        def publish(topic: str, shown: Annunciation) -> None:
            said = document(shown, self._clock.now())
            publisher.state(annunciator_state(self._gateway.root, self._plant.site, topic, said))

        outputs = self._gateway.outputs
        return Annunciator(outputs, self._clock, hub.annunciation, publish, lambda: link.status.connections, path.tell)

    async def _work(
        self,
        stop: asyncio.Event,
        path: DataPath,
        doors: Sequence[Api | Health],
        beside: Mapping[str, Callable[[], Coroutine[None, None, None]]],
    ) -> None:
        async with asyncio.TaskGroup() as group:
            for door in doors:
                group.create_task(door.serve(), name=type(door).__name__)
            owner = group.create_task(path.run(), name="path")
            others = [group.create_task(work(), name=name) for name, work in beside.items()]
            self.ready.set()
            self._supervisor.ready()
            await stop.wait()
            for task in others:
                task.cancel()
            try:
                async with asyncio.timeout(_END_S):
                    await path.put(End(GatewayStopped(self._clock.now(), self.stopping_for)))
                    await owner
            except TimeoutError:
                owner.cancel()
                log.error("stopped with work left: the broker was not told that it is taken, and delivers it again")
            for door in doors:
                door.stop()

    async def _farewell(self, publisher: Publisher, link: Link) -> None:
        await publisher.flush(_FLUSH_S)
        try:
            async with asyncio.timeout(_FLUSH_S):
                await link.publish(gateway_offline(self._gateway.root, self._plant.site, __version__))
        except (LinkDown, TimeoutError):
            log.info("the broker was not told of the stop; its last will says it")
        await link.stop()

    async def _tick(self, path: DataPath, publisher: Publisher, link: Link) -> None:
        """Once a second: silence, clock steps, the link; waits while the path cannot take it."""
        offset = self._clock.now() - self._clock.elapsed()
        was_up, connections = False, 0
        while True:
            began = self._clock.elapsed()
            await self._clock.sleep(TICK_S)
            path.pulse.late(self._clock.elapsed() - began - TICK_S)
            now = self._clock.now()
            step = now - self._clock.elapsed() - offset
            if abs(step) > CLOCK_STEP_S:
                offset += step
                await path.put(Happened(ClockStepped(now, step)))
            status = link.status
            if status.connections != connections and status.up == was_up:  # it came and went, or went and came, in between
                await path.put(Happened(LinkChanged(now, "broker", not was_up, "for less than a second")))
                was_up = not was_up
            if status.up != was_up:
                await path.put(Happened(LinkChanged(now, "broker", status.up, status.detail)))
                was_up = status.up
            if status.connections != connections:
                connections = status.connections
                publisher.again(self._plant.machine_of)
            await path.put(Tick())

    async def _report(self, publisher: Publisher, hub: Hub, link: Link, store: Store) -> None:
        """Publish the gateway's own state, now and then and when link or store come or go; waits for nobody."""
        count, said = 0, (False, True, False)
        while True:
            await self._clock.sleep(TICK_S)
            is_like = (link.status.up, hub.store_is_ok, hub.memory.proof is not None)
            if count % _STATUS_EVERY == 0 or is_like != said:
                if hub.store_is_ok:
                    hub.store_bytes = await store.size_bytes()
                publisher.state(gateway_state(self._gateway.root, hub.gateway()))
            said, count = is_like, count + 1


def _line(hub: Hub) -> str:
    """Say in one line how the gateway fares, for the service manager."""
    gateway, machines = hub.gateway(), Counter(machine.state for machine in hub.snapshot().machines)
    states = ", ".join(f"{count} {state}" for state, count in sorted(machines.items()))
    links = ", ".join(f"{link.name} {'up' if link.up else 'down'}" for link in gateway.links)
    return f"{states}; {links}; store {'ok' if gateway.store_ok else 'FAILS'}"


async def _pump(link: Link, path: DataPath) -> None:
    while True:
        await path.put(await link.receive(BATCH))
