"""Rotor faults, told by the low multiples of shaft speed and by directions: unbalance, misalignment, looseness and kin."""

import math
from itertools import combinations

import numpy as np

from edgemon.analysis.speed import FIRST, NEXT
from edgemon.diagnosis.look import UNCALIBRATED, Look, OrderLine, soft
from edgemon.diagnosis.phases import STEADY, steady_phase
from edgemon.model.finding import Evidence, Fault, Finding

SHARE = 0.8
"""Share of the overall that 1x makes where unbalance is the problem. Source: trade rule, common practice, no source."""
QUADRATURE = math.radians(60.0)
"""How far from 90 degrees two radial directions may be. Source: textbooks give about 90 degrees, +-30 for stiffness that
differs; 60 because pedestals of test rigs reach 50 (measured)."""
UNCALIBRATED_UNBALANCE = 0.65
"""Ceiling where sizes mean nothing: shape and phase of two directions say that 1x is unbalance, not that it is too much. One
direction does not even say that: 1x is the largest line of most healthy machines."""
SECOND = 0.5
"""2x over 1x, and axial over radial, from which misalignment is meant. Source: trade rule, common practice, no source."""
ONE_SIDED = 3.0
"""1x of one radial direction over the other from which resonance is meant. Source: trade rule, common practice."""
DOUBTED = 0.5
"""Of the confidence in unbalance taken where 1x is that one-sided: a force that turns shakes both directions, so resonance,
eccentricity or looseness is meant before it. Source: trade rule, common practice."""
MANY = 6
TENTH = 0.1


def unbalance(look: Look) -> list[Finding]:
    """1x makes most of the radial velocity, steady, the radial directions about a quarter turn apart."""
    best: Finding | None = None
    has_phases = look.record.lines is None
    pairs: list[tuple[int, ...]] = list(combinations(look.radial, 2)) if has_phases else []
    for pair in pairs or [(channel,) for channel in look.radial]:
        found = _unbalance_of(look, pair)
        if found is not None and (best is None or found.confidence > best.confidence):
            best = found
    return [best] if best is not None else []


def _unbalance_of(look: Look, channels: tuple[int, ...]) -> Finding | None:
    lines = [look.order(channel, 1.0) for channel in channels]
    firsts = [line for line in lines if line is not None]
    if len(firsts) < len(channels) or min(line.above for line in firsts) < FIRST:
        return None
    shares = [line.velocity / max(look.overall(c), 1e-30) for c, line in zip(channels, firsts, strict=True)]
    share = min(min(shares), 1.0)
    strongest = max(range(len(channels)), key=lambda i: firsts[i].velocity)
    channel = channels[strongest]
    trusted = look.record.channels[channel].calibrated
    level = look.severity(channel) if trusted else UNCALIBRATED_UNBALANCE if len(channels) == 2 else UNCALIBRATED
    second = look.order(channel, 2.0)
    double = 0.0 if second is None else second.velocity / firsts[strongest].velocity
    sure = soft(share, SHARE, 0.02) * soft(SECOND - double, 0.0, 0.05) * level
    sure *= 1.0 - soft(_axial_share(look, firsts[strongest]), SECOND, 0.05)
    one_sided = _one_sided(look)
    sure *= 1.0 - DOUBTED * soft(one_sided, ONE_SIDED, 0.3)
    notes = [Evidence(f"1x makes {100 * share:.0f} % of the velocity, 2x is {100 * double:.0f} % of 1x")]
    if len(channels) == 2:
        coherence, phase = steady_phase(look, channels[0], channels[1])
        off = abs(abs(phase) - math.pi / 2.0)
        sure *= soft(coherence, STEADY, 0.003) * soft(QUADRATURE - off, 0.0, math.radians(3.0))
        notes.append(
            Evidence(f"1x of the two directions is {abs(math.degrees(phase)):.0f} degrees apart, coherence {coherence:.3f}")
        )
    else:
        sure *= soft(share, 0.9, 0.02) * 0.9
        notes.append(Evidence("only one direction: the turning of the force could not be checked"))
    if sure < 0.02:
        return None
    return look.finding(Fault.UNBALANCE, sure, channel, (look.evidence(channel, firsts[strongest], "1x"), *notes))


def _one_sided(look: Look) -> float:
    """Give 1x of the stronger of horizontal and vertical over the other; 1 where not both are known."""
    pair = _both_radial(look)
    return 1.0 if len(pair) < 2 else max(line.velocity for line, _ in pair) / min(line.velocity for line, _ in pair)


def _both_radial(look: Look) -> list[tuple[OrderLine, int]]:
    """Give 1x and channel of the horizontal and the vertical direction, where both are named and have one."""
    named = {look.record.channels[c].direction: c for c in look.radial if look.record.channels[c].direction}
    if not {"horizontal", "vertical"} <= set(named):
        return []
    pair = [(look.order(named[d], 1.0), named[d]) for d in ("horizontal", "vertical")]
    return [(line, c) for line, c in pair if line is not None and line.velocity > 0.0]


def _axial_share(look: Look, radial: OrderLine) -> float:
    lines = [line for channel in look.axial if (line := look.order(channel, 1.0)) is not None]
    return max((line.velocity / max(radial.velocity, 1e-30) for line in lines), default=0.0)


def misalignment(look: Look) -> list[Finding]:
    """2x above half of 1x in the radial directions, or axial 1x and 2x above half of radial ones."""
    best: Finding | None = None
    for channel in look.radial:
        first, second = look.order(channel, 1.0), look.order(channel, 2.0)
        if first is None or second is None or not second.stands_out:
            continue
        double = second.velocity / max(first.velocity, 1e-30)
        axial = max(_axial_share(look, first), _axial_second(look, second))
        shape = max(soft(double, SECOND, 0.07), soft(axial, SECOND, 0.07) * soft(double, 0.25, 0.05))
        made = math.hypot(first.velocity, second.velocity) / max(look.overall(channel), 1e-30)
        sure = shape * look.severity(channel) * soft(made, 0.6, 0.05)
        if sure > 0.02 and (best is None or sure > best.confidence):
            notes = (
                look.evidence(channel, second, f"2x is {100 * double:.0f} % of 1x"),
                look.evidence(channel, first, "1x"),
                Evidence(f"axial over radial {axial:.2f}" if look.axial else "no axial direction measured"),
            )
            best = look.finding(Fault.MISALIGNMENT, sure, channel, notes)
    return [best] if best is not None else []


def _axial_second(look: Look, radial: OrderLine) -> float:
    lines = [line for channel in look.axial if (line := look.order(channel, 2.0)) is not None]
    return max((line.velocity / max(radial.velocity, 1e-30) for line in lines), default=0.0)


def bent_shaft(look: Look) -> list[Finding]:
    """Axial 1x above half of radial 1x, with little 2x; needs a direction known to be axial."""
    found = []
    for channel in look.axial:
        first, second = look.order(channel, 1.0), look.order(channel, 2.0)
        radial = [line for c in look.radial if (line := look.order(c, 1.0)) is not None]
        if first is None or not first.stands_out or not radial:
            continue
        ratio = first.velocity / max(max(line.velocity for line in radial), 1e-30)
        double = 0.0 if second is None else second.velocity / max(first.velocity, 1e-30)
        made = min(first.velocity / max(look.overall(channel), 1e-30), 1.0)
        sure = soft(ratio, SECOND, 0.07) * (1.0 - soft(double, 0.35, 0.05)) * look.severity(channel) * soft(made, 0.7, 0.05)
        if sure > 0.02:
            notes = (look.evidence(channel, first, f"axial 1x is {100 * ratio:.0f} % of the largest radial 1x"),)
            found.append(look.finding(Fault.BENT_SHAFT, sure, channel, notes))
    return found


def looseness(look: Look) -> list[Finding]:
    """Six or more harmonics above a tenth of the largest, or half orders that stand out and matter."""
    best: Finding | None = None
    for channel in look.radial:
        whole = [line for k in range(1, 11) if (line := look.order(channel, float(k))) is not None and line.stands_out]
        half = [line for k in (0.5, 1.5, 2.5, 3.5) if (line := look.order(channel, k)) is not None and line.stands_out]
        if not whole:
            continue
        largest = max(line.velocity for line in whole)
        large = tuple(round(line.order) for line in whole if line.velocity > TENTH * largest)
        many = len(large)
        halves = sum(line.velocity > TENTH * largest for line in half)
        made = math.sqrt(sum(line.velocity**2 for line in whole + half)) / max(look.overall(channel), 1e-30)
        shape = max(soft(many, MANY - 0.5, 0.3), soft(halves, 1.5, 0.3))
        sure = shape * look.severity(channel) * soft(made, 0.7, 0.05)
        sure *= 0.5 if look.facts.is_geared else 1.0  # a gear's blows at each turn make harmonics of shaft speed too
        if sure > 0.02 and (best is None or sure > best.confidence):
            notes = (
                Evidence(f"{many} harmonics above a tenth of the largest", harmonics=large),
                Evidence(f"{halves} half orders above a tenth of the largest"),
            )
            best = look.finding(Fault.LOOSENESS, sure, channel, (look.evidence(channel, whole[0], "1x"), *notes))
    return [best] if best is not None else []


def resonance(look: Look) -> list[Finding]:
    """1x of one radial direction more than three times that of the other; needs both named."""
    lines = _both_radial(look)
    if len(lines) < 2:
        return []
    (large, channel), (small, _) = sorted(lines, key=lambda item: -item[0].velocity)
    ratio = large.velocity / small.velocity
    made = large.velocity / max(look.overall(channel), 1e-30)
    sure = 0.8 * soft(ratio, ONE_SIDED, 0.3) * look.severity(channel) * soft(made, 0.7, 0.05)
    if sure < 0.02:
        return []
    return [
        look.finding(
            Fault.RESONANCE, sure, channel, (look.evidence(channel, large, f"1x {ratio:.1f} times the other direction"),)
        )
    ]


def rub(look: Look) -> list[Finding]:
    """Thirds and halves of shaft speed together with harmonics."""
    found = []
    for channel in look.radial:
        parts = [look.order(channel, k) for k in (1.0 / 3.0, 2.0 / 3.0, 4.0 / 3.0)]
        thirds = [line for line in parts if line is not None and line.above >= NEXT]
        first = look.order(channel, 1.0)
        if first is None or len(thirds) < 2:
            continue
        size = max(line.velocity for line in thirds) / max(first.velocity, 1e-30)
        sure = 0.8 * soft(size, TENTH, 0.02) * look.severity(channel)
        if sure > 0.02:
            found.append(
                look.finding(Fault.RUB, sure, channel, tuple(look.evidence(channel, x, "third of shaft speed") for x in thirds))
            )
    return found[:1]


def oil_whirl(look: Look) -> list[Finding]:
    """Look for a strong line at 0.40 to 0.49 of shaft speed; only where bearings are plain."""
    if not look.facts.sleeve_bearings or look.speed is None:
        return []
    found = []
    for channel in look.radial:
        at = [look.order(channel, k) for k in np.arange(0.40, 0.4901, 0.25 * look.record.line_hz / look.speed.hz)]
        lines = [line for line in at if line is not None]
        first = look.order(channel, 1.0)
        if not lines or first is None:
            continue
        strongest = max(lines, key=lambda line: line.velocity)
        size = strongest.velocity / max(first.velocity, 1e-30)
        sure = soft(size, SECOND, 0.07) * look.severity(channel) * (1.0 if strongest.above >= FIRST else 0.0)
        if sure > 0.02:
            found.append(
                look.finding(Fault.OIL_WHIRL, sure, channel, (look.evidence(channel, strongest, f"{size:.2f} of 1x"),))
            )
    return found[:1]
