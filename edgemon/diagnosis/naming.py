"""How the peaks of a spectrum are named, each with what the others say: where a slipping bearing truly is; sidebands."""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from edgemon.diagnosis.markers import Expected, Family, multiple_of, name_of, tolerance

HALVES = 9
"""Halves of running speed up to which odd ones are named: 0.5x to 4.5x."""
SIDEBANDS = 2
"""Sidebands named to either side of a line."""


@dataclass(frozen=True, slots=True)
class _Carrier:
    """A named peak that may have sidebands."""

    hz: float
    name: str
    one: Expected


def names_of(peaks_hz: Sequence[float], among: Sequence[Expected], resolution_hz: float, most: int) -> tuple[str, ...]:
    """Name peaks by the frequencies that a machine leads one to expect.

    Parameters
    ----------
    peaks_hz : sequence of float
        All peaks of a spectrum, largest first.
    among : sequence of Expected
        With how far each may be off: a bearing slips.
    resolution_hz : float
        What the spectrum can tell apart.
    most : int
        Peaks to be named, the first of them.

    Returns
    -------
    tuple of str
        `BPFI`, `2 x BPFI`, `BPFI - 2x`, `0.5x`; empty where nothing explains a peak. A frequency that may be off is placed by
        the largest peak within its tolerance that no surer one names; its multiples are then multiples of that peak, and
        sidebands are named about peaks only. What no peak places is a name for want of a better one.
    """
    placed, vague = _placed(peaks_hz, among, resolution_hz)
    carriers = tuple(_carriers(peaks_hz, placed, resolution_hz))
    spacings = _spacings(among, placed)
    return tuple(
        name_of(hz, placed, resolution_hz)
        or _sideband(hz, carriers, spacings, resolution_hz)
        or _half_order(hz, placed, resolution_hz)
        or name_of(hz, vague, resolution_hz)
        for hz in peaks_hz[:most]
    )


def _placed(
    peaks_hz: Sequence[float], among: Sequence[Expected], resolution_hz: float
) -> tuple[tuple[Expected, ...], tuple[Expected, ...]]:
    """Part what is sure, or placed by a peak, from what may be anywhere within its tolerance; surest first."""
    placed: list[Expected] = []
    vague: list[Expected] = []
    for one in sorted(among, key=lambda expected: expected.share):
        reach = tolerance(one, resolution_hz)
        if reach <= 0.5 * resolution_hz:
            placed.append(one)
            continue
        near = (hz for hz in peaks_hz if abs(hz - one.hz) <= reach and not name_of(hz, placed, resolution_hz))
        found = next(near, None)
        if found is None:
            vague.append(one)
        else:
            placed.append(replace(one, hz=found, share=0.5 * resolution_hz / found))
    return tuple(placed), tuple(vague)


def _carriers(peaks_hz: Sequence[float], placed: Sequence[Expected], resolution_hz: float) -> Iterator[_Carrier]:
    for one in placed:
        for number in range(1, one.multiples + 1) if one.sidebands_hz else ():
            reach = max(number * one.share * one.hz, 0.5 * resolution_hz)
            hz = next((hz for hz in peaks_hz if abs(hz - number * one.hz) <= reach), None)
            if hz is not None:
                yield _Carrier(hz, multiple_of(number, one), one)


def _spacings(among: Sequence[Expected], placed: Sequence[Expected]) -> dict[float, Expected]:
    """Give what stands at each distance of sidebands, as placed where it is."""
    found = {one.hz: one for one in among}
    by_name = {one.name: one for one in placed}
    return {hz: by_name.get(one.name, one) for hz, one in found.items()}


def _half_order(hz: float, placed: Sequence[Expected], resolution_hz: float) -> str:
    """Name an odd multiple of half the running speed, as of a loose part or a rub."""
    for one in placed:
        halves = round(2.0 * hz / one.hz)
        reach = max(one.share * hz, 0.5 * resolution_hz)
        if one.family is Family.SPEED and halves % 2 and halves <= HALVES and abs(hz - 0.5 * halves * one.hz) <= reach:
            return f"{0.5 * halves:g}x"
    return ""


def _sideband(hz: float, carriers: Sequence[_Carrier], spacings: dict[float, Expected], resolution_hz: float) -> str:
    """Name the sideband that lies nearest, within what the spectrum can tell apart."""
    best, name = resolution_hz, ""
    for carrier in carriers:
        for apart in carrier.one.sidebands_hz:
            known = next((one for at, one in spacings.items() if math.isclose(at, apart, rel_tol=1e-9)), None)
            step = apart if known is None else known.hz
            number = round(abs(hz - carrier.hz) / step)
            off = abs(abs(hz - carrier.hz) - number * step)
            if 1 <= number <= SIDEBANDS and off < best:
                best = off
                beside = f"{number * step:.4g} Hz" if known is None else multiple_of(number, known)
                name = f"{carrier.name} {'+' if hz > carrier.hz else '-'} {beside}"
    return name
