"""Scenarios as people write them, checked: each problem names the file, the scenario and the field."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import inf
from typing import Any

from edgemon.alarms.scenario_fields import Fields
from edgemon.alarms.scenario_subject import FIELDS as SUBJECT
from edgemon.alarms.scenario_subject import Subject, subject_of
from edgemon.errors import SettingsError
from edgemon.model.alarm import AlarmState
from edgemon.model.derived import MaskSpec
from edgemon.model.limit import Severity, Side

SEVERITIES = {"NONE": Severity.NORMAL, "ALERT": Severity.ALERT, "ALARM": Severity.ALARM}
COMMANDS: dict[str, tuple[str, ...]] = {
    "ack": ("occ", "user", "side"),
    "ack_monitoring": ("occ", "user"),
    "reset": ("user", "side"),
    "shelve": ("s", "user", "reason", "oneshot", "side"),
    "unshelve": ("user", "side"),
    "oos": ("user", "reason", "side"),
    "rts": ("user", "side"),
    "run": ("running", "rpm"),
    "kill": (),
    "restart": (),
}
"""Commands of a scenario and their arguments."""

STANDSTILL_RPM = 10.0
ALIASES = {"expect_nd": "expect_monitoring", "ack_nd": "ack_monitoring"}
DISPLAYS = ("OK", "NO_DATA")
FIELDS = (
    *("id", "about", *SUBJECT, "side", "alert", "alarm", "deadband", "on_delay_s", "off_delay_s", "low_rpm", "high_rpm"),
    *("low", "stale_after_s", "max_shelve_s", "latch", "runup"),
    *("samples", "actions", "run_until", "expect", "expect_low", "expect_monitoring", "expect_display", "reject", "late"),
)


@dataclass(frozen=True, slots=True)
class Sample:
    """One value: when taken, how much, whether fit, when it came."""

    t: float
    value: float
    """In the unit of the samples; of no meaning where they are spectra."""
    fit: bool
    arrival: float
    lines: tuple[tuple[float, float], ...] = ()
    """Of a spectrum: Hz and amplitude."""


@dataclass(frozen=True, slots=True)
class Action:
    """One command, or what happens to the machine or the gateway."""

    t: float
    command: str
    arguments: Mapping[str, Any]
    written: str
    """The command as the file has it."""


Row = tuple[Any, ...]


@dataclass(frozen=True, slots=True)
class Low:
    """Limits on the other side of the same level, with an alarm of their own; delays and latches are those of the upper."""

    alert: float | None
    alarm: float | None
    deadband: float


@dataclass(frozen=True, slots=True)
class Scenario:
    """Limits, what happens, and what is expected (None where nothing is)."""

    id: str
    subject: Subject
    alert: float | None
    alarm: float | None
    deadband: float
    on_delay_alert_s: float
    on_delay_alarm_s: float
    off_delay_s: float
    stale_after_s: float
    max_shelve_s: float
    latch: frozenset[Severity]
    runup_factor: float
    runup_s: float
    side: Side
    low_rpm: float
    high_rpm: float
    samples: tuple[Sample, ...]
    actions: tuple[Action, ...]
    run_until: float | None
    expected: Mapping[str, tuple[Row, ...]]
    """`expect`, `expect_low`, `expect_monitoring`, `expect_display`, `reject`, `late`: those that the file has."""
    low: Low | None = None


def read_document(document: Any, file: str) -> tuple[Scenario, ...]:
    """Read what a TOML or JSON scenario file holds.

    Raises
    ------
    SettingsError
        Naming file, scenario and field.
    """
    listed = document.get("scenario") if isinstance(document, Mapping) else None
    if not isinstance(listed, Sequence) or isinstance(listed, str) or not listed:
        raise SettingsError("no scenarios", file, 'write [[scenario]] tables, or {"scenario": [...]} in JSON')
    unknown = sorted(set(document) - {"scenario"})
    if unknown:
        raise SettingsError(f"unknown field {unknown[0]!r}", file, "only scenarios belong at the top")
    scenarios = tuple(_Fields(raw, file, number).scenario() for number, raw in enumerate(listed, 1))
    seen: set[str] = set()
    for scenario in scenarios:
        if scenario.id in seen:
            raise SettingsError("this id is used twice", f"{file}: scenario {scenario.id}: id", "give each scenario its own")
        seen.add(scenario.id)
    return scenarios


class _Fields(Fields):
    """The fields of one scenario."""

    def __init__(self, raw: Any, file: str, number: int) -> None:
        super().__init__(raw, f"{file}: scenario {number}", FIELDS, ALIASES)
        name = self.raw.get("id")
        if not isinstance(name, str) or not name:
            raise self.wrong("id", "a scenario needs an id", "any text")
        self.place = f"{file}: scenario {name}"
        self.check_names()
        self.subject = subject_of(self)

    def scenario(self) -> Scenario:
        on_delay = self.table("on_delay_s", {"alert": 10.0, "alarm": 3.0})
        runup = self.table("runup", {"k": 1.0, "s": 0.0})
        side = Side(self.word("side", self.raw.get("side", "above"), tuple(Side)))
        alert, alarm = self.limits(side)
        low_rpm, high_rpm = self.number("low_rpm", 0.0, 0.0), self.number("high_rpm", inf, 0.0)
        if low_rpm >= high_rpm:
            raise self.wrong("high_rpm", f"no speed lies between {low_rpm:g} and {high_rpm:g} r/min: never judged")
        if runup["k"] < 1.0:
            raise self.wrong("runup.k", f"the limits cannot be lowered by a factor of {runup['k']:g}", "1 or more")
        return Scenario(
            id=self.raw["id"],
            subject=self.subject,
            alert=alert,
            alarm=alarm,
            deadband=self.number("deadband", 0.3 if self.subject.is_usual else 0.0, least=0.0),
            on_delay_alert_s=on_delay["alert"],
            on_delay_alarm_s=on_delay["alarm"],
            off_delay_s=self.number("off_delay_s", 10.0, least=0.0),
            stale_after_s=self.positive("stale_after_s", 30.0),
            max_shelve_s=self.number("max_shelve_s", 28800.0, least=0.0),
            latch=frozenset(SEVERITIES[self.word("latch", word, ("ALERT", "ALARM"))] for word in self.rows("latch")),
            runup_factor=runup["k"],
            runup_s=runup["s"],
            side=side,
            low_rpm=low_rpm,
            high_rpm=high_rpm,
            samples=tuple(self.sample(f"samples[{n}]", row) for n, row in enumerate(self.rows("samples"))),
            actions=tuple(self.action(f"actions[{n}]", row) for n, row in enumerate(self.rows("actions"))),
            run_until=self.number("run_until", 0.0) if "run_until" in self.raw else None,
            expected={name: self.expected(name) for name in _EXPECTED if name in self.raw},
            low=self.low(side, min(value for value in (alert, alarm) if value is not None)),
        )

    def low(self, side: Side, above: float) -> Low | None:
        """Read the limits on the other side."""
        if "low" not in self.raw:
            if "expect_low" in self.raw:
                raise self.wrong("expect_low", "there is no low limit beside the upper one", "low = { alert = 3, alarm = 2 }")
            return None
        if side is Side.BELOW or self.subject.mask is not None:
            what = "a mask has no other side" if self.subject.mask is not None else "the limits are low ones already"
            raise self.wrong("low", what, "low stands beside upper limits of a level")
        inner = self.inner("low", ("alert", "alarm", "deadband"))
        alert, alarm = (inner.number(name, 0.0) if name in inner.raw else None for name in ("alert", "alarm"))
        written = [value for value in (alert, alarm) if value is not None]
        if not written:
            raise self.wrong("low", "sets neither alert nor alarm", "give at least one")
        if alert is not None and alarm is not None and alert < alarm:
            raise inner.wrong("alert", f"the alert limit {alert:g} is below the alarm limit {alarm:g}")
        if max(written) >= above:
            raise self.wrong("low", f"{max(written):g} does not lie below the upper limit {above:g}")
        return Low(alert, alarm, inner.number("deadband", 0.0, least=0.0))

    def limits(self, side: Side) -> tuple[float | None, float | None]:
        is_low = side is Side.BELOW
        is_usual = self.subject.is_usual and not is_low
        alert, alarm = self.limit("alert", 4.5 if is_usual else None), self.limit("alarm", 7.1 if is_usual else None)
        if alert is None and alarm is None:
            raise self.wrong("alert", "sets neither alert nor alarm", "give at least one; only velocity has usual upper limits")
        if alert is not None and alarm is not None and (alert < alarm if is_low else alert > alarm):
            word = "below" if is_low else "above"
            raise self.wrong("alert", f"the alert limit {alert:g} is {word} the alarm limit {alarm:g}")
        return alert, alarm

    def limit(self, field: str, default: float | None) -> float | None:
        if self.raw.get(field, default) is None:
            return None
        return self.number(field, default or 0.0)

    def sample(self, field: str, raw: Any) -> Sample:
        row = self.row(field, raw, 2, 4, "[t, value, quality, arrival]")
        t = self.finite(field, row[0])
        fit = len(row) < 3 or self.word(field, row[2], ("GOOD", "BAD")) == "GOOD"
        arrival = self.finite(field, row[3]) if len(row) > 3 else t
        if self.subject.mask is not None:
            return Sample(t, 0.0, fit, arrival, self.lines(field, row[1], self.subject.mask))
        return Sample(t, self.finite(field, row[1]), fit, arrival)

    def lines(self, field: str, raw: Any, mask: MaskSpec) -> tuple[tuple[float, float], ...]:
        if isinstance(raw, (str, Mapping)) or not isinstance(raw, Sequence):
            raise self.wrong(field, f"a spectrum is due, not {raw!r}", "[[Hz, amplitude], ...]: its lines that are not nothing")
        lines = self.pairs(field, raw, "[Hz, amplitude]")
        for hz, amplitude in lines:
            if not mask.low - mask.width / 2.0 <= hz < mask.high + mask.width / 2.0:
                raise self.wrong(field, f"{hz:g} Hz lies outside the mask", f"{mask.span}")
            if amplitude < 0.0:
                raise self.wrong(field, f"an amplitude of {amplitude:g}", "0 or more")
        return lines

    def action(self, field: str, raw: Any) -> Action:
        row = self.row(field, raw, 2, 3, "[t, command, arguments]")
        written = row[1]
        command = self.word(field, ALIASES.get(written, written) if isinstance(written, str) else written, tuple(COMMANDS))
        arguments = row[2] if len(row) > 2 else {}
        if not isinstance(arguments, Mapping):
            raise self.wrong(field, f"arguments are not a table: {arguments!r}")
        for name, value in arguments.items():
            self.argument(f"{field}.{name}", command, name, value)
        if command == "run" and "running" not in arguments:
            raise self.wrong(field, "run needs to say whether the machine is running", "{ running = false }")
        if command == "run" and "rpm" in arguments and (arguments["rpm"] > STANDSTILL_RPM) is not arguments["running"]:
            raise self.wrong(f"{field}.rpm", f"a machine runs above {STANDSTILL_RPM:g} r/min", "leave it out, or let it fit")
        return Action(self.finite(field, row[0]), command, arguments, written)

    def argument(self, field: str, command: str, name: str, value: Any) -> None:
        if name not in COMMANDS[command]:
            raise self.wrong(field, f"{command} has no argument {name!r}", f"known: {', '.join(COMMANDS[command]) or 'none'}")
        if name in ("s", "rpm"):
            self.finite(field, value)
        if name == "side" and self.word(field, value, tuple(Side)) == "below" and "low" not in self.raw:
            raise self.wrong(field, "there is no low limit beside the upper one", "low = { alert = 3, alarm = 2 }")
        kind = {"occ": int, "oneshot": bool, "running": bool, "user": str, "reason": str}.get(name)
        if kind is not None and (not isinstance(value, kind) or (kind is int and isinstance(value, bool))):
            raise self.wrong(field, f"not a {kind.__name__}: {value!r}")

    def expected(self, field: str) -> tuple[Row, ...]:
        shape = _EXPECTED[field]
        rows: list[Row] = []
        for number, raw in enumerate(self.rows(field)):
            place = f"{field}[{number}]"
            row = self.row(place, [raw] if not shape else raw, len(shape) + 1, len(shape) + 1, "as long as it should be")
            words = [self.word(place, word, known) for word, known in zip(row[1:], shape, strict=True)]
            rows.append((self.finite(place, row[0]), *words))
        return tuple(rows)


_STATES = tuple(state.value for state in AlarmState)
_EXPECTED: dict[str, tuple[tuple[str, ...], ...]] = {
    "expect": (_STATES, tuple(SEVERITIES)),
    "expect_low": (_STATES, tuple(SEVERITIES)),
    "expect_monitoring": (_STATES,),
    "expect_display": (DISPLAYS,),
    "reject": ((*COMMANDS, *ALIASES),),
    "late": (),
}
"""What is expected, and the words its rows may hold after the time."""
