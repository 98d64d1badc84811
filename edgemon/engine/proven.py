"""What proofs showed, point by point, read from the journal and from nothing else."""

from collections.abc import Mapping
from dataclasses import replace

from edgemon.model.event import AlarmChanged, JournalEntry
from edgemon.model.ids import AlarmKey, AreaId, MachineId, PointKey
from edgemon.model.limit import Severity
from edgemon.model.proof import Carried, PointProof, ProofCarried, ProofEnded, ProofStarted

KINDS = ("proof-started", "alarm-changed", "proof-carried", "proof-ended")
"""The entries that tell of it."""
KEPT = 8
"""Proofs of one point that are remembered, the newest."""
_RAISES = ("RAISED", "LEVEL_UP", "REALARM")


class Proven:
    """Takes journal entries in their order; what lies outside a proof changes nothing.

    Parameters
    ----------
    areas : mapping of MachineId to AreaId
        Where each machine stands.
    """

    def __init__(self, areas: Mapping[MachineId, AreaId]) -> None:
        self._areas = areas
        self._on: ProofStarted | None = None
        self._points: dict[PointKey, tuple[PointProof, ...]] = {}

    def points(self) -> dict[PointKey, tuple[PointProof, ...]]:
        """Give what each point showed, the newest proof first."""
        return dict(self._points)

    def take(self, entry: JournalEntry) -> None:
        """Take an entry; whatever it is."""
        match entry.event:
            case ProofStarted() as started:
                self._on = started
            case ProofEnded():
                self._on = None
            case AlarmChanged() as changed if changed.alarm.sim:
                self._changed(changed)
            case ProofCarried() as carried:
                self._carried(carried)
            case _:
                pass

    def _changed(self, event: AlarmChanged) -> None:
        if event.change in _RAISES and event.severity is not Severity.NORMAL and (one := self._of(event.alarm, True)):
            reached = tuple(dict.fromkeys((*one.reached, event.severity.word)))
            levels = tuple(dict.fromkeys((*one.levels, event.alarm.level)))
            self._keep(replace(one, reached=reached, levels=levels))
        elif event.change == "ACK" and event.by and (one := self._of(event.alarm, False)) and not one.acknowledged_by:
            self._keep(replace(one, acknowledged_by=event.by, acknowledged_at=event.at))

    def _carried(self, event: ProofCarried) -> None:
        one = self._of(event.alarm, False)
        if one is not None and event.to not in {known.to for known in one.carried}:
            self._keep(replace(one, carried=(*one.carried, Carried(event.to, event.at))))

    def _of(self, alarm: AlarmKey, may_begin: bool) -> PointProof | None:
        """Give the record of an alarm's point in the proof that is on; a new one where it may begin."""
        on, point, area = self._on, PointKey(alarm.machine, alarm.point), self._areas.get(alarm.machine)
        if on is None or area is None or not on.scope.covers(point, area):
            return None
        newest = next(iter(self._points.get(point, ())), None)
        if newest is not None and newest.announced_at == on.at:
            return newest
        return PointProof(point.machine, point.point, on.at, on.by, on.reason) if may_begin else None

    def _keep(self, one: PointProof) -> None:
        before = [old for old in self._points.get(one.key, ()) if old.announced_at != one.announced_at]
        self._points[one.key] = (one, *before)[:KEPT]
