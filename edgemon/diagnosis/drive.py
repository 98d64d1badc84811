"""What hangs on the shaft or drives it: blades, belts, the motor's field."""

import numpy as np

from edgemon.analysis.speed import FIRST
from edgemon.diagnosis.frequencies import motor_rates
from edgemon.diagnosis.look import UNCALIBRATED, Look, soft
from edgemon.errors import ParameterError
from edgemon.model.finding import Fault, Finding


def blade_pass(look: Look) -> list[Finding]:
    """Blade pass is the largest line of the velocity spectrum."""
    if look.facts.blades is None or look.speed is None:
        return []
    found = []
    for channel in look.radial:
        line, first = look.order(channel, float(look.facts.blades)), look.order(channel, 1.0)
        if line is None or first is None or line.above < FIRST:
            continue
        share = line.velocity / max(look.overall(channel), 1e-30)
        sure = soft(share, 0.7, 0.05) * look.severity(channel)
        if sure > 0.02:
            found.append(
                look.finding(
                    Fault.BLADE_PASS, sure, channel, (look.evidence(channel, line, f"{100 * share:.0f} % of the velocity"),)
                )
            )
    return sorted(found, key=lambda one: -one.confidence)[:1]


def belt(look: Look) -> list[Finding]:
    """Belt frequency and harmonics make a good part of the velocity."""
    if look.facts.belt_hz is None:
        return []
    found = []
    for channel in look.radial:
        lines = [line for k in (1, 2, 3, 4) if (line := look.line(channel, k * look.facts.belt_hz)) is not None]
        seen = [line for line in lines if line.stands_out]
        if len(seen) < 2:
            continue
        share = float(np.sqrt(sum(line.velocity**2 for line in seen))) / max(look.overall(channel), 1e-30)
        sure = soft(share, 0.5, 0.05) * look.severity(channel)
        if sure > 0.02:
            notes = tuple(look.evidence(channel, line, "belt frequency or harmonic") for line in seen)
            found.append(look.finding(Fault.BELT, sure, channel, notes))
    return sorted(found, key=lambda one: -one.confidence)[:1]


def electrical(look: Look) -> list[Finding]:
    """Twice supply frequency apart from 2x (stator), or sidebands of 1x at pole-pass, of rotor-bar pass at twice supply."""
    if look.facts.supply_hz is None or look.speed is None:
        return []
    found = []
    twice = 2.0 * look.facts.supply_hz
    apart = abs(twice - round(twice / look.speed.hz) * look.speed.hz)
    for channel in look.radial:
        line = look.line(channel, twice)
        if line is not None and line.above >= FIRST and apart > 2.5 * look.record.line_hz:
            share = line.velocity / max(look.overall(channel), 1e-30)
            sure = soft(share, 0.5, 0.05) * look.severity(channel)
            if sure > 0.02:
                notes = (look.evidence(channel, line, f"twice supply frequency, {100 * share:.0f} % of the velocity"),)
                found.append(look.finding(Fault.ELECTRICAL, sure, channel, notes, "stator"))
        found += _bars(look, channel) + _bar_pass(look, channel)
    return sorted(found, key=lambda one: -one.confidence)[:1]


def _bars(look: Look, channel: int) -> list[Finding]:
    if look.facts.poles is None or look.facts.supply_hz is None or look.speed is None:
        return []
    try:
        pole_pass = motor_rates(look.facts.supply_hz, look.facts.poles, look.speed.hz).pole_pass_hz
    except ParameterError:
        return []
    first = look.order(channel, 1.0)
    if first is None or pole_pass < 4.0 * look.record.line_hz:
        return []
    sides = [look.line(channel, look.speed.hz + k * pole_pass) for k in (-1, 1)]
    seen = [line for line in sides if line is not None and line.above >= FIRST]
    if len(seen) < 2:
        return []
    ratio = min(line.velocity for line in seen) / max(first.velocity, 1e-30)
    sure = soft(ratio, 0.1, 0.02) * look.severity(channel)
    notes = tuple(look.evidence(channel, line, "1x with pole-pass sideband") for line in seen)
    return [look.finding(Fault.ELECTRICAL, sure, channel, notes, "rotor bar")] if sure > 0.02 else []


def _bar_pass(look: Look, channel: int) -> list[Finding]:
    """Look for sidebands at twice supply around bars times speed, strong beside it: loose bars, or an uneven air gap.

    The lines lie above the band in which severity is judged: the pattern alone is a hint, and no verdict.
    """
    if look.facts.rotor_bars is None or look.facts.supply_hz is None or look.speed is None:
        return []
    hz = look.facts.rotor_bars * look.speed.hz
    lines = [look.line(channel, hz + k * 2.0 * look.facts.supply_hz) for k in (-1, 0, 1)]
    seen = [line for line in lines if line is not None and line.above >= FIRST]
    if len(seen) < 3:
        return []
    ratio = min(seen[0].velocity, seen[2].velocity) / max(seen[1].velocity, 1e-30)
    sure = UNCALIBRATED * soft(ratio, 0.3, 0.05)
    notes = tuple(look.evidence(channel, line, "rotor-bar pass or its sideband at twice supply frequency") for line in seen)
    return [look.finding(Fault.ELECTRICAL, sure, channel, notes, "rotor-bar pass")] if sure > 0.02 else []
