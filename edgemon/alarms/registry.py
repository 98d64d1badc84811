"""Rule name to function; one line to add a rule, and the table of transitions stays as it is.

A rule gives the alert and the alarm condition of one record from the evidence. The record of a level is judged by the rule
`limit`, the record of a point's silence by the rule `monitoring`, the gateway's storage by the same.
"""

from collections.abc import Callable
from dataclasses import dataclass

from edgemon.alarms.limits import judge_both
from edgemon.alarms.rules import Rules
from edgemon.alarms.timing import ACTIVE, INACTIVE
from edgemon.model.alarm import MONITORING, STORAGE, AlarmRecord, Condition
from edgemon.model.instant import Instant
from edgemon.model.level import LEVEL_KINDS
from edgemon.model.limit import Severity


@dataclass(frozen=True, slots=True)
class Evidence:
    """What a rule judges."""

    rules: Rules
    record: AlarmRecord
    at: Instant
    value: float = 0.0
    """Of the level, in the house's unit."""
    bridged: bool = True
    """The value before it is not so old that the time between counts as silence."""
    factor: float = 1.0
    """Multiplies the limits."""
    lost: bool = False
    """The point's data is missing or not fit."""


Rule = Callable[[Evidence], tuple[Condition, Condition]]


def by_limit(evidence: Evidence) -> tuple[Condition, Condition]:
    """Judge a value against its alert and alarm limit; without a limit nothing is ever there."""
    record = evidence.record
    limit = evidence.rules.limits.get(record.key.level)
    if limit is None:
        return INACTIVE, INACTIVE
    return judge_both(limit, record.alert, record.alarm, evidence.value, evidence.at, evidence.bridged, evidence.factor)


def by_silence(evidence: Evidence) -> tuple[Condition, Condition]:
    """Judge whether the point is watched at all: at once in both directions, at the severity the machine deserves."""
    there = ACTIVE if evidence.lost else INACTIVE
    return (INACTIVE, there) if evidence.rules.loss_severity is Severity.ALARM else (there, INACTIVE)


RULES: dict[str, Rule] = {"limit": by_limit, MONITORING: by_silence, STORAGE: by_silence}
_TITLES = {MONITORING: "loss of monitoring", STORAGE: "loss of storage"}


def rule_of(level: str) -> Rule:
    """Give the rule that judges the record named by a level, or `monitoring`."""
    return RULES.get(level, by_limit)


def title_of(level: str) -> str:
    """Give the name of a record for people."""
    kind = LEVEL_KINDS.get(level)
    return _TITLES.get(level, level) if kind is None else kind.title
