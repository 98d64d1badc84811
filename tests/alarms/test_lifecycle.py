"""Random stimuli against a second, independent table.

The table below was written from the transition list of IEC 62682:2014 / ANSI/ISA-18.2-2016 as told in secondary texts, and the
house rules named in the theory of operation; it shares no code with the product's. Delays are one reading and the deadband is
zero, so that each measurement is exactly one stimulus.
"""

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from itertools import product

import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

from edgemon.model.alarm import MONITORING, AlarmState, PointState
from edgemon.model.command import Acknowledge, RemoveFromService, Reset, ReturnToService, Shelve, Unshelve
from edgemon.model.event import AlarmChanged, CommandRefused, Event, MeasurementLate, OnsetMoved
from tests.alarms.making import ENGINEER, Bench, changes, key, limit, rules

LONGEST = 100.0
QUIET, ALERTING, ALARMING = 3.0, 5.0, 8.0
SEVERITY = {QUIET: 0, ALERTING: 1, ALARMING: 2}

# (state, stimulus) -> next state; a value of None: refused; absent: nothing happens
PLAIN: dict[tuple[str, str], str | None] = {
    ("NORM", "raise"): "UNACK",
    ("RTNUN", "raise"): "UNACK",
    ("LATUN", "raise"): "UNACK",
    ("LATAK", "raise"): "UNACK",
    ("UNACK", "clear"): "RTNUN",
    ("ACKED", "clear"): "NORM",
    ("UNACK", "clear latched"): "LATUN",
    ("ACKED", "clear latched"): "LATAK",
    ("UNACK", "rise"): "UNACK",
    ("ACKED", "rise"): "UNACK",
    ("UNACK", "fall"): "UNACK",
    ("ACKED", "fall"): "ACKED",
    ("UNACK", "ack"): "ACKED",
    ("RTNUN", "ack"): "NORM",
    ("LATUN", "ack"): "LATAK",
    ("UNACK", "ack stopped"): "DSUPR",
    ("RTNUN", "ack stopped"): "DSUPR",
    ("LATUN", "ack stopped"): "LATAK",
    ("LATAK", "reset"): "NORM",
    ("LATAK", "reset stopped"): "DSUPR",
    ("SHLVD", "escalate"): "UNACK",
    ("SHLVD", "clear one-shot"): "NORM",
    ("SHLVD", "unshelve active"): "UNACK",
    ("SHLVD", "unshelve"): "NORM",
    ("NORM", "stop"): "DSUPR",
    ("ACKED", "stop"): "DSUPR",
    ("SHLVD", "stop"): "DSUPR",
    ("OOSRV", "return"): "NORM",
    ("OOSRV", "return active"): "UNACK",
    ("OOSRV", "return stopped"): "DSUPR",
    ("DSUPR", "start"): "NORM",
    ("DSUPR", "start shelved"): "SHLVD",
}
for _state in ("NORM", "UNACK", "ACKED", "RTNUN", "LATUN", "LATAK", "SHLVD"):
    PLAIN[_state, "shelve"] = "SHLVD"
for _state in ("NORM", "UNACK", "ACKED", "RTNUN", "LATUN", "LATAK", "SHLVD", "DSUPR"):
    PLAIN[_state, "remove"] = "OOSRV"
ANNOUNCING = {"raise", "rise", "escalate", "unshelve active", "return active"}
HIDING = {"SHELVED", "SUPPRESSED", "OOS"}


@dataclass
class Model:
    state: str = "NORM"
    occurrence: int = 0
    severity: int = 0
    peak: int = 0
    stopped: bool = False
    shelf: tuple[float, int, bool] | None = None
    journalled: list[tuple[str, str]] = field(default_factory=list)

    def feel(self, stimulus: str) -> bool:
        """Follow the table; say whether it has a line."""
        target = PLAIN.get((self.state, stimulus))
        if target is None:
            return False
        if stimulus in ANNOUNCING:
            self.occurrence += 1
            is_undone = self.state in ("RTNUN", "LATUN", "LATAK")  # nobody acknowledged the one before, or reset it
            self.peak = max(self.peak, self.severity) if is_undone else self.severity
        self.journalled.append((self.state, target))
        self.state = target
        if target == "DSUPR":
            self.severity = 0
        if target not in ("SHLVD", "DSUPR"):
            self.shelf = None
        return True

    def value(self, severity: int) -> None:
        before, self.severity = self.severity, severity
        self.peak = max(self.peak, severity) if self.state in ("UNACK", "ACKED") else self.peak
        if severity > before and self.state == "SHLVD":
            assert self.shelf is not None
            if severity > self.shelf[1]:
                self.feel("escalate")
        elif severity == 0 < before and self.state == "SHLVD":
            assert self.shelf is not None
            if self.shelf[2]:
                self.feel("clear one-shot")
        elif severity == before:
            return
        elif before == 0:
            self.feel("raise")
        elif severity == 0:
            self.feel("clear latched" if self.peak == 2 else "clear")
        else:
            self.feel("rise" if severity > before else "fall")

    def end_shelf(self) -> None:
        if self.state == "SHLVD":
            self.feel("unshelve active" if self.severity else "unshelve")
        else:
            self.journalled.append((self.state, self.state))  # stays hidden; that the shelf is over is told
        self.shelf = None

    def run(self, running: bool) -> None:
        if self.stopped is running:
            self.stopped = not running
            if running:
                self.feel("start shelved" if self.shelf else "start")
            else:
                self.feel("stop")


def but_for_onsets(state: PointState) -> PointState:
    """Leave out when alarms began: all that a late value may change."""
    alarms = {name: replace(record, onset_at=None, within_at=None) for name, record in state.alarms.items()}
    return replace(state, alarms=alarms)


class Lifecycle(RuleBasedStateMachine):
    @initialize()
    def begin(self) -> None:
        self.bench = Bench(rules(limit(latch_alarm=True, promote_alert=True), max_shelve_s=LONGEST))
        self.model = Model()
        self.now = 1000.0
        self.acknowledged_or_hidden = True
        self.last = "NORM"
        self.bench.measure(self.now, QUIET)

    def seen(self, events: tuple[Event, ...]) -> None:
        """Check what every journal must satisfy, whatever happened."""
        expected, self.model.journalled = self.model.journalled, []
        assert [(from_state, to_state) for _, from_state, to_state in changes(events)] == expected
        for event in events:
            if not isinstance(event, AlarmChanged) or event.alarm.level == MONITORING:
                continue
            assert event.from_state.value == self.last, "the journal has a gap"
            self.last = event.to_state.value
            if event.to_state.value == "UNACK":
                self.acknowledged_or_hidden = False
            if event.change == "ACK" or event.change in HIDING:
                self.acknowledged_or_hidden = True
            if event.to_state.value == "NORM":
                assert self.acknowledged_or_hidden, "back to normal although nobody noticed"
            if event.from_state.value == "LATAK":
                assert event.change in {"RESET", "RAISED"} | HIDING

    def matches(self) -> None:
        record = self.bench.record()
        assert record.state.value == self.model.state
        assert record.occurrence == self.model.occurrence
        assert int(record.severity) == self.model.severity

    def pass_time(self, seconds: float) -> None:
        self.now += seconds
        if self.model.shelf and self.now >= self.model.shelf[0]:
            self.model.end_shelf()
        self.seen(self.bench.tick(self.now))
        self.matches()

    @rule(value=st.sampled_from([QUIET, ALERTING, ALARMING]), running=st.sampled_from([True, True, False, None]))
    def measure(self, value: float, running: bool | None) -> None:
        self.pass_time(1.0)
        if running is not None:
            self.model.run(running)
        if not self.model.stopped:
            self.model.value(SEVERITY[value])
        rpm = None if running is None else 2975.0 if running else 0.0
        if running is None and self.bench.state.running_at is not None and self.now - self.bench.state.running_at > 30.0:
            rpm = 0.0 if self.model.stopped else 2975.0  # what was told long ago holds no longer; keep to what is told
        self.seen(self.bench.measure(self.now, value, rpm=rpm))

    @rule(value=st.sampled_from([QUIET, ALERTING, ALARMING]), rpm=st.sampled_from([0.0, 2975.0, None]))
    def measure_badly(self, value: float, rpm: float | None) -> None:
        self.pass_time(1.0)
        events = self.bench.measure(self.now, value, fit=False, rpm=rpm)
        assert changes(events) == []
        self.seen(events)

    @rule(value=st.sampled_from([QUIET, ALARMING]), age=st.floats(0.0, 500.0))
    def measure_late(self, value: float, age: float) -> None:
        newest = self.bench.state.level_at["velocity_rms"]
        before = self.bench.state
        events = self.bench.measure(newest - age, value, now=self.now)
        assert isinstance(events[0], MeasurementLate)
        assert all(isinstance(event, OnsetMoved) for event in events[1:])
        assert but_for_onsets(self.bench.state) == but_for_onsets(before)

    @rule(seconds=st.sampled_from([5.0, 29.0, 31.0, 200.0]))
    def wait(self, seconds: float) -> None:
        self.pass_time(seconds)

    @rule(down=st.sampled_from([0.0, 5.0, 80.0]))
    def crash(self, down: float) -> None:
        self.now += down
        if self.model.shelf and self.now >= self.model.shelf[0]:
            self.model.end_shelf()
        self.seen(self.bench.restart(self.now))

    def order(self, command: object, allowed: bool) -> None:
        before = self.bench.state
        events = self.bench.command(command, self.now, ENGINEER)  # type: ignore[arg-type]
        if not allowed:
            assert [type(event) for event in events] == [CommandRefused]
            assert self.bench.state is before
        else:
            assert CommandRefused not in [type(event) for event in events]
        self.seen(events)

    @rule(old=st.booleans())
    def acknowledge(self, old: bool) -> None:
        occurrence = self.model.occurrence - old
        allowed = not old and self.model.feel("ack stopped" if self.model.stopped else "ack")
        self.order(Acknowledge(key(), occurrence), allowed)

    @rule()
    def reset(self) -> None:
        self.order(Reset(key()), self.model.feel("reset stopped" if self.model.stopped else "reset"))

    @rule(
        duration=st.sampled_from([20.0, LONGEST, LONGEST + 1.0, 0.0]),
        reason=st.sampled_from(["bracket", " "]),
        one=st.booleans(),
    )
    def shelve(self, duration: float, reason: str, one: bool) -> None:
        fine = 0.0 < duration <= LONGEST and reason.strip() != ""
        model = self.model
        covered = max(1, model.severity, model.peak if model.state in ("RTNUN", "LATUN", "LATAK") else 0)
        allowed = fine and model.feel("shelve")
        if allowed:
            model.shelf = (self.now + duration, covered, one)
            if model.stopped:
                model.feel("stop")
        self.order(Shelve(key(), duration, reason, one), allowed)

    @rule()
    def unshelve(self) -> None:
        model = self.model
        allowed = model.shelf is not None
        if allowed:
            model.end_shelf()
        self.order(Unshelve(key()), allowed)

    @rule()
    def remove(self) -> None:
        self.order(RemoveFromService(key(), "sensor swap"), self.model.feel("remove"))

    @rule()
    def put_back(self) -> None:
        model = self.model
        stimulus = "return stopped" if model.stopped else "return active" if model.severity else "return"
        self.order(ReturnToService(key()), model.feel(stimulus))

    @invariant()
    @precondition(lambda self: hasattr(self, "bench"))
    def agrees(self) -> None:
        self.matches()
        assert self.last == self.bench.alarm.value, "a change was not journalled"


Step = Callable[[Lifecycle], None]
STEPS: dict[str, Step] = {
    "quiet": lambda machine: machine.measure(QUIET, None),
    "alert": lambda machine: machine.measure(ALERTING, None),
    "alarm": lambda machine: machine.measure(ALARMING, None),
    "stop": lambda machine: machine.measure(ALARMING, False),
    "run, quiet": lambda machine: machine.measure(QUIET, True),
    "run, alarm": lambda machine: machine.measure(ALARMING, True),
    "unfit": lambda machine: machine.measure_badly(ALARMING, 0.0),
    "ack": lambda machine: machine.acknowledge(False),
    "ack older": lambda machine: machine.acknowledge(True),
    "reset": lambda machine: machine.reset(),
    "shelve": lambda machine: machine.shelve(20.0, "bracket", False),
    "shelve once": lambda machine: machine.shelve(20.0, "bracket", True),
    "unshelve": lambda machine: machine.unshelve(),
    "remove": lambda machine: machine.remove(),
    "put back": lambda machine: machine.put_back(),
    "time": lambda machine: machine.wait(29.0),
    "crash": lambda machine: machine.crash(80.0),
}
PATHS: dict[str, tuple[str, ...]] = {
    "NORM": (),
    "UNACK": ("alert",),
    "UNACK again": ("alarm", "quiet", "alert"),
    "ACKED": ("alert", "ack"),
    "RTNUN": ("alert", "quiet"),
    "LATUN": ("alarm", "quiet"),
    "LATUN, peak": ("alarm", "alert", "quiet"),
    "LATAK": ("alarm", "ack", "quiet"),
    "SHLVD": ("alert", "shelve"),
    "SHLVD, gone": ("alert", "shelve", "quiet"),
    "SHLVD once": ("alert", "shelve once"),
    "SHLVD at alarm": ("alarm", "shelve", "alert"),
    "DSUPR": ("stop",),
    "DSUPR over SHLVD": ("alert", "shelve", "stop"),
    "UNACK, stopped": ("alert", "stop"),
    "RTNUN, stopped": ("alert", "quiet", "stop"),
    "LATUN, stopped": ("alarm", "quiet", "stop"),
    "LATAK, stopped": ("alarm", "quiet", "ack", "stop"),
    "OOSRV": ("alert", "remove"),
    "OOSRV, stopped": ("alert", "remove", "stop"),
}


@pytest.mark.parametrize("path", PATHS)
def test_every_two_steps_from_every_state(path: str) -> None:
    for steps in product(STEPS, repeat=2):
        machine = Lifecycle()
        machine.begin()
        for step in (*PATHS[path], *steps):
            STEPS[step](machine)
            machine.agrees()
        machine.teardown()


def test_the_paths_reach_all_nine_states() -> None:
    reached = set()
    for path, steps in PATHS.items():
        machine = Lifecycle()
        machine.begin()
        for step in steps:
            STEPS[step](machine)
        assert machine.model.state == path[:5].strip().rstrip(",")
        reached.add(machine.model.state)
        machine.teardown()
    assert reached == {state.value for state in AlarmState}


TestLifecycle = Lifecycle.TestCase
TestLifecycle.settings = settings(max_examples=40, stateful_step_count=30, deadline=None)
