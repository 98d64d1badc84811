"""The lines of a bearing in the envelope spectra of one channel: how surprising, how strong, how dominant each family is."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from edgemon.diagnosis.cyclic import EnvelopeSpectra
from edgemon.diagnosis.evidence import comb, gumbel_tail, surprise, widened
from edgemon.diagnosis.frequencies import BearingOrders

SLIP = 0.02
"""How far lines may lie from kinematics. Source: Randall and Antoni (2011): 1 to 2 %."""
SHAFT_LINES = 2.5
"""Lines about each multiple of shaft speed that are left out: main lobe of a Hann window and half a line."""
HARMONICS = {"outer": 3, "inner": 3, "element": 3, "cage": 2}
PARTS = ("outer", "inner", "element", "cage")
ELSEWHERE = np.linspace(0.62, 1.45, 42)
"""Bases, relative to a family's own, at which chance is measured."""
NEAR = 0.045
"""Relative distance that such a base keeps from every line of the bearing: twice the slip and a little."""
FINE = 0.01
"""Distance of lines, in orders, below which more sidebands of a family are set aside when chance is measured."""
FOUND = 3.0
"""Surprise from which one line counts as found, nats: one in twenty."""


@dataclass(frozen=True, slots=True)
class Family:
    """What was found of one part of one bearing in one channel."""

    bearing: str
    part: str
    order: float
    """As found, multiple of shaft speed."""
    kinematic: float
    surprise: float
    """Sum over its harmonics, nats, in the best way of looking."""
    chance: float
    """Probability of as much where nothing is expected, as many looks taken."""
    depth: float
    """Largest amplitude of its first two lines over the envelope's mean, in the whole band, plain or pre-whitened: in a
    narrow band chance alone makes it large."""
    dominance: float
    """That line over the largest other line of the same spectrum that is no multiple of shaft speed."""
    way: str
    harmonics: tuple[int, ...]
    sidebands: tuple[str, ...]
    above: float
    """First line over the median around it, amplitudes."""


class Rhythm:
    """Envelope spectra of one channel against one shaft speed."""

    def __init__(self, spectra: EnvelopeSpectra, shaft_hz: float) -> None:
        self.spectra = spectra
        self.shaft_hz = shaft_hz
        lines = spectra.power.shape[1]
        self.orders = np.arange(lines) * spectra.line_hz / shaft_hz
        near = np.abs(self.orders - np.rint(self.orders)) * shaft_hz < SHAFT_LINES * spectra.line_hz
        self.synchronous = near
        block = max(32, int(3.0 * shaft_hz / spectra.line_hz))
        raw = surprise(spectra.power, min(block, lines))
        raw[:, near] = 0.0
        raw[~spectra.heard] = 0.0
        raw[:, :3] = 0.0
        self.map = widened(raw)
        self.map[:, near] = 0.0
        self.depth = widened(np.where(near, 0.0, spectra.depth))

    def at(self, order: float) -> int:
        """Give the line of an order, the last one for orders beyond."""
        return min(round(order * self.shaft_hz / self.spectra.line_hz), self.orders.size - 1)

    def _own(self, order: float, side: float, reach: int) -> NDArray[np.bool_]:
        """Mark the lines of a family: harmonics and their sidebands."""
        own = np.zeros(self.orders.size, bool)
        steps = range(-6, 7) if self.spectra.line_hz < FINE * self.shaft_hz else range(-2, 3)
        for number in range(1, 7):
            for step in steps:
                middle = round((number * order + step * side) * self.shaft_hz / self.spectra.line_hz)
                if 3 < middle < own.size:
                    own[max(0, middle - reach) : middle + reach + 1] = True
        return own

    def families(self, name: str, kinematic: BearingOrders) -> list[Family]:
        """Score the four parts of a bearing."""
        orders = {part: float(getattr(kinematic, part)) for part in PARTS}
        resolution = self.spectra.line_hz / self.shaft_hz
        return [
            self._family(name, part, orders)
            for part in PARTS
            if orders[part] > 5.0 * resolution and orders[part] * (1.0 + SLIP) < self.orders[-1]
        ]

    def _family(self, name: str, part: str, orders: dict[str, float]) -> Family:
        line_hz, base, harmonics = self.spectra.line_hz, orders[part], HARMONICS[part]
        step = min(0.002, line_hz / (2.0 * harmonics * base * self.shaft_hz))
        slips = 1.0 + np.arange(-SLIP, SLIP + step / 2.0, step)
        scores = comb(self.map, line_hz, base * self.shaft_hz * slips, harmonics)
        way, at = np.unravel_index(int(scores.argmax()), scores.shape)
        order = base * float(slips[at])
        side = orders["cage"] if part == "element" else 1.0
        chance = self._chance(float(scores[way, at]), order, slips, orders, part)
        depths = [float(self.depth[row, self.at(k * order)]) for row in (0, 2) for k in (1, 2)]
        return Family(
            name,
            part,
            order,
            base,
            float(scores[way, at]),
            chance,
            max(depths),
            self._dominance(order, side, int(way)),
            self.spectra.ways[int(way)],
            tuple(k for k in range(1, 7) if self._found(int(way), k * order)),
            self._sidebands(int(way), order, part, side),
            self._above(int(way), order),
        )

    def _chance(self, score: float, order: float, slips: NDArray[np.float64], orders: dict[str, float], part: str) -> float:
        away = self.map.copy()
        away[:, self._own(order, 1.0, 3)] = 0.0
        bases = orders[part] * ELSEWHERE
        clear = np.all([np.abs(bases / other - 1.0) > NEAR for other in orders.values()], axis=0)
        looks = bases[clear][:, None] * slips[None, :] * self.shaft_hz
        others = comb(away, self.spectra.line_hz, looks, HARMONICS[part]).max(axis=(0, 2))
        return gumbel_tail(score, others)

    def _dominance(self, order: float, side: float, way: int) -> float:
        kin_top = 2.2 * max(order, 4.0)
        others = (self.orders > 1.5) & (self.orders < max(kin_top, 12.0)) & ~self._own(order, side, 3) & ~self.synchronous
        best = 0.0
        for row in (0, 2, way):
            mine = max(float(self.depth[row, self.at(k * order)]) for k in (1, 2))
            rest = float(self.spectra.depth[row, others].max(initial=np.finfo(float).tiny))
            best = max(best, mine / rest)
        return best

    def _found(self, way: int, order: float) -> bool:
        at = order * self.shaft_hz / self.spectra.line_hz
        return at < self.orders.size - 1 and float(self.map[way, round(at)]) >= FOUND

    def _sidebands(self, way: int, order: float, part: str, side: float) -> tuple[str, ...]:
        if part not in ("inner", "element"):
            return ()
        what = "cage speed" if part == "element" else "shaft speed"
        found = []
        for number in (1, 2):
            for sign, word in ((-1.0, "-"), (1.0, "+")):
                if self._found(way, number * order + sign * side):
                    found.append(f"line {number} {word} {what}")
        return tuple(found)

    def _above(self, way: int, order: float) -> float:
        at = self.at(order)
        reach = max(16, int(self.shaft_hz / self.spectra.line_hz))
        row = self.spectra.depth[way]
        around = float(np.median(row[max(2, at - reach) : at + reach + 1]))
        return float(self.depth[way, at]) / max(around, np.finfo(float).tiny)
