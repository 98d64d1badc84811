"""Scenarios as people write them, checked: each problem names the file, the scenario and the field."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import isfinite
from typing import Any

from edgemon.errors import SettingsError
from edgemon.model.alarm import AlarmState
from edgemon.model.limit import Severity, Side

SEVERITIES = {"NONE": Severity.NORMAL, "ALERT": Severity.ALERT, "ALARM": Severity.ALARM}
COMMANDS: dict[str, tuple[str, ...]] = {
    "ack": ("occ", "user"),
    "ack_monitoring": ("occ", "user"),
    "reset": ("user",),
    "shelve": ("s", "user", "reason", "oneshot"),
    "unshelve": ("user",),
    "oos": ("user", "reason"),
    "rts": ("user",),
    "run": ("running",),
    "kill": (),
    "restart": (),
}
"""Commands of a scenario and their arguments."""

ALIASES = {"expect_nd": "expect_monitoring", "ack_nd": "ack_monitoring"}
DISPLAYS = ("OK", "NO_DATA")
FIELDS = (
    *(
        "id",
        "about",
        "side",
        "alert",
        "alarm",
        "deadband",
        "on_delay_s",
        "off_delay_s",
        "stale_after_s",
        "max_shelve_s",
        "latch",
        "runup",
    ),
    *("samples", "actions", "run_until", "expect", "expect_monitoring", "expect_display", "reject", "late"),
)


@dataclass(frozen=True, slots=True)
class Sample:
    """One value: when taken, how much, whether fit, when it came."""

    t: float
    value: float
    fit: bool
    arrival: float


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
class Scenario:
    """Limits, what happens, and what is expected (None where nothing is)."""

    id: str
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
    samples: tuple[Sample, ...]
    actions: tuple[Action, ...]
    run_until: float | None
    expected: Mapping[str, tuple[Row, ...]]
    """`expect`, `expect_monitoring`, `expect_display`, `reject`, `late`: those that the file has."""


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


class _Fields:
    """The fields of one scenario, with their place for messages."""

    def __init__(self, raw: Any, file: str, number: int) -> None:
        self.place = f"{file}: scenario {number}"
        if not isinstance(raw, Mapping):
            raise SettingsError("not a table of fields", self.place, "")
        self.raw = {ALIASES.get(name, name): value for name, value in raw.items()}
        name = self.raw.get("id")
        if not isinstance(name, str) or not name:
            raise self.wrong("id", "a scenario needs an id", "any text")
        self.place = f"{file}: scenario {name}"
        for field in self.raw:
            if field not in FIELDS:
                raise self.wrong(str(field), "unknown field", f"known: {', '.join(FIELDS)}")

    def wrong(self, field: str, what: str, hint: str = "") -> SettingsError:
        return SettingsError(what, f"{self.place}: {field}", hint)

    def scenario(self) -> Scenario:
        on_delay = self.table("on_delay_s", {"alert": 10.0, "alarm": 3.0})
        runup = self.table("runup", {"k": 1.0, "s": 0.0})
        side = Side(self.word("side", self.raw.get("side", "above"), tuple(Side)))
        alert, alarm = self.limits(side)
        if runup["k"] < 1.0:
            raise self.wrong("runup.k", f"the limits cannot be lowered by a factor of {runup['k']:g}", "1 or more")
        return Scenario(
            id=self.raw["id"],
            alert=alert,
            alarm=alarm,
            deadband=self.number("deadband", 0.3, least=0.0),
            on_delay_alert_s=on_delay["alert"],
            on_delay_alarm_s=on_delay["alarm"],
            off_delay_s=self.number("off_delay_s", 10.0, least=0.0),
            stale_after_s=self.positive("stale_after_s", 30.0),
            max_shelve_s=self.number("max_shelve_s", 28800.0, least=0.0),
            latch=frozenset(SEVERITIES[self.word("latch", word, ("ALERT", "ALARM"))] for word in self.rows("latch")),
            runup_factor=runup["k"],
            runup_s=runup["s"],
            side=side,
            samples=tuple(self.sample(f"samples[{n}]", row) for n, row in enumerate(self.rows("samples"))),
            actions=tuple(self.action(f"actions[{n}]", row) for n, row in enumerate(self.rows("actions"))),
            run_until=self.number("run_until", 0.0) if "run_until" in self.raw else None,
            expected={name: self.expected(name) for name in _EXPECTED if name in self.raw},
        )

    def limits(self, side: Side) -> tuple[float | None, float | None]:
        is_low = side is Side.BELOW
        alert, alarm = self.limit("alert", None if is_low else 4.5), self.limit("alarm", None if is_low else 7.1)
        if is_low and alert is None and alarm is None:
            raise self.wrong("side", "a low limit has no usual value", "write alert, alarm or both")
        if alert is not None and alarm is not None and (alert < alarm if is_low else alert > alarm):
            word = "below" if is_low else "above"
            raise self.wrong("alert", f"the alert limit {alert:g} is {word} the alarm limit {alarm:g}")
        return alert, alarm

    def rows(self, field: str) -> Sequence[Any]:
        rows = self.raw.get(field, ())
        if isinstance(rows, (str, Mapping)) or not isinstance(rows, Sequence):
            raise self.wrong(field, "not a list", "write [...]")
        return rows

    def row(self, field: str, row: Any, least: int, most: int, shape: str) -> Sequence[Any]:
        if isinstance(row, (str, Mapping)) or not isinstance(row, Sequence) or not least <= len(row) <= most:
            raise self.wrong(field, f"not {shape}: {row!r}")
        return row

    def finite(self, field: str, value: Any, least: float | None = None) -> float:
        if isinstance(value, bool) or not isinstance(value, (int, float)) or not isfinite(value):
            raise self.wrong(field, f"not a number: {value!r}")
        if least is not None and value < least:
            raise self.wrong(field, f"{value!r} is too small", f"{least:g} or more")
        return float(value)

    def number(self, field: str, default: float, least: float | None = None) -> float:
        return self.finite(field, self.raw[field], least) if field in self.raw else default

    def positive(self, field: str, default: float) -> float:
        value = self.number(field, default, least=0.0)
        if value == 0.0:
            raise self.wrong(field, "must be above zero")
        return value

    def limit(self, field: str, default: float | None) -> float | None:
        if self.raw.get(field, default) is None:
            return None
        return self.number(field, default or 0.0)

    def table(self, field: str, defaults: Mapping[str, float]) -> dict[str, float]:
        given = self.raw.get(field, {})
        if not isinstance(given, Mapping):
            raise self.wrong(field, f"not a table: {given!r}", f"write {{ {', '.join(f'{name} = ...' for name in defaults)} }}")
        for name in given:
            if name not in defaults:
                raise self.wrong(f"{field}.{name}", "unknown field", f"known: {', '.join(defaults)}")
        return {
            name: self.finite(f"{field}.{name}", given[name], 0.0) if name in given else value
            for name, value in defaults.items()
        }

    def word(self, field: str, word: Any, known: Sequence[str]) -> str:
        if not isinstance(word, str) or word not in known:
            raise self.wrong(field, f"unknown word {word!r}", f"known: {', '.join(known)}")
        return word

    def sample(self, field: str, raw: Any) -> Sample:
        row = self.row(field, raw, 2, 4, "[t, value, quality, arrival]")
        t = self.finite(field, row[0])
        fit = len(row) < 3 or self.word(field, row[2], ("GOOD", "BAD")) == "GOOD"
        arrival = self.finite(field, row[3]) if len(row) > 3 else t
        return Sample(t, self.finite(field, row[1]), fit, arrival)

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
        return Action(self.finite(field, row[0]), command, arguments, written)

    def argument(self, field: str, command: str, name: str, value: Any) -> None:
        if name not in COMMANDS[command]:
            raise self.wrong(field, f"{command} has no argument {name!r}", f"known: {', '.join(COMMANDS[command]) or 'none'}")
        if name == "s":
            self.finite(field, value)
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
    "expect_monitoring": (_STATES,),
    "expect_display": (DISPLAYS,),
    "reject": ((*COMMANDS, *ALIASES),),
    "late": (),
}
"""What is expected, and the words its rows may hold after the time."""
