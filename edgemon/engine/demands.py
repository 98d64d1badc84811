"""What a point has to show before its alarm counts as proven, and what of that it has shown.

Every severity that a limit of the point can raise must have been raised, taken by the broker and, where it calls the operator,
by every output of the annunciator; and a person must have acknowledged it.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from edgemon.alarms.priority import annunciates
from edgemon.alarms.rules import Rules
from edgemon.model.annunciation import Output
from edgemon.model.instant import Instant
from edgemon.model.limit import Severity
from edgemon.model.proof import BROKER, PointProof

ANNUNCIATOR = "annunciator"


@dataclass(frozen=True, slots=True)
class Demand:
    """What has to be shown."""

    severities: tuple[str, ...]
    """Of the point's limits, the milder first."""
    takers: tuple[str, ...]
    """Who must have taken it, in the words of `ProofCarried`."""


def demand_of(rules: Rules, outputs: Sequence[Output]) -> Demand:
    """Give what a point has to show, by its limits and the outputs of the annunciator."""
    every = [(level, limit, one) for level, limit in rules.limits.items() for one in (Severity.ALERT, Severity.ALARM)]
    known = [(level, one) for level, limit, one in every if limit.of(one) is not None]
    calls = any(annunciates(rules, level, one) for level, one in known)
    told = tuple(f"{ANNUNCIATOR} {output.name}" for output in outputs) if calls else ()
    return Demand(tuple(one.word for one in sorted({one for _, one in known})), (BROKER, *told))


def lacking(demand: Demand, shown: PointProof | None) -> tuple[str, ...]:
    """Say what a point still has to show; nothing where its alarm is proven."""
    if not demand.severities:
        return ("no limit is set",)
    if shown is None or not shown.reached:
        return ("never tried",)
    taken = {one.to for one in shown.carried}
    missing = [f"{severity} limit not reached" for severity in demand.severities if severity not in shown.reached]
    missing += [f"not taken by {to}" for to in demand.takers if to not in taken]
    return (*missing, *(() if shown.acknowledged_by else ("nobody acknowledged it",)))


def best(demand: Demand, shown: Sequence[PointProof]) -> PointProof | None:
    """Give, of what a point showed (the newest first), the newest that proves its alarm; else the newest."""
    return next((one for one in shown if not lacking(demand, one)), next(iter(shown), None))


def proven_at(demand: Demand, shown: PointProof | None) -> Instant | None:
    """Say when the last of what a point had to show was shown; None where something lacks."""
    if shown is None or shown.acknowledged_at is None or lacking(demand, shown):
        return None
    return max([shown.acknowledged_at, *(one.at for one in shown.carried if one.to in demand.takers)])
