"""What calls the operator now: the horn, the beacon, and what a silence does to them.

The horn is on while an alarm that annunciates is neither acknowledged nor silenced. The beacon is on until it is acknowledged,
also where its condition has gone. A silence holds for the occurrences that called when it was given: a new one sounds at
once, and an old one again after the time the site decided.

Source: sound until acknowledged, its return 30 s after a silence and its end when the condition goes: IMO resolution
MSC.302(87), 7.3.3 to 7.3.8; silence apart from acknowledgement: OPC 10000-9 SilenceState.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

from edgemon.alarms.registry import title_of
from edgemon.alarms.rules import Rules
from edgemon.alarms.state import WAITING
from edgemon.model.alarm import AlarmRecord, AlarmState, PointState
from edgemon.model.annunciation import Annunciation, Call
from edgemon.model.ids import PointKey
from edgemon.model.instant import Instant
from edgemon.model.limit import Severity
from edgemon.model.policy import AlarmPolicy
from edgemon.model.proof import Proof
from edgemon.model.text import clean

CALLING = (AlarmState.UNACK, AlarmState.LATUN)
"""States that sound."""
TEXT_LONGEST = 200


def calls(record: AlarmRecord) -> bool:
    """Say whether a record calls the operator; one that came and went waits for its acknowledgement, but calls nobody."""
    return record.annunciates and record.state in CALLING


def is_silenced(record: AlarmRecord, policy: AlarmPolicy, now: Instant) -> bool:
    """Say whether a silence of this occurrence still holds."""
    at = record.silenced_at
    return at is not None and (policy.silence_s <= 0.0 or now < at + policy.silence_s)


def silence(state: PointState, policy: AlarmPolicy, now: Instant) -> tuple[PointState, tuple[AlarmRecord, ...]]:
    """Silence what calls at a point; gives the same state where nothing sounds."""
    quiet = {
        level: replace(record, silenced_at=now)
        for level, record in state.alarms.items()
        if calls(record) and not is_silenced(record, policy, now)
    }
    return (replace(state, alarms={**state.alarms, **quiet}), tuple(quiet.values())) if quiet else (state, ())


def annunciation(
    rules: Mapping[PointKey, Rules],
    states: Iterable[PointState],
    policy: AlarmPolicy,
    now: Instant,
    simulated: bool,
    proof: Proof | None = None,
) -> Annunciation:
    """Give what horn and beacon show now.

    Parameters
    ----------
    rules : mapping of PointKey to Rules
        Those of all points; states of other points are passed over.
    states : iterable of PointState
        Real and simulated ones.
    policy : AlarmPolicy
        How long a silence holds, and whether the end of an alarm is told.
    now : Instant
        Gateway time.
    simulated : bool
        The gateway hears simulated sensors only; otherwise simulated alarms reach the plant's horn in a proof alone.
    proof : Proof, optional
        The one that is on: its alarms call too, as a test, and behind every real one.
    """
    waiting = [
        record
        for state in states
        if state.point in rules
        for record in state.alarms.values()
        if record.annunciates and record.state in WAITING
    ]
    shown = _shown(rules, [record for record in waiting if simulated or not record.key.sim], policy, now)
    if proof is None:
        return shown
    tried = [one for one in waiting if proof.calls(one.key, rules[PointKey(one.key.machine, one.key.point)].machine.area, now)]
    return _both(shown, _shown(rules, tried, policy, now), str(proof))


def _both(real: Annunciation, tried: Annunciation, proof: str) -> Annunciation:
    """Show what calls by a proof behind what really calls: a real beacon stays as it is, and nothing is a test beside it."""
    called, lit = tried.call, real if real.beacon != "off" else tried
    call = None if called is None else replace(called, text=clean(f"PROOF, no real alarm: {called.text}", TEXT_LONGEST))
    silenced = [one.silenced_at for one in (real, tried) if one.silenced_at is not None]
    return Annunciation(
        horn=real.horn or tried.horn,
        beacon=lit.beacon,
        ringback=lit.ringback,
        test=lit is tried and tried.beacon != "off",
        call=real.call or call,
        proof=proof,
        silenced_at=max(silenced, default=None),
    )


def _shown(rules: Mapping[PointKey, Rules], waiting: Sequence[AlarmRecord], policy: AlarmPolicy, now: Instant) -> Annunciation:
    if not waiting:
        return Annunciation()
    calling = [record for record in waiting if record.state in CALLING]
    sounding = [record for record in calling if not is_silenced(record, policy, now)]
    newest = max(sounding, key=lambda record: (record.raised_at, record.key), default=None)
    return Annunciation(
        horn=bool(sounding),
        beacon=max(_severity(record) for record in waiting).word,
        ringback=any(
            record.state is AlarmState.RTNUN and 0.0 <= now - _told_at(record) < policy.ringback_s for record in waiting
        ),
        call=None if newest is None else _call(rules, newest),
        silenced_at=max(
            (one.silenced_at for one in calling if one.silenced_at is not None and one not in sounding), default=None
        ),
    )


def _told_at(record: AlarmRecord) -> Instant:
    return record.since if record.told_at is None else record.told_at


def _severity(record: AlarmRecord) -> Severity:
    """Give the severity that waits: in force, or the highest it had; a beacon that is on is never `normal`."""
    return (
        max(record.severity, Severity.ALERT) if record.state is AlarmState.UNACK else max(record.peak_severity, Severity.ALERT)
    )


def _call(rules: Mapping[PointKey, Rules], record: AlarmRecord) -> Call:
    key = record.key
    one = rules[PointKey(key.machine, key.point)]
    kind = one.point.kind_of(key.level)
    severity = _severity(record).word
    text = f"{one.machine.name}, {one.point.name}: {severity}, {title_of(key.level) if kind is None else kind.title}"
    if key.sim:
        text += " [simulated]"
    return Call(str(key), record.occurrence, severity, record.priority.value, clean(text, TEXT_LONGEST), key.sim)
