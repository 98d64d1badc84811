"""The entrance: a record and the machine's facts to a diagnosis."""

import math
from collections.abc import Sequence
from typing import TypedDict

from edgemon.analysis.speed import ShaftSpeed, estimate_speed, place_speed, refine_speed
from edgemon.diagnosis.bearing import can_judge
from edgemon.diagnosis.gear import can_judge_gears, like_before
from edgemon.diagnosis.look import Look
from edgemon.diagnosis.record import MIN_SAMPLES, MachineFacts, Record
from edgemon.diagnosis.registry import NEED_WAVEFORM, PATTERNS
from edgemon.errors import ParameterError
from edgemon.model.finding import Conclusion, Diagnosis, Fault, Finding
from edgemon.model.speed import SpeedOrigin

SUPPORTED = 0.5
"""Confidence from which a record supports a fault."""
DOUBT = 0.25
"""Chance that at least one finding is right, from which nothing-found must not be said."""
AGREES = 0.005
"""Part of the speed by which two ways of reading it from the same lines may differ. House choice."""
SHOWN = 0.1
"""Findings below it are left out."""


def diagnose(record: Record, facts: MachineFacts, before: Sequence[tuple[Record, MachineFacts]] = ()) -> Diagnosis:
    """Look for every known fault in a record.

    Parameters
    ----------
    record : Record
        One or more channels, SI.
    facts : MachineFacts
        What is known of the machine; what is missing is not guessed, and its faults are not looked for.
    before : sequence of (Record, MachineFacts)
        The same channels in the machine's baseline, at the loads that are usual, and its speed then: what a gear is compared
        with.

    Returns
    -------
    Diagnosis
        `fault` where a finding reaches 0.5; `no-fault-found` where everything that could be looked for was, and nothing
        comes near; `cannot-tell` otherwise, with the reason among the remarks.

    Raises
    ------
    ParameterError
        Shaft speed not above zero.
    """
    if facts.speed_hz is not None and not (math.isfinite(facts.speed_hz) and facts.speed_hz > 0.0):
        raise ParameterError(f"shaft speed {facts.speed_hz} Hz", "speed_hz", "above zero, or none where it is not known")
    if record.lines is None and record.samples.shape[1] < MIN_SAMPLES:
        return Diagnosis(Conclusion.CANNOT_TELL, (), remarks=(f"fewer than {MIN_SAMPLES} samples",))
    if record.n_lines < MIN_SAMPLES // 8:
        return Diagnosis(Conclusion.CANNOT_TELL, (), remarks=(f"fewer than {MIN_SAMPLES // 8} lines",))
    then = [Look(one, known, _speed(one, known)) for one, known in before] if facts.gears else []
    look = Look(record, facts, _speed(record, facts), then)
    wanted = {name: pattern for name, pattern in PATTERNS.items() if record.lines is None or name not in NEED_WAVEFORM}
    every = [finding for pattern in wanted.values() for finding in pattern(look)]
    doubt = 1.0 - math.prod(1.0 - finding.confidence for finding in every)
    findings = _ranked(every)
    limits = _limits(look)
    return Diagnosis(_verdict(findings, doubt, limits), tuple(findings), remarks=tuple(limits), **_told(look))


def _speed(record: Record, facts: MachineFacts) -> ShaftSpeed | None:
    if facts.speed_hz is None:
        return None
    mesh = tuple(pair.teeth * pair.order for pair in facts.gears)
    if record.lines is None:
        return refine_speed(record.samples, record.fs_hz, facts.speed_hz, facts.supply_hz, mesh)
    return place_speed(record.lines, record.line_hz, facts.speed_hz, facts.supply_hz, mesh)


class _Told(TypedDict):
    speed_hz: float | None
    speed_basis: str
    speed_origin: SpeedOrigin
    speed_confidence: float | None


def _told(look: Look) -> _Told:
    speed, facts, record = look.speed, look.facts, look.record
    if speed is None or facts.speed_hz is None:
        return _Told(speed_hz=None, speed_basis="not known", speed_origin=SpeedOrigin.UNKNOWN, speed_confidence=None)
    if not speed.measured:
        return _Told(speed_hz=speed.hz, speed_basis=speed.basis, speed_origin=facts.speed_origin, speed_confidence=None)
    sure = None
    if record.lines is None:
        other = estimate_speed(record.samples, record.fs_hz, 60.0 * facts.speed_hz, supply_hz=facts.supply_hz)
        agrees = other is not None and abs(other.rpm / 60.0 - speed.hz) <= AGREES * speed.hz
        sure = other.confidence if other is not None and agrees else None
    return _Told(speed_hz=speed.hz, speed_basis=speed.basis, speed_origin=SpeedOrigin.ESTIMATED, speed_confidence=sure)


def _ranked(findings: list[Finding]) -> list[Finding]:
    """Put the best first; keep one finding for each fault and detail, and none that is next to nothing."""
    best: dict[tuple[Fault, str], Finding] = {}
    for one in sorted(findings, key=lambda finding: -finding.confidence):
        best.setdefault((one.fault, one.detail.partition(",")[0]), one)
    return [one for one in best.values() if one.confidence >= SHOWN]


def _verdict(findings: list[Finding], doubt: float, limits: list[str]) -> Conclusion:
    if findings and findings[0].confidence >= SUPPORTED:
        return Conclusion.FAULT
    if limits or doubt >= DOUBT:
        return Conclusion.CANNOT_TELL
    return Conclusion.NO_FAULT_FOUND


def _limits(look: Look) -> list[str]:
    """List what could not be looked for."""
    found = []
    if look.speed is None:
        found.append("shaft speed not known: nothing that turns can be named")
    if look.record.lines is not None:
        found.append("a spectrum holds no envelope: bearing defects and blows of gears cannot be told")
    elif not look.facts.bearings:
        found.append("bearing geometry not known: bearing defects were not looked for")
    elif look.speed is not None and not can_judge(look):
        found.append("record too short, too slow or not acceleration: bearing defects could not be looked for")
    if look.facts.gears and look.record.lines is None:
        found += _of_gears(look)
    return found


def _of_gears(look: Look) -> list[str]:
    if look.speed is not None and not can_judge_gears(look):
        return ["record too short: fewer than ten turns of a gear, so gears could not be looked for"]
    if like_before(look):
        return []
    why = "no baseline" if not look.before else "the baseline's record has other channels or another speed"
    return [f"{why}: of a gear only a blow at one tooth could be looked for, not wear or eccentricity spread over all teeth"]
