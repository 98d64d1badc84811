"""A compressed month of a plant of 200 machines through the whole path into a real store: `python -m tests.bench.month`.

Half of the sensors send levels every half hour, the other half a capture of two axes every six hours and their temperature
every half hour; machines go into alarm and out again, an operator acknowledges. The store is tended within a budget that it
reaches, an upstream takes everything. Printed for each tenth: memory, Python's objects, open files, tasks, and processor time
per simulated hour; at the end what went in against what is there. Nothing here can fail: figures are for people.
"""

import argparse
import asyncio
import gc
import json
import random
import resource
import tempfile
import time
from dataclasses import dataclass, replace
from pathlib import Path

import cbor2

from edgemon.clock import ManualClock
from edgemon.daemon.hub import Hub
from edgemon.daemon.path import DataPath
from edgemon.daemon.publisher import Publisher
from edgemon.daemon.upstream import Feeder
from edgemon.daemon.work import Tick
from edgemon.decode.topics import subscriptions
from edgemon.engine.memory import setting_of
from edgemon.model.command import Acknowledge
from edgemon.model.ids import AlarmKey, MachineId, PointKey, SensorId
from edgemon.model.machine import Plant, Point, Sensor
from edgemon.model.retention import Retention
from edgemon.model.sends import Sends
from edgemon.model.upstream import Server, Source, Upstream, UpstreamKind
from edgemon.mqtt.memory import MemoryLink
from edgemon.mqtt.wire import machine_states
from edgemon.store.outbox import Outbox
from edgemon.store.reader import SqliteReader
from edgemon.store.sqlite import SqliteStore
from edgemon.store.tending import Tender
from edgemon.upstream.memory import MemoryTransport
from tests.support.captures import capture
from tests.support.held import held
from tests.support.plants import DRIVE_END, gateway, plant, velocity_limit
from tests.support.rig import OPERATOR, START, Inline

STEP_S = 1800.0
STEPS_OF_CAPTURE = 12
PAUSE_S = 0.0005
"""A loop that turns without a rest would keep the store's thread waiting for the interpreter at each of its calls."""
PAYLOADS = 24
"""Captures are made once and sent with another time."""
GATEWAY_ID = "gateway-1"


def plant_of(machines: int) -> Plant:
    """One point a machine; every second sensor sends levels only."""
    one = plant(stale_after_s=5 * STEP_S * STEPS_OF_CAPTURE)
    made, sensors = [], {}
    for number in range(machines):
        sensor, machine = SensorId(f"s-{number:04d}"), MachineId(f"pump-{number}")
        sends = Sends.LEVELS if number % 2 else Sends.WAVEFORM
        key = PointKey(machine, DRIVE_END.point)
        limits = (velocity_limit(readings=2),)
        point = Point(key, "drive end", sensor, "x", limits, 5 * STEP_S * STEPS_OF_CAPTURE, sends=sends)
        made.append(replace(one.machines[0], id=machine, name=f"Pump {number}", points=(point,)))
        sensors[sensor] = Sensor(sensor, interval_s=STEP_S, range_si=160.0, sends=sends)
    return replace(one, machines=tuple(made), sensors=sensors)


@dataclass
class Counts:
    """What went in."""

    captures: int = 0
    packs: int = 0
    acknowledged: int = 0
    taken: int = 0
    """Items that the upstream took."""


class Month:
    """One daemon's inside on a real store."""

    def __init__(self, folder: Path, of: Plant, store: SqliteStore, reader: SqliteReader, outbox: Outbox) -> None:
        self.clock, self.plant, self.store, self.counts = ManualClock(START), of, store, Counts()
        of_gateway = replace(gateway(folder), id=GATEWAY_ID)
        setting = setting_of(of, of_gateway)
        root, site = of_gateway.root, of.site
        self.link = MemoryLink(self.clock, subscriptions(root))
        self.hub = Hub(setting, reader, self.link, self.clock)
        states = lambda machine: machine_states(root, site, self.hub.machine(machine))  # noqa: E731
        self.publisher = Publisher(self.link, store, reader, self.clock, root, site, states)
        self.path = DataPath(setting, store, self.link, self.clock, Inline(), self.publisher, self.hub)
        upstream = Upstream("plant", UpstreamKind.MQTT, tuple(Source), Server(("mqtt://here",)), "x", batch=1000)
        self.server = MemoryTransport()
        self.feeder = Feeder(upstream, outbox, self.server, self.clock)
        self.rng = random.Random(7)
        self.calm = [capture(0.0, 1.0 + 0.05 * number) for number in range(PAYLOADS)]
        self.loud = [capture(0.0, 5.0 + 0.05 * number) for number in range(PAYLOADS)]

    async def step(self, number: int) -> None:
        """Half an hour: what sensors say, the tick, the operator, the upstream."""
        now = self.clock.now()
        for index, sensor in enumerate(self.plant.sensors):
            is_loud = (number // 12 + 7 * index) % 200 == 0  # some hours of alarm, some machines at a time
            speed = 5.0 if is_loud else 1.2 + 0.3 * self.rng.random()
            records: list[dict[str, object]] = [{"bt": now, "n": "temperature", "u": "Cel", "v": 40 + self.rng.random()}]
            if index % 2:
                records.append({"n": "x/velocity_rms", "u": "mm/s", "v": speed})
            elif (number + index) % STEPS_OF_CAPTURE == 0:
                await self._capture(sensor, now, is_loud)
            self.link.inject(f"edgemon/v1/sensor/{sensor}/reading", json.dumps(records).encode())
            self.counts.packs += 1
            if self.link.status.waiting >= 32:
                await self.path.put(await self.link.receive(32))
        await self.work()
        await self.clock.advance(STEP_S)
        await self.path.put(Tick())
        await self.work()
        if number % 2 == 0:
            await self._operator()
        while await self.feeder.step():
            self.counts.taken += len(self.server.taken)
            self.server.taken.clear()
        self.link.broker.published.clear()

    async def _capture(self, sensor: SensorId, now: float, is_loud: bool) -> None:

        made = cbor2.loads(self.rng.choice(self.loud if is_loud else self.calm))
        payload = cbor2.dumps({**made, "id": f"c-{now:.0f}", "t": now})
        self.link.inject(f"edgemon/v1/sensor/{sensor}/capture", payload)
        self.counts.captures += 1

    async def _operator(self) -> None:
        for machine in self.hub.snapshot().machines:
            for alarm in (alarm for point in machine.points for alarm in point.alarms if alarm.annunciates):
                key = AlarmKey(MachineId(machine.id), DRIVE_END.point, alarm.level)
                order = Acknowledge(key, alarm.occurrence)
                self.counts.acknowledged += (await self.path.command(order, OPERATOR)).done

    async def work(self) -> None:
        """Work off what the link holds, and let the publisher come after."""
        while self.link.status.waiting:
            await self.path.put(await self.link.receive(32))
        while not self.path.is_idle or self.publisher.waiting:
            await asyncio.sleep(PAUSE_S)


def mib() -> float:
    """Memory of this process now, MiB."""
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * resource.getpagesize() / 2**20


def open_files() -> int:
    """Files this process has open now."""
    return len(list(Path("/proc/self/fd").iterdir()))


async def play(folder: Path, machines: int, days: float, budget_mb: int) -> None:
    """Play the month."""
    path, of = folder / "edgemon.sqlite", plant_of(machines)
    store = await SqliteStore.open(path)
    reader = await SqliteReader.open(path)
    outbox = await Outbox.open(path, store, f"{of.site}/{GATEWAY_ID}")
    await outbox.begin(("plant", source) for source in Source)
    month = Month(folder, of, store, reader, outbox)
    tender = Tender(
        path, store, Retention(budget_bytes=budget_mb * 10**6), {p.key: p.sensor for m in of.machines for p in m.points}
    )
    await month.path.begin("month")
    await month.link.start()
    tasks = [asyncio.create_task(month.path.run()), asyncio.create_task(month.publisher.run())]
    steps, dropped = int(days * 86_400 / STEP_S), 0
    print(f"{machines} machines, {days:g} days in steps of {STEP_S / 60:g} min, budget {budget_mb} MB")
    print("share  memory MiB  objects  files  tasks  CPU ms/h  store MB")
    cpu, last = time.process_time(), 0
    for number in range(steps):
        await month.step(number)
        while not (tended := await tender.tend(month.clock.now())).is_done or tended.dropped:
            dropped += sum(tended.dropped.values())
        if (number + 1) * 10 // steps > number * 10 // steps:
            spent = 1e3 * (time.process_time() - cpu) / ((number + 1 - last) * STEP_S / 3600)
            files, alive = open_files(), len(asyncio.all_tasks())
            size = await store.size_bytes() / 1e6
            share = (number + 1) / steps
            gc.collect()
            held_now = len(gc.get_objects())
            print(f"{share:5.0%}  {mib():10.1f}  {held_now:7d}  {files:5d}  {alive:5d}  {spent:8.0f}  {size:8.1f}", flush=True)
            cpu, last = time.process_time(), number + 1
    for task in tasks:
        task.cancel()
    await asyncio.gather(*tasks, return_exceptions=True)
    counts = month.counts
    readings, captures, journal = held(path)
    print(f"captures in {counts.captures}, there {captures} and dropped for want of room {dropped}")
    print(
        f"packs of readings in {counts.packs}, values there {readings}; journal {journal}; acknowledged {counts.acknowledged}"
    )
    print(f"items the upstream took {counts.taken}, of {readings + counts.captures + journal}")
    for one in (outbox, reader, store):
        await one.close()


def main() -> None:
    """Run."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--machines", type=int, default=200)
    parser.add_argument("--days", type=float, default=30.0)
    parser.add_argument("--budget-mb", type=int, default=150)
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        asyncio.run(play(Path(folder), options.machines, options.days, options.budget_mb))


if __name__ == "__main__":
    main()
