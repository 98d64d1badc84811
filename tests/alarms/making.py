"""Points, rules, measurements and people for the tests of the alarm core."""

from dataclasses import dataclass, field
from typing import Any

from edgemon.alarms.judge import Rules, command, judge, restart, tick
from edgemon.model.alarm import MONITORING, AlarmRecord, AlarmState, PointState
from edgemon.model.command import Command, Person, Role
from edgemon.model.event import AlarmChanged, Event
from edgemon.model.ids import AlarmKey, AreaId, MachineId, SensorId
from edgemon.model.level import LEVEL_KINDS, Level, Measurement
from edgemon.model.limit import Delay, Limit
from edgemon.model.machine import Criticality, Machine, Point, StandstillRule, point_key
from edgemon.model.quality import Flaw, Quality, Verdict
from edgemon.units import Quantity

KEY = point_key("hp-pump-1", "pump-de-h")
OPERATOR = Person("operator on shift", Role.OPERATOR, "control room")
ENGINEER = Person("engineer", Role.ENGINEER, "workshop")
ONCE = Delay(1)


def limit(level: str = "velocity_rms", alert: float | None = 4.5, alarm: float | None = 7.1, **more: Any) -> Limit:
    """Limits in the house's unit, without delays and deadband unless given; the unit shown is SI, too."""
    quantity = LEVEL_KINDS[level].quantity
    unit = {Quantity.VELOCITY: "m/s", Quantity.TEMPERATURE: "Cel", Quantity.ACCELERATION: "m/s2", Quantity.RATIO: "1"}[quantity]
    plain: dict[str, Any] = {"deadband": 0.0, "on_delay_alert": ONCE, "on_delay_alarm": ONCE, "off_delay": ONCE, "unit": unit}
    return Limit(level=level, quantity=quantity, alert=alert, alarm=alarm, **(plain | more))


def rules(
    *limits: Limit,
    stale_after_s: float = 30.0,
    criticality: Criticality = Criticality.CRITICAL,
    standstill_rpm: float | None = 50.0,
    standstill: StandstillRule | None = None,
    **more: Any,
) -> Rules:
    point = Point(KEY, "Pump drive end", SensorId("s-0009"), "x", limits or (limit(),), stale_after_s)
    machine = Machine(
        MachineId("hp-pump-1"), "High-pressure pump 1", AreaId("ro-hall"), (point,),
        standstill_rpm=standstill_rpm, standstill=standstill, criticality=criticality,
    )  # fmt: skip
    return Rules(point, machine, **more)


def measured(t: float, fit: bool = True, sim: bool = False, rpm: float | None = None, **values: float) -> Measurement:
    """A measurement of levels given by name, as they came at once."""
    levels = tuple(Level(name, value, LEVEL_KINDS[name].quantity, LEVEL_KINDS[name].detector) for name, value in values.items())
    verdict = Verdict() if fit else Verdict((Flaw.CLIPPED,), ("clipped",))
    return Measurement(KEY, t, t, levels, verdict, rpm=rpm, sim=sim)


def key(level: str = "velocity_rms", sim: bool = False) -> AlarmKey:
    return AlarmKey(*KEY, level, sim)


@dataclass
class Bench:
    """One point, its state, and everything that was ever journalled of it."""

    rules: Rules
    state: PointState = field(default_factory=lambda: PointState(KEY))
    events: list[Event] = field(default_factory=list)

    def _take(self, outcome: tuple[PointState, tuple[Event, ...]]) -> tuple[Event, ...]:
        self.state, events = outcome
        self.events.extend(events)
        return events

    def measure(
        self, t: float, value: float | None = None, *, now: float | None = None, fit: bool = True, rpm: float | None = None,
        **values: float,
    ) -> tuple[Event, ...]:  # fmt: skip
        if value is not None:
            values = {"velocity_rms": value, **values}
        measurement = measured(t, fit, self.state.sim, rpm, **values)
        return self._take(judge(self.rules, self.state, measurement, t if now is None else now))

    def tick(self, now: float) -> tuple[Event, ...]:
        return self._take(tick(self.rules, self.state, now))

    def command(self, order: Command, now: float, person: Person = ENGINEER) -> tuple[Event, ...]:
        return self._take(command(self.rules, self.state, order, person, now))

    def restart(self, now: float) -> tuple[Event, ...]:
        return self._take(restart(self.rules, self.state, now))

    def record(self, level: str = "velocity_rms") -> AlarmRecord:
        return self.state.alarms[level]

    @property
    def alarm(self) -> AlarmState:
        return self.record().state

    def quality(self) -> Quality:
        return self.state.quality

    @property
    def loss(self) -> AlarmState:
        return self.record(MONITORING).state


def changes(events: tuple[Event, ...], level: str = "velocity_rms") -> list[tuple[str, str, str]]:
    return [
        (event.change, event.from_state.value, event.to_state.value)
        for event in events
        if isinstance(event, AlarmChanged) and event.alarm.level == level
    ]
