"""Gears: one tooth that differs from the others, or a mesh that is no longer the baseline's.

A healthy gear has sidebands and blows of its own: on an open gearbox set those of the healthy one are the stronger (measured).
Alone, a record therefore supports a verdict only where the average turn of a shaft has a blow that its lines would not make
by chance; what is spread over all teeth takes a baseline.
"""

import math
from collections.abc import Iterator

import numpy as np

from edgemon.analysis.gears import (
    ABOVE_FLOOR,
    FEWEST_LINES,
    GearAverage,
    Sidebands,
    by_chance,
    change_db,
    gear_average,
    na4,
    sidebands,
)
from edgemon.diagnosis.evidence import gumbel_tail
from edgemon.diagnosis.look import UNCALIBRATED, Look, soft
from edgemon.diagnosis.wheels import Wheel, wheels_of
from edgemon.errors import ParameterError
from edgemon.model.finding import Evidence, Fault, Finding

BLOW = 5.0
"""Kurtosis of the difference signal (FM4; 3 for teeth that are alike) at which one tooth differs as likely as not. House
choice: shafts of a healthy open gearbox, whole records and parts of them, reach 4.0 (measured)."""
LOCKED = 2.5
"""Power of the shaft's lines over that of the lines between, from which the average turn is the shaft's: noise has 1."""
CHANGED_DB = 8.5
"""Median change of a gear's sidebands at which it has changed as likely as not. House choice: a healthy open gearbox moves
by 1.5 dB between halves of a record and by up to 7.7 dB from no load to 80 % (measured)."""
FEWEST_TURNS = 10
"""Turns of a gear that a record must hold."""
LIKE_SPEED = 0.1
"""Share that the speed may differ from the baseline's. Source: common practice, no source."""
LEAST = 0.05
"""Confidence from which a finding is worth a word."""
MIXED = (
    "planets that pass the sensor mix the sidebands of sun, planets and ring: that the set has changed is surer than which of "
    "them is hurt"
)
RATIO = 0.5
"""Largest sideband over the mesh line at which eccentricity is thought of. Source: textbooks, common practice."""


def gear(look: Look) -> list[Finding]:
    """Find the gear that differs most: from a gear whose teeth are alike, or from itself in the baseline."""
    if not can_judge_gears(look):
        return []
    assert look.speed is not None
    found = [
        finding
        for wheel in wheels_of(look.facts)
        if _turns(look, wheel) >= FEWEST_TURNS
        for channel in range(len(look.record.channels))
        for finding in _of(look, wheel, channel)
    ]
    return sorted(found, key=lambda one: -one.confidence)[:1]


def _turns(look: Look, wheel: Wheel) -> float:
    return 0.0 if look.speed is None else look.record.samples.shape[1] / look.record.fs_hz * look.speed.hz * wheel.order


def too_slow(look: Look) -> list[str]:
    """Name the gears of planetary sets that turn too few times within the record to be judged."""
    return [wheel.name for wheel in wheels_of(look.facts) if wheel.of_planets and _turns(look, wheel) < FEWEST_TURNS]


def can_judge_gears(look: Look) -> bool:
    """Say whether gears can be judged at all: teeth, a waveform, and shafts whose multiples it tells apart."""
    return bool(
        look.facts.is_geared
        and look.speed is not None
        and look.record.lines is None
        and look.record.line_hz <= look.speed.hz / FEWEST_TURNS
    )


def like_before(look: Look) -> tuple[Look, ...]:
    """Give the baseline's records that can be compared: the same channels, a waveform, at like speed."""
    return tuple(then for then in look.before if _is_like(look, then))


def _is_like(look: Look, then: Look) -> bool:
    if then.speed is None or look.speed is None or not can_judge_gears(then):
        return False
    same = [channel.name for channel in then.record.channels] == [channel.name for channel in look.record.channels]
    near = abs(then.speed.hz - look.speed.hz) <= LIKE_SPEED * then.speed.hz
    return same and near and then.record.quantity is look.record.quantity


def _of(look: Look, wheel: Wheel, channel: int) -> Iterator[Finding]:
    try:
        turn, about = _turn(look, wheel, channel), _about(look, wheel, channel)
    except ParameterError:
        return  # its mesh lies beyond the record: `diagnose` says so
    then = like_before(look)
    nearest = _nearest(about, [_before(one, wheel, channel) for one in then])
    changed = None if nearest is None else nearest[0]
    looks = len(look.record.channels) * len(wheels_of(look.facts))
    blow = soft(turn.fm4, BLOW, 0.4) * soft(turn.locked, LOCKED, 0.3)
    chance = by_chance(turn) if blow >= LEAST else None
    one_tooth = 0.0 if chance is None else (1.0 - chance) ** looks * blow
    largest = float(about.sides.max()) / max(float(about.mesh.max()), 1e-300)
    strong = np.count_nonzero(about.above >= ABOVE_FLOOR) >= FEWEST_LINES and not then and not wheel.of_planets
    spread = UNCALIBRATED * soft(largest, RATIO, 0.1) * (1.0 - _chance(about)) if strong else 0.0
    moved = 0.0 if changed is None else soft(changed[0], CHANGED_DB, 0.8)
    if wheel.of_planets:
        one_tooth *= UNCALIBRATED if nearest is None else 1.0 - soft(nearest[1].fm4, BLOW, 0.4)
    sure = max(one_tooth, spread, moved)
    if sure < LEAST:
        return
    hz = look.speed.hz * wheel.order if look.speed is not None else 0.0
    notes = [_of_sidebands(about, wheel, hz, largest), _of_turn(turn, wheel, hz, by_chance(turn) if chance is None else chance)]
    if not then:
        notes.append(Evidence("no baseline to compare with: sidebands of a healthy gear can be as large"))
    elif nearest is not None:
        notes.append(_of_change(nearest[0], turn, nearest[1], len(then)))
    if wheel.of_planets:
        notes.append(Evidence(MIXED))
    kind = (
        "one tooth differs"
        if one_tooth >= max(spread, moved)
        else "distributed"
        if moved == 0.0
        else "changed from the baseline"
    )
    yield look.finding(Fault.GEAR, sure, channel, tuple(notes), f"{wheel.name}, {kind}")


def _turn(look: Look, wheel: Wheel, channel: int) -> GearAverage:
    assert look.speed is not None
    hz = look.speed.hz * wheel.order
    return gear_average(look.record.samples[channel], look.record.fs_hz, hz, wheel.on_shaft, wheel.others)


def _about(look: Look, wheel: Wheel, channel: int) -> Sidebands:
    assert look.speed is not None
    hz = look.speed.hz * wheel.order
    return sidebands(look.record.samples[channel], look.record.fs_hz, hz, wheel.teeth, reach=wheel.reach)


_Then = tuple[GearAverage, Sidebands]
_Change = tuple[float, float, int]


def _before(then: Look, wheel: Wheel, channel: int) -> _Then | None:
    try:
        return _turn(then, wheel, channel), _about(then, wheel, channel)
    except ParameterError:
        return None


def _nearest(about: Sidebands, before: list[_Then | None]) -> tuple[_Change, GearAverage] | None:
    """Compare with the record of the baseline that is most like this one: loads differ among them, and move sidebands too.

    Where in one of them as few sidebands stand out as now, nothing has changed.
    """
    compared = [(change_db(about, one[1]), one[0]) for one in before if one is not None]
    known = [(changed, turn) for changed, turn in compared if changed is not None]
    return min(known, key=lambda one: one[0][0]) if known and len(known) == len(compared) else None


def _chance(about: Sidebands) -> float:
    """Say how likely sidebands as strong as these would be at distances where no part of the gear turns."""
    score = float(np.log(np.maximum(about.above, 1.0)).sum())
    return gumbel_tail(score, about.elsewhere)


def _of_sidebands(about: Sidebands, wheel: Wheel, hz: float, largest: float) -> Evidence:
    seen = about.above >= 5.0
    reach = seen.shape[1] // 2
    steps = [*range(-reach, 0), *range(1, reach + 1)]
    names = tuple(f"{row + 1} x mesh {steps[at]:+d} x {hz:.4g} Hz" for row, at in zip(*np.nonzero(seen), strict=True))
    text = (
        f"{len(names)} of {seen.size} sidebands at the speed of the {wheel.name} stand out of the mesh of {wheel.teeth} teeth, "
        f"the largest {100.0 * largest:.0f} % of the mesh line; chance of sidebands as strong at other distances: "
        f"{_chance(about):.2g}"
    )
    harmonics = tuple(number for number, size in enumerate(about.mesh, start=1) if size >= 5.0 * about.floor)
    return Evidence(text, frequency_hz=wheel.teeth * hz, order=wheel.mesh_order, harmonics=harmonics, sidebands=names)


def _of_turn(turn: GearAverage, wheel: Wheel, hz: float, chance: float) -> Evidence:
    text = (
        f"average of {turn.turns} turns at {hz:.4g} Hz, without its regular lines: FM4 {turn.fm4:.2f} (teeth alike 3, a blow "
        f"at one tooth more), by chance {chance:.2g}; its lines have {turn.locked:.3g} times the power of those between"
    )
    return Evidence(text, frequency_hz=hz, order=wheel.order, amplitude=turn.fm4, unit="1")


def _of_change(changed: _Change, turn: GearAverage, before: GearAverage, records: int) -> Evidence:
    moved, direction, count = changed
    figure = na4(turn.difference, (float(before.difference.var()),)) if before.difference.var() > 0.0 else math.nan
    text = (
        f"against the most like of {records} records of the baseline, at like speed: {count} sidebands moved by {moved:.1f} dB "
        f"in the median ({direction:+.1f} dB with sign); NA4 {figure:.3g} (as in the baseline: 3), FM4 then {before.fm4:.2f}"
    )
    return Evidence(text, amplitude=moved, unit="dB")
