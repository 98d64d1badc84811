"""A site that says what it is told to say: for tests of the API and of its client."""

import asyncio
from collections.abc import AsyncIterator

from edgemon.errors import ParameterError
from edgemon.model.command import Command, Person
from edgemon.model.ids import PointKey
from edgemon.model.instant import Instant
from edgemon.model.snapshot import (
    AreaView,
    Change,
    GatewayView,
    JournalView,
    LevelView,
    LinkView,
    MachineView,
    Outcome,
    PointView,
    SensorView,
    Snapshot,
    TrendPoint,
    WorstView,
)

GATEWAY = GatewayView(
    site="saltmarsh",
    site_name="Saltmarsh Desalination Works",
    version="0",
    started_at=1_700_000_000.0,
    now=1_700_000_100.0,
    links=(LinkView("broker", True, "connected"),),
    messages=3,
    captures=1,
    readings=2,
    rejected=0,
    repeats=0,
    late=0,
    events=1,
    queue=0,
    open_captures=0,
    store_bytes=4096,
    store_ok=True,
    store_detail="",
    notes=(),
)
LEVEL = LevelView(
    "velocity_rms", "velocity r.m.s.", 3.1, "mm/s", "alert", 2.8, 4.5, 1_700_000_099.0, "plant file", "10-1000 Hz"
)
POINT = PointView(
    machine="hp-pump-1",
    point="pump-de-h",
    name="Pump drive end",
    sensor="s-0009",
    axis="x",
    direction="horizontal",
    state="alert",
    quality="good",
    reasons=(),
    t=1_700_000_099.0,
    levels=(LEVEL,),
    alarms=(),
    capture="c-1",
    rpm=2975.0,
    stale_after_s=20.0,
    sim=True,
    trend=(0.5, 0.69),
)
MACHINE = MachineView(
    id="hp-pump-1",
    name="High-pressure pump 1",
    area="ro-hall",
    kind="high-pressure pump",
    criticality="critical",
    rpm=2975.0,
    state="alert",
    quality="good",
    reasons=(),
    t=1_700_000_099.0,
    worst=WorstView("pump-de-h", "velocity_rms", "velocity r.m.s.", 3.1, "mm/s", 2.8, 4.5, 0.69),
    unacknowledged=False,
    trend=(0.5, 0.69),
    sim=True,
    points=(POINT,),
)
SNAPSHOT = Snapshot(
    GATEWAY,
    (AreaView("ro-hall", "RO hall"),),
    (MACHINE,),
    (SensorView("s-0009", "hp-pump-1", 97.0, -60.0, 41.0, 1_700_000_099.0, 1, 0, 0, 0),),
)


class FakeSite:
    """Answers as `api.port.Site` asks; remembers what it was commanded."""

    def __init__(self, changes_every_s: float = 0.05) -> None:
        self.commanded: list[tuple[Command, Person]] = []
        self.outcome = Outcome(True)
        self.asked: list[tuple[PointKey, str, bool]] = []
        self._every_s = changes_every_s

    def snapshot(self) -> Snapshot:
        return SNAPSHOT

    async def changes(self) -> AsyncIterator[Change]:
        while True:
            await asyncio.sleep(self._every_s)
            yield Change(GATEWAY, (MACHINE,))

    async def command(self, order: Command, person: Person) -> Outcome:
        self.commanded.append((order, person))
        return self.outcome

    async def diagnose(self, point: PointKey, sim: bool, person: Person) -> Outcome:
        self.asked.append((point, "diagnose", sim))
        return self.outcome

    async def trend(self, point: PointKey, level: str, since: Instant, until: Instant, sim: bool) -> tuple[TrendPoint, ...]:
        if point.machine != "hp-pump-1":
            raise ParameterError("no such point", str(point))
        self.asked.append((point, level, sim))
        return (TrendPoint(since, 2.5, True), TrendPoint(until, 3.1, False))

    async def journal(self, limit: int, before: int | None) -> tuple[JournalView, ...]:
        return tuple(JournalView(seq, 1_700_000_000.0, "gateway-started", "started") for seq in range(limit, 0, -1))
