"""Signing points off: done and withdrawn by an engineer, and withdrawn by itself where the plant file says otherwise later."""

import math
from collections.abc import Iterable
from dataclasses import replace

from edgemon.engine.draft import Judgement, draft_of, judgement_of
from edgemon.engine.memory import Memory, Setting
from edgemon.engine.proof import NO_REASON
from edgemon.errors import ParameterError
from edgemon.model.command import Person
from edgemon.model.commission import SignView
from edgemon.model.ids import PointKey
from edgemon.model.instant import Instant
from edgemon.model.limit import Limit, Side
from edgemon.model.machine import Plant
from edgemon.model.signoff import PointSignedOff, SignCommand, SignEvent, SignOff, SignOffWithdrawn, already
from edgemon.units import from_si, interval_from_si

POINT_GONE = "the plant file no longer has the point"
_NAMED = 4
"""Differences told in one reason at most."""
_PARTS = ", "
"""Between the parts of what is told of a limit."""


def signed_for(plant: Plant, key: PointKey) -> tuple[str, ...]:
    """Give what a sign-off of a point holds for, each as `name: value`.

    These stand in journals and are compared with what a later version makes of the plant file: other words for the same thing
    take sign-offs back.

    Parameters
    ----------
    plant : Plant
        As the plant file has it, without the limits that baselines lead to.
    """
    point = plant.points[key]
    sensor = plant.sensors[point.sensor]
    facts = {
        "sensor": str(point.sensor),
        "sensitivity": _number(sensor.sensitivity_v_per_si, "V per m/s2"),
        "range": _number(sensor.range_si, "m/s2"),
        "mounting": sensor.mounting or "",
        "resonance": _number(sensor.resonance_hz, "Hz"),
        "axis": point.axis,
        "direction": point.direction,
        "velocity band": str(point.band),
        "part": point.part,
        "end": point.end,
        **{f"limit {limit.level}": _limit(limit) for limit in point.limits},
    }
    return tuple(f"{name}: {value}" for name, value in facts.items() if value)


def _number(value: float | None, unit: str) -> str:
    return "" if value is None else f"{value:.6g} {unit}"


def _limit(limit: Limit) -> str:
    """Write a limit as far as it decides when something is called; empty where there is none."""
    delays = {"alert": (limit.alert, limit.on_delay_alert), "alarm": (limit.alarm, limit.on_delay_alarm)}
    values = [
        f"{name} {from_si(value, limit.unit):.6g} {limit.unit} (on-delay {delay})"
        for name, (value, delay) in delays.items()
        if value is not None
    ]
    if not values:
        return ""
    more = {
        "below": limit.side is Side.BELOW,
        "alert latches": limit.latch_alert,
        "alarm latches": limit.latch_alarm,
        "alert calls": limit.promote_alert,
        f"from {limit.low_rpm:g} to {limit.high_rpm:g} r/min": limit.low_rpm > 0.0 or limit.high_rpm < math.inf,
    }
    deadband = f"deadband {interval_from_si(limit.deadband, limit.unit):.6g} {limit.unit}"
    return _PARTS.join((*values, deadband, f"off-delay {limit.off_delay}", *(name for name, holds in more.items() if holds)))


def obey(filed: Setting, memory: Memory, order: SignCommand, person: Person, now: Instant) -> Judgement:
    """Sign a point off, or take its sign-off back.

    Parameters
    ----------
    filed : Setting
        Of the plant file alone.

    Raises
    ------
    ParameterError
        It cannot be done, and why.
    """
    on = memory.signs.get(order.point)
    if order.point not in filed.plant.points:
        raise ParameterError(f"no such point: {order.point}", "point")
    if isinstance(order, SignOff):
        if isinstance(on, PointSignedOff):
            raise already(on.by, on.at)
        what = signed_for(filed.plant, order.point), order.left_open
        who = (person.name, person.station, order.remark.strip())
        return _noted(filed, memory, PointSignedOff(now, order.point, *what, *who))
    if not order.reason.strip():
        raise ParameterError(NO_REASON, "reason")
    if not isinstance(on, PointSignedOff):
        raise ParameterError(f"{order.point} is not signed off")
    who = (order.reason.strip(), person.name, person.station)
    return _noted(filed, memory, SignOffWithdrawn(now, order.point, on.at, on.by, *who))


def _noted(filed: Setting, memory: Memory, event: SignEvent) -> Judgement:
    draft = draft_of(filed, memory, event.at)
    draft.events.append(event)
    return judgement_of(draft, with_signs(memory, (event,)))


def with_signs(memory: Memory, events: Iterable[SignEvent]) -> Memory:
    """Remember what happened to sign-offs."""
    return replace(memory, signs={**memory.signs, **{event.point: event for event in events}})


def withdrawn(plant: Plant, memory: Memory, now: Instant) -> tuple[SignOffWithdrawn, ...]:
    """Take back what was signed for another sensor, mounting or limit than the plant file has now."""
    held = [one for one in memory.signs.values() if isinstance(one, PointSignedOff)]
    reasons = {one.point: _other(plant, one) for one in held}
    return tuple(SignOffWithdrawn(now, one.point, one.at, one.by, reasons[one.point]) for one in held if reasons[one.point])


def _other(plant: Plant, signed: PointSignedOff) -> str:
    """Say what is not as it was signed for; empty where nothing is."""
    if signed.point not in plant.points:
        return POINT_GONE
    before, after = _facts(signed.signed_for), _facts(signed_for(plant, signed.point))
    differ = [name for name in {**before, **after} if before.get(name) != after.get(name)]
    told = [_differs(name, before.get(name, "none"), after.get(name, "none")) for name in differ]
    more = f"; and {len(told) - _NAMED} more" if len(told) > _NAMED else ""
    return f"the plant file has changed: {'; '.join(told[:_NAMED])}{more}" if told else ""


def _differs(name: str, before: str, after: str) -> str:
    """Say what is another than it was: of a limit, which is told in parts, those that are."""
    then, now = before.split(_PARTS), after.split(_PARTS)
    gone, new = [part for part in then if part not in now], [part for part in now if part not in then]
    if gone and new:
        before, after = _PARTS.join(gone), _PARTS.join(new)
    return f"{name} {after}, signed for {before}"


def _facts(lines: Iterable[str]) -> dict[str, str]:
    return {name: value for name, _, value in (line.partition(": ") for line in lines)}


def sign_view(event: SignEvent | None) -> SignView | None:
    """Show what happened last to the sign-off of a point."""
    if isinstance(event, SignOffWithdrawn):
        signed, why = (event.signed_at, event.signed_by), event.reason
        return SignView(*signed, withdrawn_at=event.at, withdrawn_by=event.by, withdrawn_because=why)
    if event is None:
        return None
    return SignView(event.at, event.by, event.station, event.remark, event.left_open, event.signed_for)
