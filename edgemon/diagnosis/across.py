"""What the other points of a machine say of a finding: where its line is strongest, both sides of a coupling, neighbours.

Each rule multiplies the odds of a finding by how much likelier its comparison is with the fault than without, and adds the
amplitudes, their ratio and where the rule comes from to the evidence. Sizes are compared only where they can be trusted, and
only between records at like speed.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from edgemon.diagnosis.advice import PRACTICE, TEXTBOOKS
from edgemon.diagnosis.look import Look, OrderLine, soft
from edgemon.diagnosis.phases import MOUNTED, STEADY, steady_phase
from edgemon.model.finding import Evidence, Fault, Finding

LIKE_SPEED = 0.03
"""Part of the speed by which two records may differ to be compared: unbalance goes with its square, 6 %. Common practice."""
TWICE, THIRD = 2.0, 1.0 / 3.0
"""Most and least that one comparison does to the odds: a hint, never a proof. House choice."""
ONE_SIDED = 1.5
"""1x of the unbalanced side over the other from which it speaks for unbalance. House choice."""
TWO_SIDED = 3.0
"""Ratio of two places from which they are no longer alike. Source: the trade's 3:1 for one-sidedness, common practice."""
ELSEWHERE = 2.0
"""Times the line here that a neighbour's must be for it to come from there. House choice: floors damp."""
LEFT = 0.3
"""What is left of the confidence in a fault whose line is stronger elsewhere. House choice."""
SAME_LINE = 0.01
"""Part of a frequency within which two points tell of the same line of a bearing."""
UNSEEN = 0.95
"""What is left of misalignment where the other side of the coupling was not compared. House choice."""

UNFIT = 0.5
"""Confidence in trouble of a sensor from which its place is compared with no other."""

LINES = frozenset(
    {
        Fault.UNBALANCE,
        Fault.BENT_SHAFT,
        Fault.MISALIGNMENT,
        Fault.LOOSENESS,
        Fault.RESONANCE,
        Fault.BLADE_PASS,
        Fault.BELT,
        Fault.ELECTRICAL,
        Fault.OIL_WHIRL,
        Fault.RUB,
    }
)
"""Faults whose line is heard all over a machine."""
RHYTHMS = frozenset({Fault.OUTER_RACE, Fault.INNER_RACE, Fault.ROLLING_ELEMENT, Fault.CAGE})


@dataclass(frozen=True, slots=True)
class Heard:
    """A finding, and the look at a place that it comes from."""

    look: Look
    finding: Finding

    @property
    def channel(self) -> int:
        """Number of its channel in the record."""
        return self.look.channel_of(self.finding.channel)

    @property
    def hz(self) -> float | None:
        """Frequency of its principal line."""
        return next((note.frequency_hz for note in self.finding.evidence if note.frequency_hz is not None), None)


def weighed(found: Sequence[Heard], looks: Sequence[Look], neighbours: Sequence[tuple[str, Look]]) -> list[Finding]:
    """Weigh findings by what all places of the machine, and its neighbours, say of their lines.

    Parameters
    ----------
    found : sequence of Heard
        Findings of all places, each by itself.
    looks : sequence of Look
        All places of the machine; the first is the one that asks.
    neighbours : sequence of (str, Look)
        Name and record of machines nearby.

    Returns
    -------
    list of Finding
        A fault of lines once, where it is strongest; a bearing's rhythm that is stronger elsewhere left with little.
    """
    unfit = {id(one.look) for one in found if one.finding.fault is Fault.SENSOR and one.finding.confidence >= UNFIT}
    places = [look for look in looks if like_speed(looks[0], look) and id(look) not in unfit]
    kept = _strongest_rhythms(found)
    if len(places) > 1:
        kept = [_across(one, places) for one in _named_once(kept, places)]
    return [_elsewhere(one, neighbours).finding for one in kept]


def like_speed(one: Look, other: Look) -> bool:
    """Say whether two records were taken at like speed; without a speed they are compared only with others without."""
    if one.speed is None or other.speed is None:
        return one.speed is None and other.speed is None
    return abs(other.speed.hz / one.speed.hz - 1.0) <= LIKE_SPEED


def times_odds(confidence: float, factor: float) -> float:
    """Multiply the odds of a confidence."""
    return confidence * factor / (confidence * factor + 1.0 - confidence) if confidence > 0.0 else 0.0


def _changed(one: Heard, confidence: float, *notes: Evidence) -> Heard:
    return replace(one, finding=replace(one.finding, confidence=confidence, evidence=(*one.finding.evidence, *notes)))


def _by(one: Heard, factor: float, text: str, source: str) -> Heard:
    """Apply a rule; odds rise only where sizes are trusted, for a ceiling of ignorance stays one."""
    limited = factor if one.look.trusts(one.channel) else min(factor, 1.0)
    return _changed(one, times_odds(one.finding.confidence, limited), Evidence(f"{text} ({source})"))


def _within(factor: float) -> float:
    return min(max(factor, THIRD), TWICE)


def _strongest_rhythms(found: Sequence[Heard]) -> list[Heard]:
    """Leave little of a bearing's rhythm where another place hears it stronger."""
    kept = []
    for one in found:
        above = max((other for other in found if _same_rhythm(one, other)), key=_pulses, default=None)
        if above is None or not (one.look.trusts(one.channel) and above.look.trusts(above.channel)):
            kept.append(one)
            continue
        ratio = _pulses(above) / max(_pulses(one), 1e-300)
        text = f"the same rhythm is {ratio:.2g} times as strong at {above.finding.channel}: named where it is strongest"
        factor = LEFT if ratio > 1.0 else 1.0
        kept.append(_changed(one, factor * one.finding.confidence, Evidence(f"{text} ({PRACTICE})")))
    return kept


def _same_rhythm(one: Heard, other: Heard) -> bool:
    if one.finding.fault not in RHYTHMS or other.look is one.look or other.finding.fault is not one.finding.fault:
        return False
    return one.hz is not None and other.hz is not None and abs(other.hz / one.hz - 1.0) <= SAME_LINE


def _pulses(one: Heard) -> float:
    """Give the size of a rhythm's pulses: modulation depth times the acceleration."""
    depth = one.finding.evidence[0].amplitude or 0.0
    return depth * one.look.band_rms(one.channel, 0.0, one.look.record.fs_hz, velocity=False)


def _named_once(found: Sequence[Heard], places: Sequence[Look]) -> list[Heard]:
    """Name a fault of lines once, at the place that has its pattern and the largest line; the surest of all places counts."""
    kept: list[Heard] = []
    groups: dict[tuple[Fault, str], list[Heard]] = {}
    for one in found:
        if one.finding.fault in LINES and one.hz is not None and one.look in places:
            groups.setdefault((one.finding.fault, one.finding.detail), []).append(one)
        else:
            kept.append(one)
    for group in groups.values():
        sure = max(one.finding.confidence for one in group)
        clear = [one for one in group if one.finding.confidence > 0.5 * sure]
        kept.append(_changed(max(clear, key=_size), sure))
    return kept


def _size(one: Heard) -> float:
    line = None if one.hz is None else one.look.line(one.channel, one.hz)
    return 0.0 if line is None or not one.look.trusts(one.channel) else line.velocity


def _strongest(look: Look, hz: float, axial: bool) -> tuple[int, OrderLine] | None:
    """Give the channel with the largest line at a frequency, among those that are axial or those that are not."""
    own = look.axial if axial else look.radial
    found = [(c, line) for c in own if look.trusts(c) and (line := look.line(c, hz)) is not None]
    return max(found, key=lambda item: item[1].velocity, default=None)


def _across(one: Heard, places: Sequence[Look]) -> Heard:
    """Apply the rules that compare places to one finding."""
    hz = one.hz
    if one.finding.fault not in LINES or hz is None or one.look not in places:
        return one
    axial = one.look.record.channels[one.channel].direction == "axial"
    sizes = [(look, *line) for look in places if (line := _strongest(look, hz, axial)) is not None]
    here = next((line.velocity for look, _, line in sizes if look is one.look), None)
    if here is None or len(sizes) < 2:
        return _by_phase(_unseen(one), places)
    notes = [look.evidence(c, line, f"the same line at {_label(look, c)}") for look, c, line in sizes if look is not one.look]
    one = _changed(one, one.finding.confidence, *notes)
    return _by_phase(_where(one, here, [(look, line.velocity) for look, _, line in sizes]), places)


def _label(look: Look, number: int) -> str:
    channel = look.record.channels[number]
    said = " ".join(word for word in (channel.part, channel.end and f"{channel.end} end") if word)
    return f"{channel.name} ({said})" if said else channel.name


def _where(one: Heard, size: float, sizes: Sequence[tuple[Look, float]]) -> Heard:
    """Compare the line here with the same line at the other places."""
    here, fault = one.look, one.finding.fault
    top, most = max(sizes, key=lambda item: item[1])
    if most > size:
        ratio = most / max(size, 1e-30)
        text = f"the line is {ratio:.2g} times as large at {top.name}, where its pattern is not as clear ({PRACTICE})"
        left = 1.0 - (1.0 - LEFT) * soft(ratio, TWO_SIDED, 0.3)
        one = _changed(one, left * one.finding.confidence, Evidence(text))
    across = [value for look, value in sizes if here.part and look.part and look.part != here.part]
    along = [value for look, value in sizes if look.part == here.part and {look.end, here.end} == {"drive", "non-drive"}]
    if fault is Fault.MISALIGNMENT and along:
        near, far = (size, max(along)) if here.end == "drive" else (max(along), size)
        ratio = near / max(far, 1e-30)
        text = f"drive end over non-drive end {ratio:.2g}: misalignment is largest beside the coupling"
        one = _by(one, _within(ratio), text, TEXTBOOKS)
    return _coupled(one, size, max(across), top) if across else _unseen(one)


def _coupled(one: Heard, size: float, beyond: float, top: Look) -> Heard:
    """Compare both sides of the coupling."""
    fault, part, beyond = one.finding.fault, one.look.part, max(beyond, 1e-30)
    if fault is Fault.UNBALANCE:
        ratio = size / beyond
        text = f"1x on the {part} side is {ratio:.2g} times that across the coupling: unbalance stands on one side"
        return _by(one, _within(ratio / ONE_SIDED), text, TEXTBOOKS)
    if fault is Fault.MISALIGNMENT:
        ratio = max(size, beyond) / max(min(size, beyond), 1e-30)
        text = f"its line on the two sides of the coupling differs by {ratio:.2g} to 1: misalignment shakes both"
        return _by(one, _within(TWO_SIDED / ratio), text, TEXTBOOKS)
    if (fault, top.part) in ((Fault.ELECTRICAL, "driven"), (Fault.BLADE_PASS, "driver")):
        return _by(one, THIRD, f"its line is largest on the {top.part} side, its source is on the other", PRACTICE)
    return one


def _unseen(one: Heard) -> Heard:
    if one.finding.fault is not Fault.MISALIGNMENT:
        return one
    text = "the other side of the coupling could not be compared"
    return _changed(one, UNSEEN * one.finding.confidence, Evidence(text))


def _by_phase(one: Heard, places: Sequence[Look]) -> Heard:
    """Compare 1x across the coupling, or from end to end of a bent rotor, where channels share a clock and a direction."""
    fault, mine = one.finding.fault, one.look.record.channels[one.channel]
    if fault not in (Fault.MISALIGNMENT, Fault.UNBALANCE, Fault.BENT_SHAFT) or not mine.direction:
        return one
    for look in places:
        if look is one.look or look.clock is not one.look.clock:
            continue
        across = bool(mine.part and look.part and mine.part != look.part)
        along = mine.part == look.part and {mine.end, look.end} == {"drive", "non-drive"}
        for other, channel in enumerate(look.record.channels):
            if channel.direction != mine.direction or not (along if fault is Fault.BENT_SHAFT else across):
                continue
            steady, phase = steady_phase(one.look, one.channel, other, look)
            if steady >= STEADY:
                turn = math.cos(phase) if fault is Fault.UNBALANCE else -math.cos(phase)
                apart = f"{abs(math.degrees(phase)):.0f} degrees apart; {MOUNTED}"
                return _by(one, TWICE**turn, f"1x at {mine.name} and {channel.name} ({mine.direction}) {apart}", TEXTBOOKS)
    return one


def _elsewhere(one: Heard, neighbours: Sequence[tuple[str, Look]]) -> Heard:
    """Doubt a line that is stronger on a machine nearby."""
    if one.finding.fault not in LINES or one.hz is None or not one.look.trusts(one.channel):
        return one
    here = one.look.line(one.channel, one.hz)
    heard = [
        (line.velocity, name)
        for name, look in neighbours
        for c in range(len(look.record.channels))
        if look.trusts(c) and (line := look.line(c, one.hz)) is not None and line.stands_out
    ]
    if here is None or not heard:
        return one
    there, name = max(heard)
    ratio = there / max(here.velocity, 1e-30)
    if ratio < 1.0:
        return one
    left = 1.0 - (1.0 - LEFT) * soft(ratio, ELSEWHERE, 0.2)
    text = f"the same line is {ratio:.2g} times as large on {name} ({1e3 * there:.2g} mm/s): it may come from elsewhere"
    return _changed(one, left * one.finding.confidence, Evidence(f"{text} ({PRACTICE})"))
