"""The whole site as people and programs see it at one instant: what board, status and upstream are shown.

Values and limits here are in the unit shown beside them; times are instants.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import TypeAlias

from edgemon.model.collection import CollectionView
from edgemon.model.finding import Finding
from edgemon.model.instant import Instant
from edgemon.model.limit import Side
from edgemon.model.proof import ProofView
from edgemon.model.response import Response
from edgemon.model.retention import KeepView
from edgemon.model.speed import Speed
from edgemon.model.upstream import UpstreamView


@dataclass(frozen=True, slots=True)
class LevelView:
    """One level of a point against its limits."""

    name: str
    title: str
    value: float
    unit: str
    state: str
    """normal, alert or alarm."""
    alert: float | None
    alarm: float | None
    at: Instant
    origin: str
    """Where the limit comes from; empty where there is none."""
    band: str
    remark: str = ""
    speed: Speed | None = None
    """Shaft speed it was computed with, where its band is in orders."""
    side: Side = Side.ABOVE
    """On which side of its limits it is bad."""


@dataclass(frozen=True, slots=True)
class HidingView:
    """Why an alarm is hidden: one of the three ways of IEC 62682."""

    way: str
    """shelved, suppressed or out-of-service."""
    by: str
    """Empty where the design of the plant file did it."""
    reason: str
    since: Instant
    until: Instant | None
    """A shelf's end; the other two have none."""


@dataclass(frozen=True, slots=True)
class AlarmView:
    """One alarm record that is not plainly normal."""

    id: str
    machine: str
    machine_name: str
    point: str
    point_name: str
    area: str
    level: str
    title: str
    """`velocity r.m.s.` or `loss of monitoring`."""
    severity: str
    alarm_state: str
    occurrence: int
    since: Instant
    raised_at: Instant
    priority: str
    annunciates: bool
    value: float | None
    limit: float | None
    unit: str
    origin: str
    sim: bool
    hidden: HidingView | None = None
    """What hides it; where several do, the one that counts."""
    max_shelve_s: float = 0.0
    """How long it may be shelved; zero: not at all."""
    response: Response | None = None
    """What to do; None where nothing was written."""
    silenced_at: Instant | None = None
    """When this occurrence was silenced; None where nobody did."""
    first_out: str = ""
    """`first`, or `first (uncertain)`: it began before the machine's other alarms that wait; empty: it did not."""
    side: Side = Side.ABOVE
    """On which side of its limit its level is bad."""
    proof: bool = False
    """Raised by the proof that is on: it calls, and is a test."""


@dataclass(frozen=True, slots=True)
class DiagnosisView:
    """What the newest diagnosis of a point came to: a hypothesis, for a qualified analyst to confirm."""

    t: Instant
    """Time of the capture that was diagnosed."""
    verdict: str
    """fault, no-fault-found or cannot-tell."""
    findings: tuple[Finding, ...]
    """Best first."""
    remarks: tuple[str, ...]
    by: str
    """Who asked; empty where an alarm did."""


@dataclass(frozen=True, slots=True)
class PointView:
    """One point."""

    machine: str
    point: str
    name: str
    sensor: str
    axis: str
    direction: str
    state: str
    """normal, alert, alarm, not-running or unknown."""
    quality: str
    reasons: tuple[str, ...]
    t: Instant | None
    """Time of the newest fit measurement."""
    levels: tuple[LevelView, ...]
    alarms: tuple[AlarmView, ...]
    capture: str | None
    rpm: float | None
    stale_after_s: float
    sim: bool
    trend: tuple[float, ...]
    diagnosis: DiagnosisView | None = None
    left_out: dict[str, str] = field(default_factory=dict)
    """Levels that could not be measured in the newest fit capture, with the reason."""
    sends: str = "waveform"
    """What its sensor sends: waveform, spectrum or levels."""


@dataclass(frozen=True, slots=True)
class WorstView:
    """The level nearest to, or furthest beyond, its alarm limit."""

    point: str
    level: str
    title: str
    value: float
    unit: str
    alert: float | None
    alarm: float | None
    ratio: float
    """1 at the alarm limit: value over alarm limit; for a low limit as `model.limit.ratio_line` has it."""
    side: Side = Side.ABOVE


def worst_view(point: str, level: LevelView, ratio: float) -> WorstView:
    """Show a level as the one that stands for its machine."""
    return WorstView(point, level.name, level.title, level.value, level.unit, level.alert, level.alarm, ratio, level.side)


@dataclass(frozen=True, slots=True)
class MachineView:
    """One machine: its state is its worst point's."""

    id: str
    name: str
    area: str
    kind: str
    criticality: str
    rpm: float | None
    state: str
    quality: str
    reasons: tuple[str, ...]
    t: Instant | None
    worst: WorstView | None
    unacknowledged: bool
    """Some alarm of it still calls the operator."""
    trend: tuple[float, ...]
    sim: bool
    points: tuple[PointView, ...]


@dataclass(frozen=True, slots=True)
class SensorView:
    """Health of one sensor, as last heard."""

    id: str
    machine: str
    battery_pct: float | None
    rssi_dbm: float | None
    temperature_c: float | None
    heard_at: Instant | None
    captures: int
    repeats: int
    late: int
    unfit: int
    status: str = "good"
    """Category of NAMUR NE 107: failure, function-check, out-of-specification, maintenance-required or good."""
    causes: tuple[str, ...] = ()
    completeness: float | None = None
    """Share of the measurements due of late that came, 0 to 1."""
    battery_days: float | None = None
    """Days until the battery is used up, where that can be said."""
    clock_offset_s: float | None = None
    """Arrival minus measurement time of the newest message."""
    collection: CollectionView | None = None
    """What the gateway commands of it; None: nothing."""


@dataclass(frozen=True, slots=True)
class LinkView:
    """One link of the gateway."""

    name: str
    up: bool
    detail: str


@dataclass(frozen=True, slots=True)
class NoteView:
    """What is being simulated, as whoever plays it says."""

    at: Instant
    title: str
    text: str
    machine: str


@dataclass(frozen=True, slots=True)
class GatewayView:
    """The gateway itself."""

    site: str
    site_name: str
    version: str
    started_at: Instant
    now: Instant
    links: tuple[LinkView, ...]
    messages: int
    captures: int
    readings: int
    rejected: int
    repeats: int
    late: int
    events: int
    queue: int
    open_captures: int
    store_bytes: int
    store_ok: bool
    store_detail: str
    notes: tuple[NoteView, ...]
    unsent: int = 0
    """States and journal entries that wait to be published."""
    oldest_unsent: Instant | None = None
    """Since when something has been waiting without a pause; None where nothing waits."""
    journal_seq: int = 0
    """The newest journal entry."""
    journal_hash: str = ""
    """Its hash, hex: noted elsewhere it shows later whether the journal was cut off or written anew."""
    sounding: bool = False
    """Something calls that nobody acknowledged or silenced: the horn is on."""
    beacon: str = "off"
    """off, alert or alarm: the worst that nobody acknowledged; silence does not end it."""
    silenced_at: Instant | None = None
    """When what calls was silenced last; None where nothing that calls is silenced."""
    test_until: Instant | None = None
    """Horn, beacon and boards show all they can until then: a test; None where there is none."""
    test_by: str = ""
    """Who ordered that test, and where."""
    alarms: tuple[AlarmView, ...] = ()
    """The gateway's own, while it is not plainly normal."""
    gateway: str = ""
    """Its name among the gateways of the company; empty in what an older daemon says."""
    upstreams: tuple[UpstreamView, ...] = ()
    keep: KeepView = KeepView()
    """The store against its budget."""
    store_keeps: str = "everything"
    """What is written of what comes: everything, journal and alarm states, or nothing; the rest waits at the broker."""
    store_since: Instant | None = None
    """Since when it has not been everything; None where it is."""
    store_remark: str = ""
    """What was found damaged in the store at the start, and what was saved of it; empty where nothing was."""
    deaf_since: Instant | None = None
    """Since when no sensor is heard at all although the link is up, once that cannot be chance; None where it is not so."""
    proof: ProofView | None = None
    """The proof that is on: simulated alarms of its points call, as a test."""


@dataclass(frozen=True, slots=True)
class AreaView:
    """An area's id and name, in the plant file's order."""

    id: str
    name: str


@dataclass(frozen=True, slots=True)
class Snapshot:
    """Everything, at one instant."""

    gateway: GatewayView
    areas: tuple[AreaView, ...]
    machines: tuple[MachineView, ...]
    sensors: tuple[SensorView, ...]


@dataclass(frozen=True, slots=True)
class Change:
    """What differs from the snapshot before: the gateway always, machines and sensors where they changed."""

    gateway: GatewayView
    machines: tuple[MachineView, ...] = ()
    sensors: tuple[SensorView, ...] = ()


@dataclass(frozen=True, slots=True)
class TrendPoint:
    """One value of a level in the past, in the unit asked for."""

    t: Instant
    value: float
    fit: bool
    """False: from a capture with flaws, shown but never judged."""


@dataclass(frozen=True, slots=True)
class TrendBin:
    """What became of a level within one stretch of time, in the unit asked for; values with flaws are not counted."""

    number: int
    """Which stretch, counted from 0 at the beginning; one without values is left out."""
    low: float
    mean: float
    high: float
    count: int


@dataclass(frozen=True, slots=True)
class TrendBins:
    """A trend cut into stretches of like length, so that no extreme is lost however long it is."""

    since: Instant
    until: Instant
    columns: int
    bins: tuple[TrendBin, ...]

    @classmethod
    def of(cls, points: Iterable[TrendPoint], since: Instant | None, until: Instant, columns: int) -> "TrendBins":
        """Cut values, oldest first; `since` None: from the first on."""
        every = tuple(points)
        begin = min(until, min((one.t for one in every), default=until) if since is None else since)
        found: dict[int, list[float]] = {}
        for one in every:
            if one.fit and begin <= one.t <= until and begin < until:
                number = min(int((one.t - begin) / ((until - begin) / columns)), columns - 1)
                found.setdefault(number, []).append(one.value)
        bins = (TrendBin(number, min(of), sum(of) / len(of), max(of), len(of)) for number, of in sorted(found.items()))
        return cls(begin, until, columns, tuple(bins))


@dataclass(frozen=True, slots=True)
class JournalView:
    """One journal entry in words; `detail` are its fields as they are published."""

    seq: int
    t: Instant
    kind: str
    text: str


@dataclass(frozen=True, slots=True)
class Lost:
    """The daemon does not answer; whoever asks goes on trying."""

    why: str


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of a command."""

    done: bool
    why: str = ""


Update: TypeAlias = Snapshot | Change | Lost
