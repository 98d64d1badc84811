"""Is a capture fit to change a state? Cheap tests for every row of a block, the full test only where one gives cause.

Every threshold is common practice without a published source, except where one is named.
"""

import math
from collections.abc import Sequence
from functools import lru_cache
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from edgemon.analysis.block import WORD, Block, Figures
from edgemon.analysis.prepare import GOOD_PERIODS, Plan
from edgemon.model.quality import Flaw, Verdict
from edgemon.model.reading import Counts

RAIL = 32766
"""Within one count of the full scale of int16, either sign (the negative one reaches a count further)."""
MIN_RUN = 3
"""So many samples in a row at an extreme are a flat top."""
FLAT_SHARE = 1e-3
"""A record's own extreme is a rail if more than this share of its samples lies there in runs."""
PILED_SHARE = 1e-2
"""... or if more than this share does, in runs or not: noise that is clipped seldom stays at the rail for long."""
SHOULDER = 4.0
"""... and if this many times more samples lie within one count of it than in the next four counts: a rounded crest, even of a
slow sine, gives 1.4 (recomputed: sqrt 2 over sqrt 6 - sqrt 2), a clipped one has no shoulder."""
MIN_SPAN = 64
"""... and only in a record that spans so many counts: in fewer, steps of the converter look like flat tops."""
FLAT_STD = 2.0
"""Counts; below it a converter's own steps are what is measured."""
IDENTICAL_SHARE = 0.99
IDENTICAL_KURTOSIS = 50.0
"""99 % equal samples give a kurtosis of about 1 / 0.01: rows below half of that need not be counted."""
MAX_VELOCITY = 0.1
"""m/s r.m.s.; ten times what any standard allows on a bearing housing."""
RANGE_MARGIN = 1.05
"""A sensor may reach a little further than its nominal range (tolerance of sensitivity)."""
RISE_ENERGY = 0.5
"""Share of the velocity's mean square in the lowest octave from which a ski slope is looked for."""
RISE_FLATNESS = 0.2
"""Geometric over arithmetic mean of the levelled lines: slopes give 0.26 or more, lines 0.07 or less (400 trials each)."""
RISE_STEEPNESS = 4.0
"""Power of the acceleration's floor around the lower edge over that further up; a fall as 1/f gives some 20."""
RISE_SIGMAS = 3.5
"""... and so many standard deviations of that ratio in white noise: none of 400 captures of white noise is accused."""
RISE_LINES = 6

HELD = 4 * WORD
"""Equal samples in a row, at least, that are taken for samples lost and held; a shorter loss is hardly one to see."""
HELD_CHANCE = 1e-6
"""... if so many in a row come about by chance in fewer records than this, from the share of equal neighbours in the record:
one that is coarse, or that lies still between shocks, has long stretches of its own."""
HELD_JUMP = 4
"""... and the signal comes or goes in a jump of so many counts: the crest of a slow sine leaves its value by one."""
UNSTEADY = 1.2
"""R.m.s. of one third of the record over that of another, beyond which a state is not steady."""

CLEAN = Verdict()
Row = tuple[Flaw, str]


class Facts(Protocol):
    """What a verdict needs beside the figures."""

    @property
    def counts(self) -> Counts:
        """Give the samples."""

    @property
    def si_per_count(self) -> float:
        """Give m/s2 per count."""

    @property
    def range_si(self) -> float | None:
        """Give the sensor's range, m/s2; None where it is not known."""

    @property
    def missing(self) -> bool:
        """Say whether parts of the capture never came."""


def verdict(block: Block, i: int, figures: Figures, facts: Facts) -> Verdict:
    """Judge one row of a block.

    Parameters
    ----------
    block : Block
        Where the row stands, for its plan and its lines.
    i : int
        Number of the row.
    figures : Figures
        Of that row.
    facts : Facts
        Raw counts, scale, range, and whether parts are missing.

    Returns
    -------
    Verdict
        Without flaw and without remark it is one and the same clean verdict for all.
    """
    plan = block.plan
    range_si = math.inf if facts.range_si is None else facts.range_si
    if not _suspect(plan, figures, facts, range_si):
        return _unsteady(plan) if figures.unsteadiness > UNSTEADY**2 else _of_plan(plan)
    limit = range_si / facts.si_per_count if facts.si_per_count > 0.0 else math.inf
    found: list[Row | None] = [
        clipping(facts.counts, limit),
        flat_line(facts.counts, math.sqrt(figures.second)) if _may_be_flat(figures.second, figures.fourth) else None,
        (Flaw.TOO_SHORT, plan.remarks[0]) if plan.too_short else None,
        _missing() if facts.missing else held(facts.counts) if figures.may_hold else None,
        _rise(block, i, figures),
        _implausible(figures, facts.si_per_count, range_si),
    ]
    whole = _unsteady(plan) if figures.unsteadiness > UNSTEADY**2 else _of_plan(plan)
    remarks = whole.remarks[1:] if plan.too_short else whole.remarks
    return _collect([row for row in found if row is not None], remarks)


@lru_cache(maxsize=64)
def _of_plan(plan: Plan) -> Verdict:
    """Give the verdict on what has no flaw of its own."""
    if plan.too_short:
        return _collect([(Flaw.TOO_SHORT, plan.remarks[0])], plan.remarks[1:])
    return _collect([], plan.remarks)


@lru_cache(maxsize=64)
def _unsteady(plan: Plan) -> Verdict:
    """Give the verdict on what is not steady: a remark, no flaw, for a fault that sets in is not steady either.

    Notes
    -----
    Thirds that hold few periods of the band's lower edge differ by chance, and are not told apart.
    """
    part, judged = plan.velocity, _of_plan(plan)
    if part is None or part.band.low_hz * plan.n < GOOD_PERIODS * plan.fs_hz:
        return judged
    text = f"not steady: r.m.s. of the record's thirds differs by more than {100.0 * (UNSTEADY - 1.0):.0f} %"
    return Verdict(judged.flaws, (*judged.remarks, text))


def short_verdict(plan: Plan, missing: bool) -> Verdict:
    """Judge a capture too short to be made a row of a block."""
    return _collect([(Flaw.TOO_SHORT, plan.remarks[0])] + ([_missing()] if missing else []), ())


def _suspect(plan: Plan, figures: Figures, facts: Facts, range_si: float) -> bool:
    """Say whether some full test could find a flaw; comparisons with what is not a number are false."""
    # plain names: looked at for every capture, attributes and powers take half as long again (measured)
    top, bottom, _, second, fourth, at_extremes, may_hold, _, velocity_square, lowest_square = figures[:10]
    si = facts.si_per_count
    reach = top if top > -bottom else -bottom
    return (
        may_hold
        or facts.missing
        or at_extremes > max(MIN_RUN - 1, FLAT_SHARE * plan.n)
        or reach > RAIL - 0.5
        or (reach + 2.0) * si > range_si
        or lowest_square >= RISE_ENERGY * velocity_square
        or _may_be_flat(second, fourth)
        or velocity_square * si * si > MAX_VELOCITY * MAX_VELOCITY
    )


def _may_be_flat(second: float, fourth: float) -> bool:
    return second < FLAT_STD * FLAT_STD or fourth > IDENTICAL_KURTOSIS * second * second


def _collect(rows: Sequence[Row], remarks: tuple[str, ...]) -> Verdict:
    if not rows and not remarks:
        return CLEAN
    return Verdict(tuple(flaw for flaw, _ in rows), tuple(text for _, text in rows) + remarks)


def _missing() -> Row:
    return Flaw.MISSING_SAMPLES, "parts of the capture never came"


def clipping(counts: Counts, range_counts: float = np.inf) -> Row | None:
    """Find flat tops: at the converter's full scale, at the sensor's range, or at the record's own extremes.

    Parameters
    ----------
    counts : int16 array, shape (n,)
        One capture, n >= 1.
    range_counts : float
        Sensor's range in counts, infinite where it is not known.

    Returns
    -------
    tuple or None
        The flaw and a sentence about it.
    """
    full = min(float(RAIL), round(range_counts) - 1.0 if range_counts < RAIL else float(RAIL))
    wide = counts.astype(np.int32)
    for side in (wide, -wide):
        extreme = int(side.max())
        if full <= extreme <= full + 2.0 and _in_runs(side >= full):
            return Flaw.CLIPPED, f"{MIN_RUN} or more samples in a row within a count of full scale"
        if extreme - int(side.min()) < MIN_SPAN:
            continue
        top, enough = side >= extreme - 1, max(MIN_RUN, FLAT_SHARE * side.size)
        count, middle = np.count_nonzero(top), 0.5 * (extreme + int(side.min()))  # the other rail may hold as many
        if count <= enough or ((held := _in_runs(top)) <= enough and count <= PILED_SHARE * side.size):
            continue
        shoulder = int(np.count_nonzero((side >= extreme - 5) & (side < extreme - 1)))
        if held > max(enough, SHOULDER * shoulder):
            return Flaw.CLIPPED, f"flat tops: {100.0 * held / side.size:.2g} % of the samples at the record's extreme, in runs"
        alike = max(shoulder, _most_alike(side[np.abs(side - middle) < extreme - 5 - middle]))
        if count > max(PILED_SHARE * side.size, SHOULDER * alike):
            return Flaw.CLIPPED, f"{100.0 * count / side.size:.2g} % of the samples at the record's extreme, none just below it"
    return None


def held(counts: Counts) -> Row | None:
    """Find a stretch of one value within a record that moves: samples that were lost, and held or filled in.

    Parameters
    ----------
    counts : int16 array, shape (n,)
        One capture, n >= 1.
    """
    wide = counts.astype(np.int32)
    ends = np.flatnonzero(np.diff(wide)) + 1
    starts = np.concatenate(([0], ends))
    lengths = np.diff(np.concatenate((starts, [wide.size])))
    equal = 1.0 - ends.size / max(1, wide.size - 1)
    chance = math.log(HELD_CHANCE / wide.size) / math.log(equal) if 0.0 < equal < 1.0 else math.inf
    values = wide[starts]
    jumps = np.abs(np.diff(values, prepend=values[:1], append=values[-1:]))
    leaps = np.maximum(jumps[:-1], jumps[1:]) >= HELD_JUMP
    inside = (values > int(wide.min()) + 1) & (values < int(wide.max()) - 1)  # flat tops are clipping
    at = np.flatnonzero((lengths >= max(HELD, chance + 1.0)) & leaps & inside)
    if at.size == 0:
        return None
    return Flaw.MISSING_SAMPLES, f"{int(lengths[at].sum())} samples within the capture were lost and are of one value in a row"


def _most_alike(values: NDArray[np.int32]) -> int:
    """Count the samples of the commonest value: of a sine whose period is a whole number of samples all values are few."""
    return int(np.unique(values, return_counts=True)[1].max(initial=0))


def _in_runs(mask: NDArray[np.bool_]) -> int:
    """Count the samples that belong to runs of MIN_RUN or more."""
    edges = np.flatnonzero(np.diff(np.concatenate(([False], mask, [False])).astype(np.int8)))
    lengths = edges[1::2] - edges[::2]
    return int(lengths[lengths >= MIN_RUN].sum())


def flat_line(counts: Counts, std: float) -> Row | None:
    """Find a channel in which nothing moves, from one capture and its standard deviation in counts."""
    if std < FLAT_STD:
        return Flaw.FLAT_LINE, f"the signal moves by {std:.2g} counts r.m.s., no more than a converter's own steps"
    most = int(np.bincount(counts.astype(np.int32) + 32768).max())
    if most > IDENTICAL_SHARE * counts.size:
        return Flaw.FLAT_LINE, f"{100.0 * most / counts.size:.1f} % of the samples are one and the same value"
    return None


def _rise(block: Block, i: int, figures: Figures) -> Row | None:
    """Tell a ski slope from a slow line and from white noise, where most of the velocity lies in the lowest octave.

    Notes
    -----
    A slope fills its lines evenly once it is made level (a line does not), and its acceleration itself falls with
    frequency (that of white noise, whose *velocity* falls as 1/f too, does not). In captures that have fewer than six
    lines from half to twice the lower edge the two cannot be told apart, and none is accused.
    """
    plan = block.plan.velocity
    if plan is None:
        return None
    power, lowest = figures.velocity_square, figures.lowest_square
    if not lowest >= RISE_ENERGY * power or power <= 0.0:
        return None
    low = plan.band.low_hz * block.plan.n / block.plan.fs_hz
    hann = np.abs(block.hann[i, 1 : plan.n_lines - 1].astype(np.complex128)) ** 2
    k = np.arange(1, hann.size + 1)
    near, far = (k >= low / 2.0) & (k <= 2.0 * low), (k > 2.0 * low) & (k <= 16.0 * low)
    if np.count_nonzero(near) < RISE_LINES or np.count_nonzero(far) < RISE_LINES:
        return None
    tiny = np.finfo(np.float64).tiny
    level = hann[near] * k[near] ** 2 + tiny
    flatness = np.exp(np.log(level).mean()) / level.mean()
    steepness = np.exp(np.log(hann[near] + tiny).mean() - np.log(hann[far] + tiny).mean())
    # the log of one line's power in noise scatters by pi / sqrt 6; under a Hann window 1.5 lines are one
    scatter = math.pi / math.sqrt(6.0) * math.sqrt(1.5 / np.count_nonzero(near) + 1.5 / np.count_nonzero(far))
    if flatness < RISE_FLATNESS or steepness < max(RISE_STEEPNESS, math.exp(RISE_SIGMAS * scatter)):
        return None
    share = 100.0 * lowest / power
    edge = 2.0 * plan.band.low_hz
    return Flaw.LOW_FREQUENCY_RISE, f"{share:.0f} % of the velocity lies below {edge:g} Hz in a slope without lines"


def _implausible(figures: Figures, si: float, range_si: float) -> Row | None:
    velocity = math.sqrt(figures.velocity_square) * si
    if velocity > MAX_VELOCITY:
        return Flaw.IMPLAUSIBLE, f"velocity {1e3 * velocity:.3g} mm/s r.m.s.: no bearing housing moves so"
    reach = max(abs(figures.top), abs(figures.bottom)) * si
    if reach > RANGE_MARGIN * range_si:
        return Flaw.IMPLAUSIBLE, f"acceleration {reach:.3g} m/s2, beyond the sensor's range of {range_si:.3g} m/s2"
    return None
