"""A scenario played through the very alarm logic of the product: one point, one limit, one timeline; pure."""

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any, TypeAlias

from edgemon.alarms.judge import command as obey
from edgemon.alarms.judge import judge, next_due, restart, tick
from edgemon.alarms.rules import Rules
from edgemon.alarms.running import Told, notice
from edgemon.alarms.scenario_file import SEVERITIES, STANDSTILL_RPM, Action, Low, Row, Sample, Scenario
from edgemon.alarms.scenario_subject import POINT, Subject
from edgemon.model.alarm import MONITORING, PointState
from edgemon.model.command import (
    Acknowledge,
    Command,
    Person,
    RemoveFromService,
    Reset,
    ReturnToService,
    Role,
    Shelve,
    Unshelve,
)
from edgemon.model.derived import DerivedSpec, Rule
from edgemon.model.event import AlarmChanged, CommandRefused, Event, MeasurementLate, QualityChanged
from edgemon.model.ids import AlarmKey, AreaId, MachineId, SensorId
from edgemon.model.level import Level, Measurement
from edgemon.model.limit import Delay, Limit, Severity, Side, low_name
from edgemon.model.machine import Criticality, Machine, Point
from edgemon.model.quality import Flaw, Quality, Verdict
from edgemon.units import interval_to_si, to_si

RUNNING_RPM = 1500.0
Feed: TypeAlias = Callable[[Rules, PointState, Sample, Measurement], tuple[PointState, Measurement]]
"""Makes of a sample, and the measurement of its own level, the measurement with the level that the limit is on."""
_WORDS = {severity: word for word, severity in SEVERITIES.items()}


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of a scenario; `differences` is empty where all that was expected came true."""

    id: str
    states: tuple[Row, ...]
    monitoring: tuple[Row, ...]
    display: tuple[Row, ...]
    rejected: tuple[Row, ...]
    late: tuple[Row, ...]
    differences: tuple[str, ...]
    low_states: tuple[Row, ...] | None = None
    """Of the low limits beside the upper ones; None where there are none."""

    @property
    def passed(self) -> bool:
        """Say whether nothing differs."""
        return not self.differences

    def document(self) -> dict[str, Any]:
        """Give the answer of the contract for this scenario."""
        low = {} if self.low_states is None else {"low_states": [list(row) for row in self.low_states]}
        return {
            "id": self.id,
            "passed": self.passed,
            "states": [list(row) for row in self.states],
            **low,
            "monitoring": [list(row) for row in self.monitoring],
            "rejected": [list(row) for row in self.rejected],
            "late": [row[0] for row in self.late],
            "differences": list(self.differences),
        }


def rules_of(scenario: Scenario) -> Rules:
    """Make the rules of a scenario's one point: on a critical machine, every alert promoted, so that all annunciate."""
    subject, low = scenario.subject, scenario.low
    limits = [_limit(scenario, subject.judged.name, scenario, scenario.side)]
    derived = () if subject.derived is None else (subject.derived,)
    if low is not None:
        other = DerivedSpec(low_name(subject.judged.name), Rule.SAME, subject.judged)
        limits, derived = [*limits, _limit(scenario, other.name, low, Side.BELOW)], (*derived, other)
    masks = () if subject.mask is None else (subject.mask,)
    point = Point(POINT, "point", SensorId("sensor"), "x", tuple(limits), scenario.stale_after_s, derived=derived, masks=masks)
    machine = Machine(
        MachineId("machine"), "machine", AreaId("area"), (point,),
        standstill_rpm=STANDSTILL_RPM, criticality=Criticality.CRITICAL,
    )  # fmt: skip
    return Rules(point, machine, scenario.max_shelve_s, scenario.runup_factor, scenario.runup_s)


def _limit(scenario: Scenario, level: str, values: Scenario | Low, side: Side) -> Limit:
    judged = scenario.subject.judged
    return Limit(
        level=level,
        quantity=judged.quantity,
        unit=judged.unit,
        alert=None if values.alert is None else to_si(values.alert, judged.unit),
        alarm=None if values.alarm is None else to_si(values.alarm, judged.unit),
        deadband=interval_to_si(values.deadband, judged.unit),
        on_delay_alert=Delay(seconds=scenario.on_delay_alert_s),
        on_delay_alarm=Delay(seconds=scenario.on_delay_alarm_s),
        off_delay=Delay(seconds=scenario.off_delay_s),
        latch_alert=Severity.ALERT in scenario.latch,
        latch_alarm=Severity.ALARM in scenario.latch,
        origin="scenario",
        promote_alert=True,
        low_rpm=scenario.low_rpm,
        high_rpm=scenario.high_rpm,
        side=side,
    )


def play(scenario: Scenario, feed: Feed) -> Outcome:
    """Play one scenario and compare.

    Parameters
    ----------
    scenario : Scenario
        As read.
    feed : callable
        See `Feed`; `engine.scenario` has that of the product.

    Notes
    -----
    What comes at the same instant is taken in this order: samples, actions, then what time alone brings. Samples that come
    while the gateway is down are delivered when it is up again, as a broker does. A change by a sample is shown at the sample's
    source time, any other at the time it was made.
    """
    stage = _Stage(rules_of(scenario), scenario.subject, feed)
    script: list[tuple[float, int, Sample | Action]] = [(sample.arrival, 0, sample) for sample in scenario.samples]
    script += [(action.t, 1, action) for action in scenario.actions]
    script.sort(key=lambda item: item[:2])
    stage.let_pass(min((item[0] for item in script), default=0.0), inclusive=True)
    for at, _, item in script:
        stage.let_pass(at)
        if isinstance(item, Sample):
            stage.take(item, at)
        else:
            stage.act(item)
    end = max((item[0] for item in script), default=0.0)
    stage.let_pass(end if scenario.run_until is None else max(end, scenario.run_until), inclusive=True)
    return _compare(scenario, stage)


@dataclass(slots=True)
class _Stage:
    """The one point while a scenario is played, and what was seen of it."""

    rules: Rules
    subject: Subject
    feed: Feed
    state: PointState = field(default_factory=lambda: PointState(POINT))
    rpm: float | None = None
    up: bool = True
    undelivered: list[Sample] = field(default_factory=list)
    states: list[Row] = field(default_factory=list)
    low_states: list[Row] = field(default_factory=list)
    """Of the limits on the other side, where there are any."""
    monitoring: list[Row] = field(default_factory=list)
    display: list[Row] = field(default_factory=list)
    rejected: list[Row] = field(default_factory=list)
    late: list[Row] = field(default_factory=list)

    def let_pass(self, until: float, *, inclusive: bool = False) -> None:
        """Tick at each instant at which something is due."""
        while self.up:
            due = next_due(self.rules, self.state)
            if due is None or due > until or (due == until and not inclusive):
                return
            at = until if due == float("-inf") else due
            before = self.state
            self.state, events = tick(self.rules, self.state, at)
            self.see(events, at)
            if self.state is before:
                return

    def take(self, sample: Sample, now: float) -> None:
        """Judge a sample, or keep it where nobody is there to judge."""
        if not self.up:
            self.undelivered.append(sample)
            return
        kind = self.subject.kind
        own = Level(kind.name, to_si(sample.value, self.subject.unit), kind.quantity, kind.detector)
        verdict = Verdict() if sample.fit else Verdict((Flaw.FLAT_LINE,), ("the scenario says so",))
        levels = (own,) if self.subject.mask is None else ()
        measurement = Measurement(POINT, sample.t, now, levels, verdict, rpm=self.rpm)
        if sample.fit:
            self.state, measurement = self.feed(self.rules, self.state, sample, measurement)
        self.state, events = judge(self.rules, self.state, measurement, now)
        self.see(events, now, by_sample=True)

    def act(self, action: Action) -> None:
        """Let a command, the machine or the gateway do something."""
        now = action.t
        if action.command == "kill":
            self.up = False
        elif action.command == "restart":
            self.up = True
            self.state, events = restart(self.rules, self.state, now)
            self.see(events, now)
            waiting, self.undelivered = self.undelivered, []
            for sample in waiting:
                self.take(sample, now)
        elif action.command == "run":
            self.rpm = action.arguments.get("rpm", RUNNING_RPM if action.arguments["running"] else 0.0)
            if self.up:
                self.state, events = notice(self.rules, self.state, Told(self.rpm > 0.0, self.rpm, now), now)
                self.see(events, now)
        elif not self.up:
            self.rejected.append((_neat(now), action.written))
        else:
            self.state, events = obey(self.rules, self.state, self.command(action), _person(action), now)
            self.see(events, now, written=action.written)

    def command(self, action: Action) -> Command:
        """Give the command that an action means; the occurrence is the newest where it names none."""
        told, judged = action.arguments, self.subject.judged.name
        judged = low_name(judged) if told.get("side") == Side.BELOW else judged
        name = MONITORING if action.command == "ack_monitoring" else judged
        key = AlarmKey(*POINT, name)
        record = self.state.alarms.get(name)
        match action.command:
            case "reset":
                return Reset(key)
            case "shelve":
                return Shelve(key, told.get("s", 0.0), told.get("reason", ""), told.get("oneshot", False))
            case "unshelve":
                return Unshelve(key)
            case "oos":
                return RemoveFromService(key, told.get("reason", ""))
            case "rts":
                return ReturnToService(key)
            case _:
                return Acknowledge(key, told.get("occ", 0 if record is None else record.occurrence))

    def see(self, events: tuple[Event, ...], now: float, *, by_sample: bool = False, written: str = "") -> None:
        """Note what can be seen from outside."""
        for event in events:
            if isinstance(event, AlarmChanged) and event.alarm.level == MONITORING:
                _append(self.monitoring, ("NORM",), (_neat(now), event.to_state.value))
            elif isinstance(event, AlarmChanged):
                at = _neat(event.at if by_sample else now)
                rows = self.states if event.alarm.level == self.subject.judged.name else self.low_states
                _append(rows, ("NORM", "NONE"), (at, event.to_state.value, _WORDS[event.severity]))
            elif isinstance(event, QualityChanged):
                _append(self.display, (), (_neat(now), "OK" if event.quality == Quality.GOOD.value else "NO_DATA"))
            elif isinstance(event, CommandRefused):
                self.rejected.append((_neat(now), written))
            elif isinstance(event, MeasurementLate):
                self.late.append((_neat(event.at),))


def _append(rows: list[Row], initial: Row, row: Row) -> None:
    """Note a row unless it says what the one before said."""
    if row[1:] != (rows[-1][1:] if rows else initial):
        rows.append(row)


def _neat(t: float) -> float | int:
    return int(t) if t == int(t) else t


def _person(action: Action) -> Person:
    hides = action.command in ("shelve", "oos")
    return Person(action.arguments.get("user", "" if hides else "operator"), Role.ENGINEER, "scenario")


def _compare(scenario: Scenario, stage: _Stage) -> Outcome:
    seen: dict[str, list[Row]] = {
        "expect": stage.states,
        "expect_low": stage.low_states,
        "expect_monitoring": stage.monitoring,
        "expect_display": stage.display,
        "reject": stage.rejected,
        "late": stage.late,
    }
    differences = [
        f"{name}: {_difference(wanted, seen[name])}"
        for name, wanted in scenario.expected.items()
        if not _same(wanted, seen[name])
    ]
    return Outcome(
        id=scenario.id,
        states=tuple(stage.states),
        low_states=None if scenario.low is None else tuple(stage.low_states),
        monitoring=tuple(stage.monitoring),
        display=tuple(stage.display),
        rejected=tuple(stage.rejected),
        late=tuple(stage.late),
        differences=tuple(differences),
    )


def _same(wanted: tuple[Row, ...], seen: list[Row]) -> bool:
    return len(wanted) == len(seen) and all(
        abs(one[0] - other[0]) < 1e-6 and one[1:] == other[1:] for one, other in zip(wanted, seen, strict=True)
    )


def _difference(wanted: tuple[Row, ...], seen: list[Row]) -> str:
    """Say in words where the two lists part."""
    for number in range(max(len(wanted), len(seen))):
        if number >= len(seen):
            return f"expected {_text(wanted[number])}, but nothing more happened"
        if number >= len(wanted):
            return f"nothing more expected, but got {_text(seen[number])}"
        if not _same((wanted[number],), [seen[number]]):
            return f"expected {_text(wanted[number])}, got {_text(seen[number])}"
    return ""


def _text(row: Row) -> str:
    return " ".join(f"{part:g}" if isinstance(part, (int, float)) else str(part) for part in row)
