"""What the journal of a proof proves, entry by entry; the record of an alarm is moved by the product's own judge."""

from collections.abc import Iterable

from edgemon.engine.demands import demands_of, lacking, proven_at
from edgemon.engine.proof import BEGINS
from edgemon.engine.proven import Proven
from edgemon.model.alarm import AlarmState, PointState, Priority
from edgemon.model.command import Acknowledge
from edgemon.model.event import AlarmChanged, Event, JournalEntry
from edgemon.model.ids import AlarmKey, AreaId
from edgemon.model.limit import Severity
from edgemon.model.proof import BROKER, LEAD_S, PointProof, ProofCarried, ProofStarted, Tried
from tests.alarms.making import KEY, Bench, limit, rules

START = ProofStarted(0.0, 600.0, "engineer", "control room", "first proof", machine=KEY.machine)
SIM = AlarmKey(*KEY, "velocity_rms", True)
ALERT, ALARM = Tried("velocity_rms", "alert"), Tried("velocity_rms", "alarm")


class Tale:
    """A journal as it is written, and what it proves."""

    def __init__(self, bench: Bench | None = None) -> None:
        self.bench = bench or Bench(rules(limit(), stale_after_s=1e6), PointState(KEY, sim=True))
        self.proven = Proven({KEY.machine: AreaId("ro-hall")})
        self.seq = 0
        self.tell(0.0, START)

    def tell(self, at: float, *events: Event) -> None:
        for event in events:
            self.seq += 1
            self.proven.take(JournalEntry(self.seq, at, event))

    def measure(self, at: float, value: float) -> None:
        self.tell(at, *self.bench.measure(at, value))

    def acknowledge(self, at: float) -> None:
        self.tell(at, *self.bench.command(Acknowledge(SIM, self.bench.record().occurrence), at))

    def carried(self, at: float, severities: Iterable[Severity]) -> None:
        self.tell(at, *(ProofCarried(at, SIM, severity, BROKER) for severity in severities))

    @property
    def shown(self) -> PointProof | None:
        return next(iter(self.proven.points().get(KEY, ())), None)

    def acknowledged(self) -> list[Tried]:
        return [] if self.shown is None else [one.tried for one in self.shown.acknowledged]


def test_the_acknowledgement_of_an_alert_is_none_of_the_alarm_before_it() -> None:
    tale = Tale()
    for at, value in ((6.0, 8.0), (7.0, 1.0), (8.0, 5.0)):
        tale.measure(at, value)
    tale.acknowledge(9.0)
    assert tale.shown is not None
    assert tale.shown.reached == (ALARM, ALERT)
    assert tale.acknowledged() == [ALERT]


def test_what_fell_back_to_an_alert_is_acknowledged_as_the_alarm_it_was() -> None:
    tale = Tale()
    for at, value in ((6.0, 8.0), (7.0, 5.0)):
        tale.measure(at, value)
    tale.acknowledge(8.0)
    assert tale.acknowledged() == [ALARM]
    tale.carried(9.0, (Severity.ALARM,))
    demands = demands_of(tale.bench.rules, ())
    assert lacking(demands, tale.shown) == ()
    assert proven_at(demands, tale.shown) == 9.0


def test_what_came_before_it_opened_proves_nothing_though_the_journal_took_it_late() -> None:
    tale = Tale()
    tale.measure(LEAD_S - 0.01, 8.0)
    assert tale.shown is None
    late = Tale()
    late.tell(LEAD_S + 1.0, *late.bench.measure(LEAD_S - 0.01, 8.0))
    cleared = AlarmChanged(
        LEAD_S, SIM, "CLEARED", AlarmState.UNACK, AlarmState.NORM, Severity.NORMAL, 1, Priority.HIGH, False, reason=BEGINS
    )
    late.tell(LEAD_S + 1.0, cleared)
    late.acknowledge(LEAD_S + 2.0)
    assert late.shown is not None
    assert (late.shown.reached, late.shown.acknowledged) == ((), ())
    assert lacking(demands_of(late.bench.rules, ()), late.shown) == ("never tried",)


def test_an_alert_that_needs_no_acknowledgement_is_proven_without_one() -> None:
    mild = rules(limit(alarm=None, promote_alert=True), alert_needs_ack=False, stale_after_s=1e6)
    tale = Tale(Bench(mild, PointState(KEY, sim=True)))
    tale.measure(6.0, 5.0)
    demands = demands_of(mild, ())
    assert lacking(demands, tale.shown) == ("velocity_rms alert not taken by broker",)
    tale.carried(7.0, (Severity.ALERT,))
    assert lacking(demands, tale.shown) == ()
    assert proven_at(demands, tale.shown) == 7.0
    assert tale.shown is not None
    assert tale.shown.people == "by engineer"
