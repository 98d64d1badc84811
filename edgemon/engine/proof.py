"""The proof that is on: announced, opened a moment later, and ended by time, by a person or by a clock that was set.

What simulated data left at its points is ended when it is announced, when it opens and when it ends: whatever calls in a proof
was raised in it, and nothing of it stays behind. Real states are not touched.
"""

from dataclasses import replace

from edgemon.alarms.state import closed
from edgemon.engine.draft import Draft, Judgement, draft_of, judgement_of
from edgemon.engine.memory import Memory, Setting
from edgemon.errors import ParameterError
from edgemon.model.alarm import AlarmState, PointState
from edgemon.model.command import Person
from edgemon.model.event import AlarmChanged
from edgemon.model.ids import AlarmKey
from edgemon.model.instant import Instant
from edgemon.model.proof import LEAD_S, LONGEST_S, Proof, ProofCommand, ProofEnded, ProofStarted, Scope, StartProof

TIME_IS_UP = "its time is up"
CLOCK_WAS_SET = "the gateway's clock was set: its end is not known any more"
BEGINS = "a proof begins"
NO_REASON = "say why: the reason stands in the journal"


def obey(setting: Setting, memory: Memory, order: ProofCommand, person: Person, now: Instant) -> Judgement:
    """Announce a proof, or end the one that is on.

    Raises
    ------
    ParameterError
        It cannot be done, and why.
    """
    if not order.reason.strip():
        raise ParameterError(NO_REASON, "reason")
    draft = draft_of(setting, memory, now)
    if isinstance(order, StartProof):
        started = _announced(setting, memory, order, person, now)
        draft.events.append(started)
        _clear(draft, started.scope, BEGINS)
        return judgement_of(draft, replace(memory, proof=Proof(started)))
    if memory.proof is None:
        raise ParameterError("no proof is on")
    end(draft, memory.proof, order.reason.strip(), person)
    return judgement_of(draft, replace(memory, proof=None))


def _announced(setting: Setting, memory: Memory, order: StartProof, person: Person, now: Instant) -> ProofStarted:
    if setting.gateway.simulated:
        raise ParameterError("this gateway hears simulated sensors only: every alarm of it is simulated, and calls anyway")
    if memory.proof is not None:
        raise ParameterError(f"a proof is on already: {memory.proof}", hint="end it first, or wait")
    if not LEAD_S < order.duration_s <= LONGEST_S:
        raise ParameterError(
            f"a proof lasts longer than the {LEAD_S:g} s of its announcement, and {LONGEST_S / 3600:g} h at most", "duration"
        )
    _check(setting, order.scope)
    until = now + order.duration_s
    return ProofStarted(now, until, person.name, person.station, order.reason.strip(), *order.scope)


def _check(setting: Setting, scope: Scope) -> None:
    """Say what a scope names that the plant does not have."""
    plant = setting.plant
    if scope.area is not None and scope.area not in {area.id for area in plant.areas}:
        raise ParameterError(f"no such area: {scope.area}", "area")
    if scope.point is not None and scope.machine is None:
        raise ParameterError("a point is named with its machine", "point")
    if scope.machine is not None:
        machine = plant.machine_of.get(scope.machine)
        if machine is None:
            raise ParameterError(f"no such machine: {scope.machine}", "machine")
        if scope.point is not None and scope.point not in {point.key.point for point in machine.points}:
            raise ParameterError(f"no such point: {scope}", "point")


def passed(draft: Draft, proof: Proof | None) -> Proof | None:
    """Let time do its work: open what was announced long enough, end what is over."""
    if proof is None:
        return None
    if draft.now < proof.started.at:
        end(draft, proof, CLOCK_WAS_SET)
        return None
    if draft.now >= proof.started.until:
        end(draft, proof, TIME_IS_UP)
        return None
    if not proof.is_open and draft.now >= proof.started.at + LEAD_S:
        _clear(draft, proof.started.scope, BEGINS)
        return replace(proof, is_open=True)
    return proof


def end(draft: Draft, proof: Proof, why: str, person: Person | None = None) -> None:
    """End a proof, and what simulated data raised at its points."""
    scope = proof.started.scope
    _clear(draft, scope, "the proof ended")
    by, station = ("", "") if person is None else (person.name, person.station)
    draft.events.append(ProofEnded(draft.now, why, by, station, *scope))


def resumed(started: ProofStarted | None, now: Instant) -> Proof | None:
    """Take up the proof that was on when the last run ended; what it had raised calls on."""
    return None if started is None else Proof(started, now >= started.at + LEAD_S)


def _clear(draft: Draft, scope: Scope, why: str) -> None:
    """Begin anew with the simulated data of a scope; its real states move too, for what stands beside them changes."""
    for (key, sim), state in list(draft.points.items()):
        rules = draft.setting.rules.get(key)
        if rules is None or not scope.covers(key, rules.machine.area):
            continue
        draft.moved.add((key, sim))
        if sim:
            draft.adopt((key, sim), state, PointState(key, True), _cleared(state, draft.now, why))


def _cleared(state: PointState, now: Instant, why: str) -> tuple[AlarmChanged, ...]:
    return tuple(closed(record, now, why) for record in state.alarms.values() if record.state is not AlarmState.NORM)


def hears(setting: Setting, memory: Memory, alarm: AlarmKey, now: Instant) -> bool:
    """Say whether an alarm calls people here: a simulated one on a simulated gateway, or in the proof that is on."""
    if not alarm.sim or setting.gateway.simulated:
        return True
    machine = setting.plant.machine_of.get(alarm.machine)
    return memory.proof is not None and machine is not None and memory.proof.calls(alarm, machine.area, now)
