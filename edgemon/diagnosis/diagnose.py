"""The entrance: a record and the machine's facts to a diagnosis."""

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import TypedDict

from edgemon.analysis.speed import estimate_speed
from edgemon.diagnosis.across import RHYTHMS, Heard, like_speed, weighed
from edgemon.diagnosis.bearing import SEEN, can_clear, can_judge
from edgemon.diagnosis.doubts import doubts
from edgemon.diagnosis.gear import can_judge_gears, like_before, too_slow
from edgemon.diagnosis.look import Look
from edgemon.diagnosis.looking import by_place, look_by_lines, looks_at
from edgemon.diagnosis.record import MIN_SAMPLES, MachineFacts, Record
from edgemon.diagnosis.registry import NEED_SPEED, NEED_WAVEFORM, PATTERNS
from edgemon.diagnosis.vectors import vector_remarks
from edgemon.errors import ParameterError
from edgemon.model.finding import SUPPORTED, Conclusion, Diagnosis, Evidence, Fault, Finding
from edgemon.model.speed import SpeedOrigin

DOUBT = 0.1
"""Chance that at least one finding is right, from which nothing-found must not be said. House choice: one in ten."""
AGREES = 0.005
"""Part of the speed by which two ways of reading it from the same lines may differ. House choice."""
SHOWN = 0.1
"""Findings below it are left out."""
FEWEST_TURNS = 8.0
"""Lines from 0 Hz to shaft speed, or turns within the record, from which multiples of the shaft and what lies between them are
told apart: the main lobe of a Hann window is four lines wide, and the lowest lines are the sensor's."""


def diagnose(record: Record, facts: MachineFacts, before: Sequence[tuple[Record, MachineFacts]] = ()) -> Diagnosis:
    """Look for every known fault in a record.

    Parameters
    ----------
    record : Record
        One or more channels, SI.
    facts : MachineFacts
        What is known of the machine; what is missing is not guessed, and its faults are not looked for.
    before : sequence of (Record, MachineFacts)
        The same channels in the machine's baseline, at the loads that are usual, and its speed then: what gears and the
        mounting of the sensor are compared with, and the vectors of 1x.

    Returns
    -------
    Diagnosis
        `fault` where a finding reaches 0.55; `no-fault-found` where everything that could be looked for was, and nothing
        comes near; `cannot-tell` otherwise, with the reason among the remarks.

    Raises
    ------
    ParameterError
        Shaft speed not above zero.
    """
    return diagnose_machine([(record, facts)], before)


def diagnose_machine(
    asked: Sequence[tuple[Record, MachineFacts]],
    before: Sequence[tuple[Record, MachineFacts]] = (),
    others: Sequence[tuple[Record, MachineFacts]] = (),
    neighbours: Sequence[tuple[str, Record, MachineFacts]] = (),
) -> Diagnosis:
    """Look for every known fault in the records of all points of a machine, and compare them with each other.

    Parameters
    ----------
    asked : sequence of (Record, MachineFacts)
        One or more records of the machine, taken near in time: what the answer is about, and what it must be able to judge.
        Names of channels must differ.
    before : sequence of (Record, MachineFacts)
        As of `diagnose`, for the first record.
    others : sequence of (Record, MachineFacts)
        Records of the machine's other points: faults are named there too, but nothing is asked of what they could show.
    neighbours : sequence of (str, Record, MachineFacts)
        Name and records of other machines nearby, from which a line may come.

    Returns
    -------
    Diagnosis
        As of `diagnose`; a fault is named at the point where it is strongest.

    Raises
    ------
    ParameterError
        Shaft speed not above zero, names of channels that are not distinct, or no record.
    """
    given = [*asked, *others]
    _check([*given, *before], given if asked else [])
    why = next((short for record, _ in asked if (short := _too_short(record))), "")
    if why:
        return Diagnosis(Conclusion.CANNOT_TELL, (), remarks=(why,))
    usable = [(record, facts) for record, facts in given if not _too_short(record)]
    places = sum(len(by_place(record)) for record, _ in usable)
    looks = [look for record, facts in usable for look in looks_at(record, facts, places)]
    # gears need the exact speed of the baseline; by its envelopes, which take as long as all else, where lines misled here
    closely = asked[0][1].is_geared and looks[0].is_by_envelopes
    then = [(one, known) for one, known in before if not _too_short(one)]
    looks[0].before = tuple(looks_at(one, known)[0] if closely else look_by_lines(one, known) for one, known in then)
    nearby = [(name, Look(one, known, None)) for name, one, known in neighbours if not _too_short(one)]
    every = weighed([Heard(look, one) for look in looks for one in _found(look)], looks, nearby)
    doubt = 1.0 - math.prod(1.0 - finding.confidence for finding in every)
    findings = _ranked(every)
    own = {id(record) for record, _ in asked}
    asked_of = [look for look in looks if id(look.clock) in own]
    limits = list(dict.fromkeys(limit for look in asked_of for limit in _limits(look)))
    if not (findings and findings[0].fault in RHYTHMS and findings[0].confidence >= SUPPORTED):
        limits += dict.fromkeys(limit for look in asked_of for limit in _hidden(look))
    compared = (*_compared(looks, len(given) - len(usable)), *_left_out(asked[0][0], before), *vector_remarks(looks[0]))
    verdict = _verdict(findings, doubt, limits)
    remarks = (*limits, *_undecided(verdict, doubt), *doubts(asked_of), *compared)
    return Diagnosis(verdict, tuple(findings), remarks=remarks, **_told(looks[0]))


def _check(every: Sequence[tuple[Record, MachineFacts]], given: Sequence[tuple[Record, MachineFacts]]) -> None:
    if not given:
        raise ParameterError("no record", "asked", "one or more")
    for facts in (facts for _, facts in every):
        if facts.speed_hz is not None and not (math.isfinite(facts.speed_hz) and facts.speed_hz > 0.0):
            raise ParameterError(f"shaft speed {facts.speed_hz} Hz", "speed_hz", "above zero, or none where it is not known")
    names = [channel.name for record, _ in given for channel in record.channels]
    if len(given) > 1 and len(set(names)) < len(names):
        raise ParameterError("two channels of one name", "channels", "names that differ over all records")


def _found(look: Look) -> list[Finding]:
    wanted = [
        name
        for name in PATTERNS
        if (look.record.lines is None or name not in NEED_WAVEFORM) and not (name in NEED_SPEED and _few_turns(look))
    ]
    return [_no_surer(look, name, finding) for name in wanted for finding in PATTERNS[name](look)]


def _few_turns(look: Look) -> bool:
    return look.speed is not None and look.speed.hz < FEWEST_TURNS * look.record.line_hz


def _no_surer(look: Look, name: str, finding: Finding) -> Finding:
    """Take from the confidence in a fault of shaft speed what is not sure of that speed; a bearing's lines are found anyway."""
    sure, speed = look.speed_confidence, look.speed
    if name not in NEED_SPEED or sure is None or speed is None:
        return finding
    note = Evidence(f"rests on a shaft speed of {speed.hz:.4g} Hz, {speed.basis}, confidence {sure:.2f}")
    return replace(finding, confidence=sure * finding.confidence, evidence=(*finding.evidence, note))


def _too_short(record: Record) -> str:
    if record.lines is None and record.samples.shape[1] < MIN_SAMPLES:
        return f"fewer than {MIN_SAMPLES} samples"
    return f"fewer than {MIN_SAMPLES // 8} lines" if record.n_lines < MIN_SAMPLES // 8 else ""


def _compared(looks: Sequence[Look], short: int) -> list[str]:
    """Say which places were compared, and which could not be."""
    found = []
    alike = [look.name for look in looks[1:] if like_speed(looks[0], look)]
    unlike = [look.name for look in looks[1:] if not like_speed(looks[0], look)]
    if alike:
        found.append(f"compared with {'; '.join(alike)}")
    if unlike:
        found.append(f"not compared, taken at another speed: {'; '.join(unlike)}")
    if short:
        found.append(f"{short} records of other points are too short to compare")
    return found


def _left_out(record: Record, before: Sequence[tuple[Record, MachineFacts]]) -> list[str]:
    """Say which records of the baseline nothing could be compared with: whoever gives one counts on it."""
    names = {channel.name for channel in record.channels}
    short = sum(bool(_too_short(one)) for one, _ in before)
    other = sum(names.isdisjoint(channel.name for channel in one.channels) for one, _ in before if not _too_short(one))
    why = ((short, "too short"), (other, f"without a channel named as here ({', '.join(sorted(names))})"))
    return [f"of {len(before)} records of the baseline {count} left out: {text}" for count, text in why if count]


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
    sure = look.speed_confidence
    if record.lines is None and sure is None:
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


def _undecided(verdict: Conclusion, doubt: float) -> list[str]:
    """Say why what was found is too weak for a name and yet keeps the machine from being called sound."""
    if verdict is not Conclusion.CANNOT_TELL or doubt < DOUBT:
        return []
    odds = f"the chance that one of them is right is {100.0 * doubt:.0f} %"
    return [f"nothing found is sure enough to be named, nor can it be passed over: {odds}"]


def _limits(look: Look) -> list[str]:
    """List what could not be looked for."""
    found = []
    if look.speed is None:
        found.append("shaft speed not known: nothing that turns can be named")
    elif _few_turns(look):
        found.append(f"fewer than {FEWEST_TURNS:.0f} turns of the shaft: its multiples cannot be told apart")
    if look.record.lines is not None:
        found.append("a spectrum holds no envelope: bearing defects and blows of gears cannot be told")
    elif not look.facts.bearings:
        found.append("bearing geometry not known: bearing defects were not looked for")
    elif look.speed is not None and not can_judge(look):
        found.append("record too short, too slow or not acceleration: bearing defects could not be looked for")
    elif look.speed is not None and not can_clear(look):
        found.append("few turns of the shaft: a bearing defect may not show in a record as short")
    elif look.speed is not None and not look.speed.measured and look.facts.speed_origin is SpeedOrigin.NOMINAL:
        found.append("only the nominal speed is known, and no line of the shaft tells the true one: a rhythm may lie elsewhere")
    if look.facts.is_geared and look.record.lines is None:
        found += _of_gears(look)
    return found


def _hidden(look: Look) -> list[str]:
    """Say what hides a bearing's defect that one would want to see: other rhythms of the machine, or the noise."""
    if look.unnamed:
        return [
            f"lines of a bearing are there ({', '.join(sorted(look.unnamed))}), too weak or too many at once to name its part"
        ]
    if look.named_from is None or look.named_from <= SEEN:
        return []
    if math.isinf(look.named_from):
        return ["other rhythms, or lines too far apart, would hide any defect of a bearing"]
    return [f"other rhythms would hide a defect of a bearing that modulates the envelope by less than {look.named_from:.2f}"]


def _of_gears(look: Look) -> list[str]:
    if look.speed is not None and not can_judge_gears(look):
        return ["record too short: fewer than ten turns of a gear, so gears could not be looked for"]
    slow = [f"fewer than ten turns within the record, not looked at: {'; '.join(names)}"] if (names := too_slow(look)) else []
    if like_before(look):
        return slow
    why = "no baseline" if not look.before else "the baseline's record has other channels or another speed"
    return [
        *slow,
        f"{why}: of a gear only a blow at one tooth could be looked for, not wear or eccentricity spread over all teeth",
    ]
