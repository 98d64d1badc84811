"""What hangs on the shaft or drives it: gears, blades, belts, the motor's field."""

import numpy as np

from edgemon.analysis.speed import FIRST
from edgemon.diagnosis.cyclic import envelope_spectra
from edgemon.diagnosis.frequencies import gear_rates, motor_rates
from edgemon.diagnosis.look import UNCALIBRATED, Look, OrderLine, soft
from edgemon.errors import ParameterError
from edgemon.model.finding import Evidence, Fault, Finding


def gear(look: Look) -> list[Finding]:
    """Sidebands about the mesh at the speed of one gear, or a blow at each turn of it.

    Notes
    -----
    Never more than UNCALIBRATED without a baseline: on an open gearbox set the healthy gear has the stronger sidebands and
    the stronger blows (measured), so a single record of a gear supports no verdict.
    """
    if look.speed is None or look.record.line_hz > 0.1 * look.speed.hz:
        return []
    best: Finding | None = None
    for pair in look.facts.gears:
        rates = gear_rates(pair.teeth, pair.driven_teeth, pair.order * look.speed.hz)
        for channel in range(len(look.record.channels)):
            mesh = look.line(channel, rates.mesh_hz)
            if mesh is None or not mesh.stands_out:
                continue
            for what, hz in (("first gear", pair.order * look.speed.hz), ("driven gear", rates.driven_hz)):
                found = _gear_of(look, channel, mesh, rates.mesh_hz, what, hz)
                if found is not None and (best is None or found.confidence > best.confidence):
                    best = found
    return [best] if best is not None else []


def _gear_of(look: Look, channel: int, mesh: OrderLine, mesh_hz: float, what: str, turn_hz: float) -> Finding | None:
    sides = [look.line(channel, mesh_hz + k * turn_hz) for k in (-2, -1, 1, 2)]
    seen = [line for line in sides if line is not None and line.stands_out]
    ratio = max((line.velocity for line in seen), default=0.0) / max(mesh.velocity, 1e-30)
    spectra = envelope_spectra(look.record.samples[channel], look.record.fs_hz, 8.5 * turn_hz, 20.0 * turn_hz)
    at = np.rint(np.arange(1, 9) * turn_hz / spectra.line_hz).astype(int)
    inside = at[at < spectra.depth.shape[1] - 1]
    row = spectra.depth[0]
    blows = float(np.median([row[k - 1 : k + 2].max() for k in inside])) if inside.size else 0.0
    shape = max(soft(ratio, 0.5, 0.1) * soft(len(seen), 1.5, 0.3), soft(blows, 0.3, 0.05))
    sure = UNCALIBRATED * shape
    if sure < 0.05:
        return None
    notes = (
        look.evidence(channel, mesh, "tooth mesh"),
        Evidence(
            f"{len(seen)} sidebands at the speed of the {what} stand out, the largest {100 * ratio:.0f} % of the mesh line",
            frequency_hz=turn_hz,
            sidebands=tuple(f"mesh {line.hz - mesh_hz:+.1f} Hz" for line in seen),
        ),
        Evidence(f"blows at each turn of the {what}: median depth of eight harmonics {blows:.2f}"),
        Evidence("no baseline: sidebands of a healthy gear can be as large"),
    )
    return look.finding(Fault.GEAR, sure, channel, notes, what)


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
    """Twice supply frequency apart from 2x (stator), or 1x with sidebands at pole-pass frequency (rotor bars)."""
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
        found += _bars(look, channel)
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
