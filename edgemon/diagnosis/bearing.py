"""Rolling bearings: which part's rhythm is in the envelope, stated only where chance and weak healthy lines are ruled out."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from edgemon.analysis.speed import SUPPLIES_HZ, ShaftSpeed
from edgemon.diagnosis.cyclic import coherence_spectrum
from edgemon.diagnosis.families import HARMONICS, Family, Rhythm
from edgemon.diagnosis.frequencies import BearingOrders
from edgemon.diagnosis.look import Look
from edgemon.diagnosis.turning import envelope_speed
from edgemon.diagnosis.weighing import confidence
from edgemon.model.finding import Evidence, Fault, Finding
from edgemon.units import Quantity

MIN_TURNS = 8.0
"""Shortest record in turns of the shaft: below it the rhythms of a bearing and of the shaft cannot be told apart."""
CAGE_BLOWS = 0.85
"""Trust in blows at each turn of the cage."""
CAGE_ALONE = 0.45
"""Trust in a rhythm of the cage without lines of the rolling element: never enough for a verdict, for any slow shaft that
nobody told of has such a rhythm too."""
CAGE_HARMONICS = 4
"""Harmonics of cage speed from which it is a blow (cage) and not a load that rises and falls (rolling element)."""
EXPLAINED = 0.3
"""What is left of the confidence in a family whose lines are sidebands of a stronger one."""
RINGS = 1.0
"""Depth of the cage's first line over the outer race's from which the latter is its harmonic: harmonics of pulses fall."""
LIKE = 0.4
"""Ratio of the two races' depths from which they count as alike. House choice."""
FAINT = 0.3
"""Depth of a race's lines above which they are its own: an element that strikes both leaves each the less. House choice."""
BOTH_RACES = 0.45
"""Most confidence in a rolling element that shows only as weak lines of both races: it may as well be both races."""
FINE_HZ = 1.0
"""Distance of lines up to which the hums of a supply that is not known are left out too: coarser, they would hide too much."""
CLEAR_TURNS = 24.0
"""Turns of the shaft, ten of the cage, from which a record without a finding may clear a bearing. House choice; bench
`verdicts` counts the crops of defects that show nothing, by turns."""
RIVAL = 0.5
"""Weight of the confidence in the next part against that in the first: one defect is likelier than two. House choice."""

FAULTS = {"outer": Fault.OUTER_RACE, "inner": Fault.INNER_RACE, "element": Fault.ROLLING_ELEMENT, "cage": Fault.CAGE}
NAMES = {"outer": "BPFO", "inner": "BPFI", "element": "2 BSF", "cage": "FTF"}


@dataclass(frozen=True, slots=True)
class _Where:
    channel: int
    kinematic: BearingOrders
    shaft_hz: float
    """As the envelopes have it."""


@dataclass(frozen=True, slots=True)
class _Candidate:
    family: Family
    fault: Fault
    confidence: float
    where: _Where


@dataclass(frozen=True, slots=True)
class _Heard:
    """One channel: its single envelope spectra, and the coherence of all bands together where the record allows it."""

    single: Rhythm
    coherent: Rhythm | None

    def families(self, name: str, kinematic: BearingOrders) -> dict[str, Family]:
        """Score the parts of a bearing by the way in which chance explains them least; two looks were taken."""
        found = {family.part: family for family in self.single.families(name, kinematic)}
        if self.coherent is None:
            return found
        for part, chance in self.coherent.chances(kinematic).items():
            mine = found.get(part)
            if mine is not None:
                way = mine.way if mine.chance <= chance else f"{mine.way}, and in the {self.coherent.spectra.ways[0]}"
                found[part] = replace(mine, chance=min(1.0, 2.0 * min(mine.chance, chance)), way=way)
        return found


def bearing_defects(look: Look) -> list[Finding]:
    """Find defects of races, rolling elements and cage of every bearing that is known, in every channel."""
    if not can_judge(look):
        return []
    known, looks = look.bearings, looks_taken(look)
    best: dict[tuple[str, Fault], _Candidate] = {}
    for channel, heard in enumerate(_heard(look)):
        for candidate in _candidates(heard, known, channel, looks):
            key = (candidate.family.bearing, candidate.fault)
            if key not in best or candidate.confidence > best[key].confidence:
                best[key] = candidate
    return [_finding(look, candidate) for candidate in best.values() if candidate.confidence > 0.05]


def looks_taken(look: Look) -> int:
    """Count the families that are looked at on the whole machine, of which the clearest is told."""
    return look.places * len(look.record.channels) * len(look.bearings) * len(HARMONICS)


def settle_speed(look: Look) -> None:
    """Give a look the shaft speed that its envelopes agree on, where they agree better than on the one known so far."""
    if not can_judge(look):
        return
    assert look.speed is not None
    maps = [(found, one.line_hz) for one, found in look.envelopes]
    known = [orders for _, orders in look.bearings]
    turning = envelope_speed(maps, look.speed.hz, look.facts.speed_hz or look.speed.hz, known)
    if turning is not None:
        look.speed = ShaftSpeed(turning.hz, "measured from the rhythm of the envelopes", measured=True)
        look.speed_confidence = turning.confidence


def _heard(look: Look) -> list[_Heard]:
    """Take the envelope spectra of all channels against the shaft speed."""
    assert look.speed is not None
    hz, hums = look.speed.hz, _hums(look)
    heard = []
    for row, (one, found) in zip(look.record.samples, look.envelopes, strict=True):
        coherent = coherence_spectrum(row, look.record.fs_hz, one.power.shape[1])
        heard.append(_Heard(Rhythm(one, hz, found, hums), None if coherent is None else Rhythm(coherent, hz, hums_hz=hums)))
    return heard


def _hums(look: Look) -> tuple[float, ...]:
    """Give twice the frequency of the supply; of both usual ones where it is not known and their lines hide little."""
    if look.facts.supply_hz is not None:
        return (2.0 * look.facts.supply_hz,)
    return tuple(2.0 * hz for hz in SUPPLIES_HZ if look.record.line_hz <= FINE_HZ)


def can_judge(look: Look) -> bool:
    """Say whether bearings can be judged at all: geometry, speed, band and length of the record."""
    if look.speed is None or not look.facts.bearings or look.record.quantity is not Quantity.ACCELERATION:
        return False
    top = max(orders.inner for _, orders in look.bearings)
    turns = look.record.samples.shape[1] / look.record.fs_hz * look.speed.hz
    return look.record.fs_hz / 2.0 > 3.0 * top * look.speed.hz and turns >= MIN_TURNS


def can_clear(look: Look) -> bool:
    """Say whether a record is long enough for a bearing without a finding to be called sound."""
    return look.speed is not None and look.record.samples.shape[1] / look.record.fs_hz * look.speed.hz >= CLEAR_TURNS


def _candidates(heard: _Heard, known: Sequence[tuple[str, BearingOrders]], channel: int, looks: int) -> list[_Candidate]:
    found = []
    for name, kinematic in known:
        families = heard.families(name, kinematic)
        where = _Where(channel, kinematic, heard.single.shaft_hz)
        for family in families.values():
            if family.part in ("outer", "inner"):
                sure = confidence(family, looks)
                sure *= EXPLAINED if family.part == "outer" and _rings(families.get("cage"), family) else 1.0
                found.append(_Candidate(family, FAULTS[family.part], sure, where))
        found += _rolling(families, looks, where)
        found += _both_races(families, looks, where)
    found.sort(key=lambda one: -one.confidence)
    kept: list[_Candidate] = []
    for one in found:
        shadow = any(_explains(strong, one, heard.single) for strong in kept)
        kept.append(replace(one, confidence=EXPLAINED * one.confidence) if shadow else one)
    return [replace(one, confidence=_shared(one, kept)) for one in kept]


def _rings(cage: Family | None, outer: Family) -> bool:
    """Say whether the outer race's lines are harmonics of a blow at each turn of the cage: BPFO is n times FTF exactly."""
    return cage is not None and len(cage.harmonics) >= CAGE_HARMONICS and cage.depth > RINGS * outer.depth


def _shared(one: _Candidate, kept: list[_Candidate]) -> float:
    """Take from the confidence in one part what speaks for another one."""
    rival = max((other.confidence for other in kept if other.fault is not one.fault), default=0.0)
    return one.confidence**2 / (one.confidence + RIVAL * rival) if one.confidence > 0.0 else 0.0


def _rolling(families: dict[str, Family], looks: int, where: _Where) -> list[_Candidate]:
    """Weigh rolling element and cage together: they share the cage's rhythm."""
    element, cage = families.get("element"), families.get("cage")
    found = []
    if element is not None:
        alone = confidence(element, looks)
        both = 0.0
        if cage is not None:
            depth = math.hypot(element.depth, cage.depth)
            both = confidence(element, looks, depth) if cage.chance * looks < 0.5 else 0.0
        found.append(_Candidate(element, Fault.ROLLING_ELEMENT, max(alone, both), where))
    if cage is not None:
        blows = len(cage.harmonics) >= CAGE_HARMONICS
        sure = (CAGE_BLOWS if blows else CAGE_ALONE) * confidence(cage, looks)
        found.append(_Candidate(cage, Fault.CAGE if blows else Fault.ROLLING_ELEMENT, sure, where))
    return found


def _both_races(families: dict[str, Family], looks: int, where: _Where) -> list[_Candidate]:
    """Ask whether both races, like and weak, are one rolling element that strikes both; never enough for a verdict."""
    outer, inner = families.get("outer"), families.get("inner")
    if outer is None or inner is None:
        return []
    weak, strong = sorted((outer.depth, inner.depth))
    if weak < LIKE * strong or strong > FAINT:
        return []
    depth = math.hypot(*(family.depth for family in families.values()))
    sure = min(BOTH_RACES, *(confidence(family, looks, depth) for family in (outer, inner)))
    return [_Candidate(max(outer, inner, key=lambda f: f.depth), Fault.ROLLING_ELEMENT, sure, where)]


def _explains(strong: _Candidate, weak: _Candidate, rhythm: Rhythm) -> bool:
    """Say whether the lines of a weaker family are sidebands or simple multiples of a stronger one's."""
    if strong.fault is weak.fault and strong.family.bearing == weak.family.bearing:
        return False
    if strong.confidence < 0.5:
        return False
    if weak.family.part == "cage":
        return True  # a load that comes round with the cage modulates every defect
    if strong.family.part == "element" and strong.family.bearing == weak.family.bearing:
        return strong.family.depth >= weak.family.depth  # an element strikes both races; no race makes lines of an element
    reach = 2.5 * rhythm.spectra.line_hz / rhythm.shaft_hz
    own = [
        number * strong.family.order + step * side
        for number in range(1, 7)
        for side in (1.0, strong.where.kinematic.cage)
        for step in range(-3, 4)
    ]
    hits = [min(abs(k * weak.family.order - line) for line in own) < reach for k in (1, 2, 3)]
    return sum(hits) >= 1


def _finding(look: Look, one: _Candidate) -> Finding:
    family = one.family
    hz = family.order * one.where.shaft_hz
    off = 100.0 * (family.order / family.kinematic - 1.0)
    odds = max(family.chance, 1e-12)
    stage, seen = _stage(look, one)
    evidence = (
        Evidence(
            f"{NAMES[family.part]} at {hz:.1f} Hz ({family.order:.3f} x shaft speed, {off:+.1f} % "
            f"from kinematics) in the squared envelope spectrum, {family.way}",
            frequency_hz=hz,
            order=family.order,
            amplitude=family.depth,
            unit="1",
            above_surroundings=family.above,
            harmonics=family.harmonics,
            sidebands=family.sidebands,
            direction=look.record.channels[one.where.channel].direction,
        ),
        Evidence(f"chance of a family of lines as clear as this where nothing is expected: {odds:.2g} in this spectrum"),
        Evidence(
            f"modulation depth {family.depth:.2f} (steady noise 0, single pulses 2); {family.dominance:.1f} times the largest "
            "other line that is no multiple of shaft speed"
        ),
        seen,
    )
    where = f"{family.bearing}, " if family.bearing else ""
    return look.finding(one.fault, one.confidence, one.where.channel, evidence, f"{where}{stage}")


def _stage(look: Look, one: _Candidate) -> tuple[str, Evidence]:
    """Tell stage 2 (envelope only) from stage 3 (lines in the velocity spectrum too)."""
    hz = one.family.order * one.where.shaft_hz
    # a rhythm is placed to a line, its harmonics to as many
    lines = {number: look.line(one.where.channel, number * hz, slack=number - 1.0) for number in (1, 2, 3)}
    plain = [number for number, line in lines.items() if line is not None and line.stands_out]
    if len(plain) >= 2:
        return "stage 3 of 4", Evidence("its lines stand out in the velocity spectrum too", harmonics=tuple(plain))
    return "stage 2 of 4", Evidence("its lines do not stand out in the velocity spectrum")
