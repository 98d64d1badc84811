"""What proofs showed, point by point, read from the journal and from nothing else."""

from collections.abc import Mapping
from dataclasses import replace

from edgemon.engine.proof import BEGINS
from edgemon.model.alarm import MONITORING
from edgemon.model.event import AlarmChanged, JournalEntry
from edgemon.model.ids import AlarmKey, AreaId, MachineId, PointKey
from edgemon.model.limit import Severity
from edgemon.model.proof import LEAD_S, Acknowledged, Carried, PointProof, ProofCarried, ProofEnded, ProofStarted, Tried

KINDS = ("proof-started", "alarm-changed", "proof-carried", "proof-ended")
"""The entries that tell of it."""
KEPT = 8
"""Proofs of one point that are remembered, the newest."""
_RAISES = ("RAISED", "LEVEL_UP", "REALARM", "UNSHELVED", "UNSUPPRESSED", "RTS")


class Proven:
    """Takes journal entries in their order; what lies outside a proof, or came while it was only announced, changes nothing.

    Limits are what is proven: that no simulated data comes is none. Who acknowledges an alarm acknowledges the alert of its
    limit with it; an alarm that rises after an acknowledgement needs one of its own.

    Parameters
    ----------
    areas : mapping of MachineId to AreaId
        Where each machine stands.
    """

    def __init__(self, areas: Mapping[MachineId, AreaId]) -> None:
        self._areas = areas
        self._on: ProofStarted | None = None
        self._raised: dict[AlarmKey, Severity] = {}
        """Severity of what was announced last, in the proof that is on."""
        self._points: dict[PointKey, tuple[PointProof, ...]] = {}

    def points(self) -> dict[PointKey, tuple[PointProof, ...]]:
        """Give what each point showed, the newest proof first."""
        return dict(self._points)

    def take(self, entry: JournalEntry) -> None:
        """Take an entry; whatever it is."""
        match entry.event:
            case ProofStarted() as started:
                self._on, self._raised = started, {}
            case ProofEnded():
                self._on = None
            case AlarmChanged() as changed if changed.alarm.sim and changed.alarm.level != MONITORING:
                self._changed(changed, self._on is not None and entry.recorded_at >= self._on.at + LEAD_S)
            case ProofCarried() as carried:
                self._carried(carried)
            case _:
                pass

    def _changed(self, event: AlarmChanged, is_open: bool) -> None:
        if event.change in _RAISES and event.severity is not Severity.NORMAL and is_open:
            self._reached(event)
        elif event.change == "ACK" and event.by:
            self._acknowledged(event)
        elif event.reason == BEGINS and (one := self._of(event.alarm, False)):
            self._raised.clear()  # it opens only now: the journal took late what came before
            self._keep(replace(one, reached=(), carried=(), acknowledged=()))

    def _reached(self, event: AlarmChanged) -> None:
        one, tried = self._of(event.alarm, True), Tried(event.alarm.level, event.severity.word)
        if one is not None:
            self._raised[event.alarm] = event.severity
            self._keep(replace(one, reached=tuple(dict.fromkeys((*one.reached, tried)))))

    def _acknowledged(self, event: AlarmChanged) -> None:
        """Note who acknowledged what was announced last, and what of this level is milder than that."""
        one, worst = self._of(event.alarm, False), self._raised.get(event.alarm, Severity.NORMAL)
        if one is None:
            return
        answered = {known.tried for known in one.acknowledged}
        told = [Tried(event.alarm.level, severity.word) for severity in Severity if severity <= worst]
        new = [Acknowledged(tried, event.by, event.at) for tried in told if tried in one.reached and tried not in answered]
        self._keep(replace(one, acknowledged=(*one.acknowledged, *new)))

    def _carried(self, event: ProofCarried) -> None:
        one, tried = self._of(event.alarm, False), Tried(event.alarm.level, event.severity.word)
        if one is not None and (tried, event.to) not in {(known.tried, known.to) for known in one.carried}:
            self._keep(replace(one, carried=(*one.carried, Carried(tried, event.to, event.at))))

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
