"""A site that says what it is told to say: for tests of the API and of its client."""

import asyncio
from collections.abc import AsyncIterator, Sequence

from edgemon.alarms.performance import performance
from edgemon.daemon.looking import Looking
from edgemon.errors import ParameterError, StoreError
from edgemon.model.command import Command, Person
from edgemon.model.commission import CheckView, CommissionRow, CommissionView, SignView, Stand
from edgemon.model.ids import MachineId, PointKey
from edgemon.model.instant import Instant
from edgemon.model.look import (
    CapturePage,
    EnvelopeRequest,
    SpectrumRequest,
    SpectrumView,
    WaveformRequest,
    WaveformView,
    Which,
)
from edgemon.model.outlook import BaselineView, ChangeView, CrossingView, OutlookView, SlopeView
from edgemon.model.performance import Performance
from edgemon.model.proof import Acknowledged, Carried, PointProof, ProofReport, ProofRow, ProofView, Scope, Tried
from edgemon.model.search import EVERYTHING, Search
from edgemon.model.shift import BlockView, HandoverView, LogKind
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
    TrendBin,
    TrendBins,
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

_ALARM = Tried("velocity_rms", "alarm")
_SHOWN = PointProof(
    *("hp-pump-1", "pump-de-h", 1_700_000_000.0, "engineer", "commissioning", (Tried("velocity_rms", "alert"), _ALARM)),
    (Carried(_ALARM, "broker", 1_700_000_020.0),),
    (Acknowledged(_ALARM, "operator", 1_700_000_030.0),),
)
PROOF = ProofReport(
    1_700_000_100.0,
    ProofView("hp-pump-1", 1_700_000_090.0, 1_700_000_095.0, 1_700_001_890.0, "engineer", "commissioning", True),
    (
        ProofRow("hp-pump-1", "High-pressure pump 1", "pump-de-h", "Pump drive end", (), 1_700_000_030.0, _SHOWN),
        ProofRow("hp-pump-1", "High-pressure pump 1", "pump-de-a", "Pump axial", ("never tried",), None, None),
    ),
)

COMMISSIONING = CommissionView(
    1_700_000_100.0,
    (
        CommissionRow(
            *("hp-pump-1", "High-pressure pump 1", "ro-hall", "pump-de-h", "Pump drive end"),
            (
                CheckView("alarm proven", Stand.OPEN, "never tried"),
                CheckView("sensor heard", Stand.DONE, "s-0009 since 2023-11-14T22:13:19.000Z"),
                CheckView("upstream", Stand.NOT_NEEDED, "none is set up"),
            ),
            *("s-0009", "x"),
        ),
        CommissionRow(
            *("hp-pump-1", "High-pressure pump 1", "ro-hall", "pump-de-a", "Pump axial"),
            (CheckView("sensor heard", Stand.DONE, "s-0009"),),
            *("s-0009", "z"),
            SignView(
                *(1_700_000_050.0, "engineer", "control room", "tapped: the right sensor"),
                ("baseline",),
                ("sensor: s-0009", "axis: z"),
            ),
        ),
    ),
)

BASELINE = BaselineView(
    machine="hp-pump-1",
    point="pump-de-h",
    level="velocity_rms",
    title="velocity r.m.s.",
    unit="mm/s",
    state="proposed",
    count=20,
    wanted=20,
    baseline=1.2,
    mean=1.21,
    spread=0.03,
    rpm=2975.0,
    first_at=1_700_000_000.0,
    last_at=1_700_000_060.0,
    proposed_at=1_700_000_061.25,
    alert=2.8,
    alarm=4.5,
    alert_follows=1.9,
    alarm_at_most=5.625,
    note="ISO 20816-3:2022 group 2, rigid: baseline + 25 % of B/C, at most 1.25 x B/C",
)
OUTLOOK = OutlookView(
    machine="hp-pump-1",
    point="pump-de-h",
    level="velocity_rms",
    title="velocity r.m.s.",
    unit="mm/s",
    made_at=1_700_000_100.0,
    count=64,
    left_out={"unfit": 2, "machine not running": 5},
    rpm=2975.0,
    since=1_690_000_000.0,
    value=2.4,
    slope=SlopeView(0.05, 0.04, 0.06, 0.9, 0.001, True, 64),
    change=ChangeView(1_699_000_000.0, 1.2, 2.1, 0.002),
    forecasts=(
        CrossingView("alert", 2.8, 1_700_300_000.0, 1_700_600_000.0, 1_701_200_000.0, 0.9, "linear", "", "rises"),
        CrossingView("alarm", 4.5, None, None, None, 0.9, "", "further away than the values reach back", "about 9e6 s ahead"),
    ),
    sim=False,
)
SILENT_OUTLOOK = OutlookView(
    "hp-pump-1", "pump-de-a", "velocity_rms", "velocity r.m.s.", "mm/s", 1_700_000_100.0, 0, {}, None, None, None, None, None,
    (CrossingView("alert", 2.8, None, None, None, 0.9, "", "too few values in like conditions", "0 of at least 20"),), True,
)  # fmt: skip


PAGE = HandoverView(1_700_000_000.0, 1_700_000_100.0, "operator", (BlockView("Now", ("1 machines: 1 alert",)),), "abc")


class FakeSite:
    """Answers as `api.port.Site` asks; remembers what it was commanded."""

    def __init__(self, changes_every_s: float = 0.05) -> None:
        self.commanded: list[tuple[Command, Person]] = []
        self.outcome = Outcome(True)
        self.ordered: list[tuple[object, ...]] = []
        self.asked: list[tuple[PointKey, str, bool]] = []
        self.looking: Looking | None = None
        """What looks at stored captures; the real one, where a test needs it."""
        self.periods: list[tuple[Instant, Instant | None, bool | None]] = []
        self.searches: list[tuple[int | None, Search]] = []
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

    async def silence(self, person: Person) -> Outcome:
        self.ordered.append(("silence", person))
        return self.outcome

    async def lamp_test(self, person: Person) -> Outcome:
        self.ordered.append(("lamp-test", person))
        return self.outcome

    async def diagnose(self, point: PointKey, sim: bool, person: Person) -> Outcome:
        self.asked.append((point, "diagnose", sim))
        return self.outcome

    async def trend(self, point: PointKey, level: str, since: Instant, until: Instant, sim: bool) -> tuple[TrendPoint, ...]:
        if point.machine != "hp-pump-1":
            raise ParameterError("no such point", str(point))
        self.asked.append((point, level, sim))
        return (TrendPoint(since, 2.5, True), TrendPoint(until, 3.1, False))

    async def trend_bins(
        self, point: PointKey, level: str, since: Instant | None, until: Instant, columns: int, sim: bool
    ) -> TrendBins:
        if point.machine != "hp-pump-1":
            raise ParameterError("no such point", str(point))
        self.asked.append((point, level, sim))
        begin = until - 60.0 if since is None else since
        return TrendBins(begin, until, columns, (TrendBin(0, 1.0, 2.5, 3.5, 4),))

    def baselines(self) -> tuple[BaselineView, ...]:
        return (BASELINE,)

    async def propose_baseline(self, point: PointKey, level: str, person: Person, reason: str) -> Outcome:
        return self._ordered("propose", point, level, person, reason)

    async def approve_baseline(
        self, point: PointKey, level: str, person: Person, reason: str, proposed_at: Instant | None
    ) -> Outcome:
        return self._ordered("approve", point, level, person, reason, proposed_at)

    async def retire_baseline(self, point: PointKey, level: str, person: Person, reason: str) -> Outcome:
        return self._ordered("retire", point, level, person, reason)

    async def outlook(self, point: PointKey, level: str) -> OutlookView:
        if point.machine != "hp-pump-1":
            raise ParameterError("no such point", str(point))
        if level == "kurtosis":
            raise StoreError("the disk is gone")
        return OUTLOOK

    async def outlooks(self, machine: str) -> tuple[OutlookView, ...]:
        if machine != "hp-pump-1":
            raise ParameterError("no such machine", machine)
        return (OUTLOOK, SILENT_OUTLOOK)

    async def start_proof(self, scope: Scope, duration_s: float, reason: str, person: Person) -> Outcome:
        self.ordered.append(("proof", person, scope, duration_s, reason))
        return self.outcome

    async def stop_proof(self, reason: str, person: Person) -> Outcome:
        self.ordered.append(("end of proof", person, reason))
        return self.outcome

    async def start_collection(self, target: str, interval_s: float, duration_s: float, reason: str, person: Person) -> Outcome:
        self.ordered.append(("collect", person, target, interval_s, duration_s, reason))
        return self.outcome

    async def stop_collection(self, target: str, reason: str, person: Person) -> Outcome:
        self.ordered.append(("end of collect", person, target, reason))
        return self.outcome

    async def sign_off(self, point: PointKey, remark: str, seen: Sequence[str], person: Person) -> Outcome:
        self.ordered.append(("sign off", person, point, remark, tuple(seen)))
        return self.outcome

    async def withdraw_sign_off(self, point: PointKey, reason: str, person: Person) -> Outcome:
        self.ordered.append(("withdraw", person, point, reason))
        return self.outcome

    async def commissioning(self) -> CommissionView:
        return COMMISSIONING

    async def proof_report(self) -> ProofReport:
        return PROOF

    async def handover(self) -> HandoverView:
        return PAGE

    async def write_log(
        self, person: Person, text: str, sort: LogKind, machine: MachineId | None, corrects: int | None
    ) -> Outcome:
        if machine not in (None, "hp-pump-1"):
            raise ParameterError("no such machine", str(machine))
        self.ordered.append(("log", person, text, sort, machine, corrects))
        return self.outcome

    async def take_over(self, person: Person, digest: str, note: str) -> Outcome:
        self.ordered.append(("take", person, digest, note))
        return self.outcome

    def _ordered(self, what: str, point: PointKey, level: str, person: Person, *said: object) -> Outcome:
        if point.machine != "hp-pump-1":
            raise ParameterError("no such point", str(point))
        self.ordered.append((what, point, level, person, *said))
        return self.outcome

    async def captures(self, point: PointKey, sim: bool | None, before: Instant | None, limit: int) -> CapturePage:
        return await self._looks().captures(point, bool(sim), before, limit)

    async def waveform(self, point: PointKey, which: Which, wanted: WaveformRequest) -> WaveformView:
        return await self._looks().waveform(point, which, bool(which.sim), wanted)

    async def spectrum(self, point: PointKey, which: Which, wanted: SpectrumRequest) -> SpectrumView:
        return await self._looks().spectrum(point, which, bool(which.sim), wanted)

    async def envelope(self, point: PointKey, which: Which, wanted: EnvelopeRequest) -> SpectrumView:
        return await self._looks().envelope(point, which, bool(which.sim), wanted)

    def _looks(self) -> Looking:
        if self.looking is None:
            raise StoreError("the gateway is still starting")
        return self.looking

    async def performance(self, since: Instant, until: Instant | None, sim: bool | None) -> Performance:
        self.periods.append((since, until, sim))
        return performance((), since, since + 86_400.0 if until is None else until, bool(sim))

    async def journal(self, limit: int, before: int | None, search: Search = EVERYTHING) -> tuple[JournalView, ...]:
        self.searches.append((before, search))
        return tuple(JournalView(seq, 1_700_000_000.0, "gateway-started", "started") for seq in range(limit, 0, -1))
