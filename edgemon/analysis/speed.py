"""Shaft speed out of waveforms: estimated near a nominal one, or refused; and a given one placed on its own lines.

Both look for lines at whole multiples of one speed in all channels of a record together: the estimate for any that stand out
and for what they would agree on by chance; the refinement only where the speed given puts them, so that one is enough.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from edgemon.analysis.lines import STANDS_OUT, Line, find_lines
from edgemon.analysis.spectrum import amplitude_spectrum
from edgemon.errors import ParameterError

ORDERS = 12
"""Multiples of running speed looked for."""
MATCH_LINES = 0.5
"""A line belongs to a multiple if it lies no further away, in lines of the spectrum."""
CREDIBLE = 0.95
"""Least confidence of an estimate. House choice: one by chance in twenty at worst."""
PRECISE = 0.005
"""Most that an estimate may be off by the lines' own spacing, as part of the speed. House choice: a sixth of what levels in
like conditions may differ by."""
NEAR = 0.03
"""How far a machine on the mains runs from its nominal speed, as part of it: slip from no load to full load. Common practice,
no source."""
SUPPLIES_HZ = (50.0, 60.0)
"""Lines at multiples of the supply's frequency support no speed: the motor's field makes them at any speed."""
MOST_LINES = 200
TOLERANCE = 0.02
"""How far a given speed may be off: slip of an induction motor between no load and full load, common practice."""
FIRST = 8.0
"""Times its surroundings (18 dB) that the first line must reach. House choice: in white noise of 4000 lines none does."""
NEXT = STANDS_OUT
"""Times its surroundings (14 dB) for a harmonic at a place already predicted."""
SURROUNDINGS = 0.3
"""Of the speed, to either side: what a line stands out of."""
HUM_APART = 1.5
"""Lines off the speed given from which a line at a multiple of a usual supply's frequency is the supply's. House choice."""
TRUSTED = 30.0
"""Times its surroundings above which a line is no more sure of its place."""


@dataclass(frozen=True, slots=True)
class SpeedEstimate:
    """A speed, how sure it is, and what it rests on."""

    rpm: float
    confidence: float
    """One less the number of speeds in the range expected to be supported as well by chance."""
    method: str
    """For people: `lines at 1x, 2x, 5x`."""
    orders: int = 0
    """Multiples that it rests on."""


@dataclass(frozen=True, slots=True)
class ShaftSpeed:
    """Shaft speed and where it comes from."""

    hz: float
    basis: str
    measured: bool
    """Found in the record, not only given."""
    orders: int = 0
    """Multiples of it whose lines placed it; 0 where it was found in another way."""


def estimate_speed(
    samples: NDArray[np.floating], fs_hz: float, nominal_rpm: float, tolerance: float = NEAR, supply_hz: float | None = None
) -> SpeedEstimate | None:
    """Estimate the shaft speed within a tolerance of the nominal one, or refuse.

    Parameters
    ----------
    samples : array, shape (n,) or (channels, n)
        Waveforms taken at the same time, n >= 2, at a speed that changes by less than a line of their spectra.
    fs_hz : float
        Sample rate, above zero.
    nominal_rpm : float
        Nominal speed, above zero.
    tolerance : float
        Share of the nominal speed to either side, above zero and below 0.5.
    supply_hz : float, optional
        Supply frequency of the motor; both usual ones where it is not known.

    Returns
    -------
    SpeedEstimate or None
        None where fewer than two lines away from the supply's multiples agree, where none of them is at the speed itself (a
        speed twice as high may do as well), where as many could agree by chance, or where the lines are so far apart that
        the speed is known no better than `PRECISE`.

    Raises
    ------
    ParameterError
        Speed or tolerance out of range.

    Notes
    -----
    A line at random among n_k in the range of order k, W_k wide, matches a given speed with probability
    2 MATCH_LINES n_k / W_k at most; the number of matches by chance is taken as Poisson's. Every chance agreement has a
    lowest order, whose lines are the speeds that are tried. Source: derived here.
    """
    if not (nominal_rpm > 0.0 and 0.0 < tolerance < 0.5):
        raise ParameterError(f"{nominal_rpm:g} r/min within {tolerance:g}", "nominal_rpm, tolerance", "above zero; below 0.5")
    line_hz = fs_hz / samples.shape[-1]
    nominal, reach = nominal_rpm / 60.0, MATCH_LINES * line_hz
    lines = _lines(samples, fs_hz, nominal, SUPPLIES_HZ if supply_hz is None else (supply_hz,))
    near = {
        order: [line for line in lines if abs(line.hz - order * nominal) <= order * tolerance * nominal]
        for order in range(1, ORDERS + 1)
        if order * nominal * (1.0 + tolerance) < fs_hz / 2.0
    }
    best = max((_supported(near, line.hz / order, reach) for order in near for line in near[order]), key=_weight, default={})
    if len(best) < 2 or 1 not in best or reach > PRECISE * nominal * max(best):
        return None
    speed = sum(order * line.hz for order, line in best.items()) / sum(order**2 for order in best)
    if abs(speed - nominal) > tolerance * nominal:
        return None
    confidence = 1.0 - min(1.0, _by_chance(near, len(best), reach, 2.0 * tolerance * nominal))
    if confidence < CREDIBLE:
        return None
    return SpeedEstimate(60.0 * speed, confidence, f"lines at {_orders(best)}", len(best))


def refine_speed(
    samples: NDArray[np.floating],
    fs_hz: float,
    speed_hz: float,
    supply_hz: float | None = None,
    mesh: Sequence[float] = (),
) -> ShaftSpeed:
    """Place a given speed on the record's own lines, or give it back unchanged where none stands out.

    Parameters
    ----------
    samples : array, shape (n,) or (channels, n)
        Waveforms taken at the same time.
    fs_hz : float
        Sample rate, above zero.
    speed_hz : float
        Speed as given, above zero; trusted within `TOLERANCE`.
    supply_hz : float, optional
        Supply frequency of the motor: lines at multiples of twice it are the field's and never taken for the shaft's.
    mesh : sequence of float
        Tooth meshes, in multiples of shaft speed: they place it more finely, and by themselves where no low order stands out.

    Notes
    -----
    The strongest of the first three orders within TOLERANCE is the foot of the ladder; each higher order is looked for
    only within a line of where the speed found so far puts it, so that neighbours (twice supply frequency, ball pass
    near a whole order) are not taken for harmonics. A Hann window places a line between two by the ratio of both.
    Source: kinematics; M. Gasior, J. L. Gonzalez, AIP Conf. Proc. 732 (2004) 276-285 (interpolation, from memory).
    """
    return place_speed(_sizes(np.atleast_2d(samples)), fs_hz / samples.shape[-1], speed_hz, supply_hz, mesh)


def place_speed(
    lines: NDArray[np.floating],
    line_hz: float,
    speed_hz: float,
    supply_hz: float | None = None,
    mesh: Sequence[float] = (),
) -> ShaftSpeed:
    """Place a given speed on the lines of spectra under a Hann window, as `refine_speed` does.

    Parameters
    ----------
    lines : array, shape (channels, n)
        Amplitudes from 0 Hz on, of any scale.
    line_hz : float
        Distance of two lines, above zero.
    speed_hz, supply_hz, mesh
        As for `refine_speed`.
    """
    size = np.array(lines, np.float64)
    if supply_hz is not None:
        field = np.arange(2.0 * supply_hz, line_hz * (size.shape[1] - 3), 2.0 * supply_hz)
        for at in np.rint(field / line_hz).astype(int):
            size[:, at - 2 : at + 3] = size[:, [at - 3]]
    foot: tuple[float, float, float] | None = None
    for row in size:
        for order in (1, 2, 3):
            found = _peak(row, line_hz, order, speed_hz * (1 - TOLERANCE), speed_hz * (1 + TOLERANCE), speed_hz)
            if found is None or abs(found[0] - speed_hz) > TOLERANCE * speed_hz + 0.5 * line_hz / order:
                continue  # the window reaches a line further: a neighbour's
            if found[1] >= FIRST * order and (foot is None or found[1] / order > foot[1]):
                foot = (found[0], found[1] / order, order)
    foot = foot or _mesh_foot(size, line_hz, speed_hz, mesh)
    if foot is None:
        return ShaftSpeed(speed_hz, "given", measured=False)
    if supply_hz is None and _hums(foot[0] * foot[2], line_hz) and abs(foot[0] - speed_hz) * foot[2] > HUM_APART * line_hz:
        return ShaftSpeed(speed_hz, "given", measured=False)
    speed, _, start = foot
    within = line_hz / start
    weight = total = 0.0
    used: list[float] = []
    ladder = [*range(1, ORDERS + 1), *(order for order in sorted(set(mesh)) if order > ORDERS)]
    for order in ladder:
        for row in size:
            reach = max(within, line_hz / order)
            found = _peak(row, line_hz, order, speed - reach, speed + reach, speed_hz)
            if found is None or found[1] < NEXT:
                continue
            trust = order**2 * min(found[1], TRUSTED)
            weight, total = weight + trust, total + trust * found[0]
            used.append(order)
        if weight:
            speed, within = total / weight, 0.5 * line_hz / order
    return ShaftSpeed(speed, f"measured from {_orders(used)}", measured=True, orders=len(set(used)))


def _hums(hz: float, line_hz: float) -> bool:
    """Say whether a line stands at a multiple of a usual supply's frequency, as exactly as lines of a long record tell."""
    return any(
        hz > 0.5 * one and abs(hz - one * round(hz / one)) <= min(max(0.25 * line_hz, 2e-4 * hz), 0.01 * one)
        for one in SUPPLIES_HZ
    )


def _mesh_foot(
    size: NDArray[np.float64], line_hz: float, speed_hz: float, mesh: Sequence[float]
) -> tuple[float, float, float] | None:
    """Find the strongest mesh line whose double stands out where it must; sidebands, a turn apart, have no such double."""
    best: tuple[float, float, float] | None = None
    for row in size:
        for order in mesh:
            first = _peak(row, line_hz, order, speed_hz * (1 - TOLERANCE), speed_hz * (1 + TOLERANCE), speed_hz)
            if first is None or first[1] < FIRST:
                continue
            reach = line_hz / order
            second = _peak(row, line_hz, 2.0 * order, first[0] - reach, first[0] + reach, speed_hz)
            if second is not None and second[1] >= NEXT and (best is None or first[1] > best[1]):
                best = (first[0], first[1], order)
    return best


def _lines(samples: NDArray[np.floating], fs_hz: float, speed_hz: float, steps_hz: Sequence[float]) -> list[Line]:
    """List what stands out of any channel up to the highest order, without the multiples of frequencies not the shaft's."""
    line_hz = fs_hz / samples.shape[-1]
    end, reach = math.ceil((ORDERS + 1) * speed_hz / line_hz), max(10, int(SURROUNDINGS * speed_hz / line_hz))
    found: list[Line] = []
    for row in np.atleast_2d(samples):
        whole = amplitude_spectrum(row, fs_hz)
        spectrum = replace(whole, amplitude=whole.amplitude[:end])
        found += find_lines(spectrum, at_least=NEXT, most=MOST_LINES, reach=reach)
    return [line for line in found if not any(_is_multiple(line.hz, step, line_hz) for step in steps_hz)]


def _is_multiple(hz: float, step_hz: float, line_hz: float) -> bool:
    return abs(hz - step_hz * max(1, round(hz / step_hz))) <= max(line_hz, 0.002 * hz)


def _orders(orders: Iterable[float]) -> str:
    """Write orders, three or more that follow one another as `1x to 12x`."""
    runs: list[list[float]] = []
    for order in sorted(set(orders)):
        if runs and order - runs[-1][-1] == 1.0:
            runs[-1].append(order)
        else:
            runs.append([order])
    words = [[f"{run[0]:g}x to {run[-1]:g}x"] if len(run) > 2 else [f"{one:g}x" for one in run] for run in runs]
    return ", ".join(word for row in words for word in row)


def _supported(near: dict[int, list[Line]], speed: float, reach: float) -> dict[int, Line]:
    found = {order: _closest(lines, order * speed, reach) for order, lines in near.items()}
    return {order: line for order, line in found.items() if line is not None}


def _closest(lines: Sequence[Line], hz: float, reach: float) -> Line | None:
    line = min(lines, key=lambda one: abs(one.hz - hz), default=None)
    return line if line is not None and abs(line.hz - hz) <= reach else None


def _weight(support: dict[int, Line]) -> tuple[int, float]:
    return len(support), sum(math.log(line.above) for line in support.values())


def _by_chance(near: dict[int, list[Line]], count: int, reach: float, width_hz: float) -> float:
    """Give the number of speeds that `count` orders would be expected to agree on if their lines stood at random."""
    chance = {order: min(1.0, 2.0 * reach * len(lines) / (order * width_hz)) for order, lines in near.items()}
    return sum(
        len(lines) * _poisson_tail(count - 1, sum(chance[higher] for higher in near if higher > order))
        for order, lines in near.items()
    )


def _poisson_tail(count: int, mean: float) -> float:
    """Give the probability of `count` or more."""
    return max(0.0, 1.0 - math.exp(-mean) * sum(mean**k / math.factorial(k) for k in range(count)))


def _sizes(samples: NDArray[np.float64]) -> NDArray[np.float64]:
    shape = np.hanning(samples.shape[1] + 1)[:-1]
    return np.asarray(np.abs(np.fft.rfft((samples - samples.mean(axis=1, keepdims=True)) * shape, axis=1)))


def _peak(
    row: NDArray[np.float64], line_hz: float, order: float, low_hz: float, high_hz: float, around_hz: float
) -> tuple[float, float] | None:
    """Find the strongest line of an order: speed it means, and times its surroundings."""
    first = max(2, int(low_hz * order / line_hz))
    last = min(row.size - 3, int(high_hz * order / line_hz) + 1)
    if last < first:
        return None
    at = first + int(row[first : last + 1].argmax())
    left, middle, right = row[at - 1 : at + 2].tolist()
    if not middle > 0.0 or middle < max(left, right):
        return None
    side = max(left, right) / middle
    shift = (2.0 * side - 1.0) / (1.0 + side) * (1.0 if right > left else -1.0)
    reach = max(10, int(SURROUNDINGS * around_hz / line_hz))
    surroundings = float(np.median(row[max(1, at - reach) : at + reach + 1]))
    return (at + shift) * line_hz / order, middle / max(surroundings, np.finfo(float).tiny)
