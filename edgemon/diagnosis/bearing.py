"""Rolling bearings: which part's rhythm is in the envelope, stated only where chance and weak healthy lines are ruled out."""

import math
from dataclasses import dataclass, replace

from edgemon.analysis.speed import SUPPLIES_HZ, TOLERANCE, ShaftSpeed
from edgemon.diagnosis.cyclic import coherence_spectrum
from edgemon.diagnosis.families import HARMONICS, PARTS, Family, Rhythm
from edgemon.diagnosis.frequencies import BearingOrders
from edgemon.diagnosis.look import Look
from edgemon.diagnosis.turning import envelope_speed
from edgemon.diagnosis.weighing import by_chance, named_from, odds, share, trusted
from edgemon.model.finding import Evidence, Fault, Finding
from edgemon.model.speed import SpeedOrigin
from edgemon.units import Quantity

MIN_TURNS = 8.0
"""Shortest record in turns of the shaft: below it the rhythms of a bearing and of the shaft cannot be told apart."""
CAGE_BLOWS = 0.85
"""Trust in blows at each turn of the cage."""
CAGE_ALONE = 0.45
"""Trust in a rhythm of the cage without lines of the rolling element: never enough for a verdict, for any slow shaft that
nobody told of has such a rhythm too."""
CAGE_HARMONICS = 4
"""Harmonics of cage speed, from the first on, with which it may be a blow: one of them then stands near every part's line."""
BLOW_HARMONICS = 5
"""Of six, those first ones among them, with which it is one: an element in a load zone of a tenth of a turn or more has fewer
of half the first's size. One may hide behind the shaft's lines."""
EXPLAINED = 0.3
"""What is left of the confidence in a family that a stronger one explains: its lines are harmonics or sidebands of that."""
CLEAR = 1.0
"""Odds of a race or an element from which it explains the rhythm of the cage, with which its load comes round."""
RINGS = 1.0
"""Depth of the cage's first line over the outer race's from which the latter is its harmonic: harmonics of pulses fall."""
FINE_HZ = 1.0
"""Distance of lines up to which the hums of a supply that is not known are left out too: coarser, they would hide too much."""
LEAST = 0.05
"""Confidence below which nothing is told."""
CLEAR_TURNS = 24.0
"""Turns of the shaft, ten of the cage, from which a record without a finding may clear a bearing. House choice; bench
`verdicts` counts the crops of defects that show nothing, by turns."""
SEEN = 0.3
"""Depth of its lines from which a defect must be named for a record without a finding to clear a bearing: pulses that carry a
sixth of a band's energy. House choice."""
RIVAL = 0.5
"""Weight of the odds of other parts against those of one: one defect is likelier than two, which happen. House choice; as many
open recordings come out right at 0.25 and at 1 (measured)."""

THERE = 0.1
"""Depth from which lines beyond chance keep a bearing from being called sound: pulses of a twentieth of a band's energy. House
choice; cleared healthy open records have 0.07 at most (measured)."""
CHANCE = 0.01
"""Chance, after all looks, below which a line is there. Common practice."""
UNPLACED = 0.5
"""Trust in a rhythm that may as well be a multiple of a shaft whose speed no line of the record tells: blades or a coupling may
make one. House choice: never enough for a verdict."""
PLACED = 4
"""Multiples of the shaft whose lines place a speed too well for envelopes to tell another. House choice."""
TOLD_APART_LINES = 2.0
"""Lines of the spectrum that two rhythms must lie apart to be two: half the main lobe of a Hann window. Closed form."""

FAULTS = {"outer": Fault.OUTER_RACE, "inner": Fault.INNER_RACE, "element": Fault.ROLLING_ELEMENT, "cage": Fault.CAGE}
NAMES = {"outer": "BPFO", "inner": "BPFI", "element": "2 BSF", "cage": "FTF"}


@dataclass(frozen=True, slots=True)
class _Where:
    channel: int
    bearing: str
    kinematic: BearingOrders
    shaft_hz: float
    """As the envelopes have it."""
    is_placed: bool
    """A line of the record, or a sensor, tells the speed; else it may be off by the slip of a motor."""


@dataclass(frozen=True, slots=True)
class _Candidate:
    family: Family
    fault: Fault
    odds: float
    where: _Where


@dataclass(frozen=True, slots=True)
class _Heard:
    """One channel: its single envelope spectra, the coherence of all bands together and means of pieces if there are any."""

    single: Rhythm
    coherent: Rhythm | None
    averaged: Rhythm | None = None

    def families(self, name: str, kinematic: BearingOrders) -> dict[str, Family]:
        """Score the parts of a bearing by the way in which chance explains them least, after as many looks as were taken."""
        found = self._single(name, kinematic)
        if self.averaged is None:
            return found
        for family in self.averaged.families(name, kinematic):
            other = found.get(family.part)
            best = family if other is None or family.chance < other.chance else other
            way = f"{family.way}, mean of {self.averaged.spectra.averages} pieces" if best is family else best.way
            found[family.part] = replace(best, chance=min(1.0, 2.0 * best.chance), way=way)
        return found

    def _single(self, name: str, kinematic: BearingOrders) -> dict[str, Family]:
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
    best: dict[tuple[str, Fault], _Candidate] = {}
    named: dict[tuple[str, str], float] = {}
    assert look.speed is not None
    is_placed = look.speed.measured or look.facts.speed_origin is SpeedOrigin.MEASURED
    for channel, heard in enumerate(_heard(look)):
        for bearing, kinematic in look.bearings:
            families = heard.families(bearing, kinematic)
            where = _Where(channel, bearing, kinematic, heard.single.shaft_hz, is_placed)
            for candidate in _candidates(heard, families, where, looks_taken(look)):
                key = (bearing, candidate.fault)
                if key not in best or candidate.odds > best[key].odds:
                    best[key] = candidate
            look.unnamed |= {NAMES[part] for part, one in families.items() if _is_there(one, looks_taken(look))}
            for part in PARTS[:3]:
                depth = named_from(families[part]) if part in families else math.inf
                named[bearing, part] = min(depth, named.get((bearing, part), math.inf))
    look.named_from = max(named.values())
    sure = [(one, _confidence(one, list(best.values()))) for one in best.values()]
    return [_finding(look, one, confidence) for one, confidence in sure if confidence > LEAST]


def _is_there(family: Family, looks: int) -> bool:
    """Say whether lines of a part are beyond chance and not faint, though they may be too few or too many for a name."""
    return family.part != "cage" and family.depth >= THERE and by_chance(family.chance, looks) < CHANCE


def _confidence(one: _Candidate, every: list[_Candidate]) -> float:
    """Weigh a part against all others, and against no defect."""
    others = [other for other in every if other.fault is not one.fault]
    return share(one.odds, sum((1.0 if _one_line(one, other) else RIVAL) * other.odds for other in others), 1.0)


def _one_line(one: _Candidate, other: _Candidate) -> bool:
    """Say whether two parts are told by one and the same line, which is one's or the other's and never both's."""
    apart = abs(one.family.order * one.where.shaft_hz - other.family.order * other.where.shaft_hz)
    return apart <= TOLD_APART_LINES * max(one.family.line_hz, other.family.line_hz)


def looks_taken(look: Look) -> int:
    """Count the families that are looked at on the whole machine, of which the clearest is told."""
    return look.places * len(look.record.channels) * len(look.bearings) * len(HARMONICS)


def settle_speed(look: Look) -> None:
    """Give a look the shaft speed that its envelopes agree on, where they agree better than on the one known so far."""
    if not can_judge(look):
        return
    assert look.speed is not None
    if look.speed.orders >= PLACED:
        return
    maps = [(found, one.line_hz) for one, found in look.envelopes]
    known = [orders for _, orders in look.bearings]
    turning = envelope_speed(maps, look.speed.hz, look.facts.speed_hz or look.speed.hz, known)
    if turning is not None:
        look.speed = ShaftSpeed(turning.hz, "measured from the rhythm of the envelopes", measured=True)
        look.speed_confidence, look.is_by_envelopes = turning.confidence, True


def _heard(look: Look) -> list[_Heard]:
    """Take the envelope spectra of all channels against the shaft speed."""
    assert look.speed is not None
    hz, hums = look.speed.hz, _hums(look)
    heard = []
    for number, (row, (one, found)) in enumerate(zip(look.record.samples, look.envelopes, strict=True)):
        coherent = coherence_spectrum(row, look.record.fs_hz, one.power.shape[1])
        mean = look.averaged[number] if look.averaged else None
        others = [None if spectra is None else Rhythm(spectra, hz, hums_hz=hums) for spectra in (coherent, mean)]
        heard.append(_Heard(Rhythm(one, hz, found, hums), *others))
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


def _candidates(heard: _Heard, families: dict[str, Family], where: _Where, looks: int) -> list[_Candidate]:
    cage, found = families.get("cage"), []
    for family in (*families.values(), *heard.single.on_the_shafts(where.bearing, where.kinematic)):
        if family.part != "cage":
            weight = odds(family, families, looks)
            by_itself = where.is_placed or family.on_the_shafts  # the latter is held against all other multiples
            if not by_itself and abs(family.order / max(1, round(family.order)) - 1.0) <= TOLERANCE:
                weight = trusted(weight, UNPLACED)
            rings = _rings(cage, family, where.kinematic, looks)
            found.append(_Candidate(family, FAULTS[family.part], trusted(weight, EXPLAINED) if rings else weight, where))
    if cage is not None:
        found.append(_of_cage(cage, max((one.odds for one in found), default=0.0), looks, where))
    return found


def _of_cage(cage: Family, other: float, looks: int, where: _Where) -> _Candidate:
    """Weigh the rhythm of the cage by itself: blows are the cage's own, a load that comes and goes may be an element's."""
    blows = _may_be_blow(cage) and len(cage.harmonics) >= BLOW_HARMONICS
    trust = (CAGE_BLOWS if blows else CAGE_ALONE) * (EXPLAINED if other > CLEAR else 1.0)
    return _Candidate(cage, Fault.CAGE if blows else Fault.ROLLING_ELEMENT, trusted(odds(cage, {}, looks), trust), where)


def _may_be_blow(cage: Family) -> bool:
    """Say whether the first harmonics of the cage are all there, as a blow has them."""
    return set(range(1, CAGE_HARMONICS + 1)) <= set(cage.harmonics)


def _rings(cage: Family | None, other: Family, kinematic: BearingOrders, looks: int) -> bool:
    """Say whether a part's lines may be harmonics of a rhythm at cage speed that is deeper: a blow, or a slow shaft's.

    That race's are exactly which lies in the load (n times FTF is its own), of any such rhythm; near every other part stands
    one of the many harmonics of a blow.
    """
    if cage is None or cage.depth <= RINGS * other.depth:
        return False
    lies = other.part == ("inner" if kinematic.outer_turns else "outer")
    return _may_be_blow(cage) or (lies and by_chance(cage.chance, looks) < CHANCE)


def _finding(look: Look, one: _Candidate, confidence: float) -> Finding:
    family = one.family
    hz = family.order * one.where.shaft_hz
    off = 100.0 * (family.order / family.kinematic - 1.0)
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
        Evidence(_origin(family)),
        Evidence(
            f"modulation depth {family.depth:.2f} (steady noise 0, single pulses 2); {family.dominance:.1f} times the largest "
            f"line of another rhythm{'' if family.on_the_shafts else ' that is no multiple of shaft speed'}"
        ),
        seen,
    )
    where = f"{family.bearing}, " if family.bearing else ""
    return look.finding(one.fault, confidence, one.where.channel, evidence, f"{where}{stage}")


def _origin(family: Family) -> str:
    if family.on_the_shafts:
        return "on a multiple of shaft speed, which it stresses above all others; another part that turns may stress it as well"
    chance = max(family.chance, 1e-12)
    return f"chance of a family of lines as clear as this where nothing is expected: {chance:.2g} in this spectrum"


def _stage(look: Look, one: _Candidate) -> tuple[str, Evidence]:
    """Tell stage 2 (envelope only) from stage 3 (lines in the velocity spectrum too)."""
    hz = one.family.order * one.where.shaft_hz
    # a rhythm is placed to a line, its harmonics to as many
    lines = {number: look.line(one.where.channel, number * hz, slack=number - 1.0) for number in (1, 2, 3)}
    plain = [number for number, line in lines.items() if line is not None and line.stands_out]
    if len(plain) >= 2:
        return "stage 3 of 4", Evidence("its lines stand out in the velocity spectrum too", harmonics=tuple(plain))
    return "stage 2 of 4", Evidence("its lines do not stand out in the velocity spectrum")
