"""What a point has to show before its alarm counts as proven, and what of that it has shown.

Every severity of every limit of the point must have been raised, taken by the broker and, where it calls the operator, by every
output of the annunciator; and a person must have acknowledged it, where that is asked for. An alert that calls nobody counts as
shown where the alarm of its limit was: a value may pass over it in one reading, and it reaches nobody whom the alarm does not.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from edgemon.alarms.priority import annunciates, needs_ack
from edgemon.alarms.rules import Rules
from edgemon.model.annunciation import Output
from edgemon.model.instant import Instant
from edgemon.model.limit import Severity
from edgemon.model.proof import BROKER, PointProof, Tried

ANNUNCIATOR = "annunciator"


@dataclass(frozen=True, slots=True)
class Demand:
    """What one severity of one limit has to show."""

    tried: Tried
    takers: tuple[str, ...]
    """Who must have taken it, in the words of `ProofCarried`."""
    calls: bool
    """The operator is called; what needs no acknowledgement calls nobody."""
    needs_ack: bool


def demands_of(rules: Rules, outputs: Sequence[Output]) -> tuple[Demand, ...]:
    """Give what a point has to show, by its limits (the milder severity first) and the outputs of the annunciator."""
    every = [(level, limit, one) for level, limit in rules.limits.items() for one in (Severity.ALERT, Severity.ALARM)]
    return tuple(_demand(rules, outputs, level, one) for level, limit, one in every if limit.of(one) is not None)


def _demand(rules: Rules, outputs: Sequence[Output], level: str, severity: Severity) -> Demand:
    is_asked = needs_ack(rules, level, severity)
    calls = is_asked and annunciates(rules, level, severity)
    told = tuple(f"{ANNUNCIATOR} {output.name}" for output in outputs) if calls else ()
    return Demand(Tried(level, severity.word), (BROKER, *told), calls, is_asked)


def lacking(demands: Sequence[Demand], shown: PointProof | None) -> tuple[str, ...]:
    """Say what a point still has to show; nothing where its alarm is proven."""
    if not demands:
        return ("no limit is set",)
    if shown is None or not shown.reached:
        return ("never tried",)
    return tuple(lack for demand in _own(demands, shown) for lack in _lacks(demand, shown))


def _own(demands: Sequence[Demand], shown: PointProof) -> list[Demand]:
    """Leave out the alerts that count as shown by the alarm of their limit."""
    proven = {one.tried for one in demands if not _lacks(one, shown)}
    return [one for one in demands if one.calls or Tried(one.tried.level, Severity.ALARM.word) not in proven]


def _lacks(demand: Demand, shown: PointProof) -> tuple[str, ...]:
    tried = demand.tried
    if tried not in shown.reached:
        return (f"{tried} limit not reached",)
    taken = {one.to for one in shown.carried if one.tried == tried}
    missing = tuple(f"{tried} not taken by {to}" for to in demand.takers if to not in taken)
    return missing if not demand.needs_ack or _answered(demand, shown) else (*missing, f"{tried} acknowledged by nobody")


def _answered(demand: Demand, shown: PointProof) -> list[Instant]:
    return [one.at for one in shown.acknowledged if one.tried == demand.tried]


def best(demands: Sequence[Demand], shown: Sequence[PointProof]) -> PointProof | None:
    """Give, of what a point showed (the newest first), the newest that proves its alarm; else the newest."""
    return next((one for one in shown if not lacking(demands, one)), next(iter(shown), None))


def proven_at(demands: Sequence[Demand], shown: PointProof | None) -> Instant | None:
    """Say when the last of what a point had to show was shown; None where something lacks."""
    if shown is None or lacking(demands, shown):
        return None
    own = _own(demands, shown)
    taken = [one.at for one in shown.carried for demand in own if one.tried == demand.tried and one.to in demand.takers]
    return max([*taken, *(at for demand in own if demand.needs_ack for at in _answered(demand, shown))])
