"""The lines of a bearing in the envelope spectra of one channel: how surprising, how strong, how dominant each family is."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from edgemon.diagnosis.accents import accent
from edgemon.diagnosis.cyclic import WAYS, EnvelopeSpectra
from edgemon.diagnosis.evidence import Map, comb, gumbel_tail, surprise, widened
from edgemon.diagnosis.frequencies import BearingOrders
from edgemon.diagnosis.rivals import Part, far_sides, rival_lines

SLIP = 0.02
"""How far lines may lie from kinematics. Source: Randall and Antoni (2011): 1 to 2 %."""
BESIDE = 1.5
"""Lines beyond the slip, up to half of it more, in which a larger line makes what is within it a flank."""
SHAFT_LINES = 2.5
"""Lines about each multiple of shaft speed that are left out: main lobe of a Hann window and half a line."""
HUM_LINES = 1.5
"""And about each multiple of twice the supply's frequency."""
HARMONICS = {"outer": 3, "inner": 3, "element": 3, "cage": 2}
PARTS = ("outer", "inner", "element", "cage")
ELSEWHERE = np.linspace(0.62, 1.45, 42)
"""Bases, relative to a family's own, at which chance is measured."""
NEAR = 0.045
"""Relative distance that such a base keeps from every line of the bearing: twice the slip and a little."""
FINE = 0.01
"""Distance of lines, in orders, below which more sidebands of a family are set aside when chance is measured."""
SHARP = 0.5
"""Share of the first line's depth that a harmonic of the cage must have to count: blows have many alike, a load that comes
and goes with the cage has few that fall fast."""
MOST_ASIDE = 0.3
"""Share of the lines looked at that may be set aside when chance is measured."""
BLIND = 0.34
"""Share of a base's lines that may be set aside or multiples of shaft speed for it to say something about chance."""
LOOKS = 16
"""Fewest bases that chance is measured at: quartiles of fewer mean little."""
SURE = 15.0
"""Surprise of a family from which its lines are set aside when chance is measured for another one, nats: about what the best
of a hundred looks at noise reaches."""
SHAFT_WAY = "whole band, pre-whitened and tones removed"
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
    """That line, with its sidebands where it has any, over the largest line of other rhythms in the same spectrum."""
    way: str
    harmonics: tuple[int, ...]
    sidebands: tuple[str, ...]
    above: float
    """First line over the median around it, amplitudes."""
    hidden: float = 0.0
    """Depth of the largest line of other rhythms, in the quietest of the whole bands: what is shallower hides behind it."""
    line_hz: float = 0.0
    """Distance of lines of the spectrum it was found in."""
    on_the_shafts: bool = False
    """It falls on a multiple of shaft speed: neither `surprise` nor `chance` are known, only what it has over the others."""


@dataclass(frozen=True, slots=True)
class _Best:
    """Where a family is most surprising."""

    part: str
    order: float
    way: int
    score: float


def lines_found(spectra: EnvelopeSpectra, shaft_hz: float) -> Map:
    """Give the surprise of every line that can be heard, against neighbourhoods of about three shaft orders."""
    block = max(32, int(3.0 * shaft_hz / spectra.line_hz))
    found = surprise(spectra.power, min(block, spectra.power.shape[1]), spectra.averages)
    found[~spectra.heard] = 0.0
    found[:, :3] = 0.0
    return found


class Rhythm:
    """Envelope spectra of one channel against one shaft speed; `found` is their surprise where it is known already.

    Lines at multiples of `hums_hz`, twice the supply's frequency, are the motor's field or an inverter's and nobody else's.
    """

    def __init__(
        self, spectra: EnvelopeSpectra, shaft_hz: float, found: Map | None = None, hums_hz: Sequence[float] = ()
    ) -> None:
        self.spectra = spectra
        self.shaft_hz = shaft_hz
        lines = spectra.power.shape[1]
        self.orders = np.arange(lines) * spectra.line_hz / shaft_hz
        near = np.abs(self.orders - np.rint(self.orders)) * shaft_hz < SHAFT_LINES * spectra.line_hz
        self.humming = np.zeros(lines, np.bool_)
        for hum in hums_hz:
            times = self.orders * shaft_hz / hum
            self.humming |= (np.abs(times - np.rint(times)) * hum < HUM_LINES * spectra.line_hz) & (times > 0.5)
        near |= self.humming
        self.synchronous = near
        self.sized = tuple(i for i, way in enumerate(spectra.ways) if way in (WAYS[0], WAYS[2], WAYS[3])) or (0,)
        raw = lines_found(spectra, shaft_hz) if found is None else found.copy()
        raw[:, near] = 0.0
        self.map = widened(raw)
        self.map[:, near] = 0.0
        self.depth = widened(np.where(near, 0.0, spectra.depth))

    def at(self, order: float) -> int:
        """Give the line of an order, the last one for orders beyond."""
        return min(round(order * self.shaft_hz / self.spectra.line_hz), self.orders.size - 1)

    def _own(self, order: float, side: float, reach: int) -> NDArray[np.bool_]:
        """Mark the lines of a family: harmonics and their sidebands."""
        own = np.zeros(self.orders.size, bool)
        steps = np.arange(-6, 7) if self.spectra.line_hz < FINE * self.shaft_hz else np.arange(-2, 3)
        places = (np.arange(1, 7)[:, None] * order + steps * side) * (self.shaft_hz / self.spectra.line_hz)
        middles = np.rint(places).astype(np.int64).ravel()
        middles = middles[(middles > 3) & (middles < own.size)]
        near = middles[:, None] + np.arange(-reach, reach + 1)
        own[np.minimum(near, own.size - 1)] = True
        return own

    def families(self, name: str, kinematic: BearingOrders) -> list[Family]:
        """Score the four parts of a bearing."""
        orders, looked = self._looked(kinematic)
        return [
            self._family(name, one, Part(one.part, one.order, kinematic), orders, self._chance(one, orders, looked))
            for one in looked
        ]

    def on_the_shafts(self, name: str, kinematic: BearingOrders) -> list[Family]:
        """Score the parts whose rhythm may fall on a multiple of shaft speed, by what that has over the other multiples.

        Its line and the next harmonic must exceed their neighbours, in the pre-whitened envelope and in that without tones.
        """
        rows = [row for row, way in enumerate(self.spectra.ways) if way in WAYS[2:]]
        found = []
        for part in PARTS[:3]:
            kin = float(getattr(kinematic, part))
            order = round(kin)
            if abs(order / kin - 1.0) > SLIP or self.humming[self.at(order)]:
                continue
            stress = accent(self.spectra.depth[rows], self.shaft_hz / self.spectra.line_hz, order)
            if stress is not None:
                above = stress.depth / max(self._around(row, order) for row in rows)
                size = (stress.depth, stress.dominance, SHAFT_WAY, (1, 2), (), above)
                found.append(
                    Family(name, part, float(order), kin, 0.0, 0.0, *size, line_hz=self.spectra.line_hz, on_the_shafts=True)
                )
        return found

    def chances(self, kinematic: BearingOrders) -> dict[str, float]:
        """Give the chance of each part of a bearing alone."""
        orders, looked = self._looked(kinematic)
        return {one.part: self._chance(one, orders, looked) for one in looked}

    def _looked(self, kinematic: BearingOrders) -> tuple[dict[str, float], list["_Best"]]:
        orders = {part: float(getattr(kinematic, part)) for part in PARTS}
        resolution = self.spectra.line_hz / self.shaft_hz
        return orders, [
            self._best(part, orders)
            for part in PARTS
            if orders[part] > 5.0 * resolution and orders[part] * (1.0 + SLIP) < self.orders[-1]
        ]

    def _best(self, part: str, orders: dict[str, float]) -> "_Best":
        """Find the slip and the way of looking at which a family is most surprising."""
        order = orders[part]
        beyond = min(BESIDE * self.spectra.line_hz / (order * self.shaft_hz), 0.5 * SLIP)
        slips = self._slips(part, order, SLIP + beyond)
        scores = comb(self.map, self.spectra.line_hz, order * self.shaft_hz * slips, HARMONICS[part])
        outside = np.abs(slips - 1.0) > SLIP + 1e-9
        for side in (slips < 1.0, slips > 1.0):  # what is larger beyond the border is another line, of which this is the flank
            flank = scores[:, side & outside].max(axis=1, initial=0.0) > scores[:, side & ~outside].max(axis=1, initial=0.0)
            scores[np.ix_(flank, side & (np.abs(slips - 1.0) > SLIP - beyond))] = 0.0
        scores[:, outside] = 0.0
        way, at = np.unravel_index(int(scores.argmax()), scores.shape)
        return _Best(part, order * float(slips[at]), int(way), float(scores[way, at]))

    def _slips(self, part: str, order: float, reach: float = SLIP) -> NDArray[np.float64]:
        step = min(0.002, self.spectra.line_hz / (2.0 * HARMONICS[part] * order * self.shaft_hz))
        return np.asarray(1.0 + np.arange(-reach, reach + step / 2.0, step))

    def _family(self, name: str, one: "_Best", part: Part, orders: dict[str, float], chance: float) -> Family:
        dominance, hidden = self._dominance(one, part)
        return Family(
            name,
            one.part,
            one.order,
            orders[one.part],
            one.score,
            chance,
            max(float(self.depth[row, self.at(k * one.order)]) for row in self.sized for k in (1, 2)),
            dominance,
            self.spectra.ways[one.way],
            self._harmonics(one, orders),
            self._sidebands(one.way, part) if part.passes_load or one.part == "element" else (),
            self._above(one.way, one.order),
            hidden=hidden,
            line_hz=self.spectra.line_hz,
        )

    def _harmonics(self, one: "_Best", orders: dict[str, float]) -> tuple[int, ...]:
        """List the harmonics that stand out; those of the cage where six together fit best, for two place it too coarsely."""
        if one.part != "cage":
            return tuple(k for k in range(1, 7) if self._found(one.way, k * one.order))
        slips = np.linspace(1.0 - SLIP, 1.0 + SLIP, 41)
        fits = comb(self.map[list(self.sized)], self.spectra.line_hz, orders["cage"] * self.shaft_hz * slips, 6)
        best, at = np.unravel_index(int(fits.argmax()), fits.shape)
        row, order = self.sized[int(best)], orders["cage"] * float(slips[at])
        least = SHARP * float(self.depth[row, self.at(order)])
        return tuple(
            k for k in range(1, 7) if self._found(row, k * order) and float(self.depth[row, self.at(k * order)]) >= least
        )

    def _chance(self, one: "_Best", orders: dict[str, float], looked: list["_Best"]) -> float:
        """Compare a family with the best of looks at bases where nothing is expected, lines of the bearing set aside.

        A base of which much is set aside says little about chance and is left out.
        """
        aside = self._aside(one, orders, looked)
        away = np.where(aside, 0.0, self.map)
        bases = orders[one.part] * ELSEWHERE
        clear = np.all([np.abs(bases / other - 1.0) > NEAR for other in orders.values()], axis=0)
        looks = bases[clear][:, None] * self._slips(one.part, orders[one.part])[None, :] * self.shaft_hz
        blind = comb((aside | self.synchronous)[None, :].astype(np.float64), self.spectra.line_hz, looks, HARMONICS[one.part])
        share = blind[0].mean(axis=1) / HARMONICS[one.part]
        best = np.argsort(share, kind="stable")[: max(LOOKS, int(np.count_nonzero(share < BLIND)))]
        others = comb(away, self.spectra.line_hz, looks[best], HARMONICS[one.part]).max(axis=(0, 2))
        return gumbel_tail(one.score, others)

    def _aside(self, one: "_Best", orders: dict[str, float], looked: list["_Best"]) -> NDArray[np.bool_]:
        """Choose the lines that are set aside: as many of the bearing's as leave enough of the spectrum to judge by."""
        own = self._own(one.order, 1.0, 3)
        every = own.copy()
        for other in looked:
            if other.score > SURE and other.part != "cage":
                every |= self._own(other.order, 1.0, 3)
        plain = self._own(one.order, 0.0, 2)
        end = self.at(ELSEWHERE[-1] * orders[one.part] * HARMONICS[one.part]) + 1
        return next((lines for lines in (every, own, plain) if lines[:end].mean() < MOST_ASIDE), np.zeros_like(own))

    def _dominance(self, one: "_Best", part: Part) -> tuple[float, float]:
        """Compare its line and sidebands with the largest line of other rhythms, in the spectrum where it fares best.

        Returns that, and the least of those largest lines.
        """
        orders = np.asarray(self.orders, np.float64)
        rivals, far = rival_lines(orders, part, self.synchronous), [self.at(order) for order in far_sides(part)]
        best, least = 0.0, math.inf
        for row in dict.fromkeys((*self.sized, one.way)):
            line, whole = self._strength(row, part)
            rest = float(self.spectra.depth[row, rivals].max(initial=np.finfo(float).tiny))
            beside = float(self.depth[row, far].max(initial=0.0))
            best = max(best, whole / (max(rest, beside) if beside > line else rest))
            least = min(least, rest) if row in self.sized else least
        return best, least

    def _strength(self, row: int, part: Part) -> tuple[float, float]:
        """Give the depth of the stronger of two harmonics, and that with the sidebands by which its pulses swell and fade."""
        at = [[self.at(k * part.order + step * part.side) for step in (0, -2, -1, 1, 2)] for k in (1, 2)]
        size = self.depth[row, at] ** 2
        line = size[:, 0]
        if not part.passes_load and part.name != "element":
            return math.sqrt(float(line.max())), math.sqrt(float(line.max()))
        noise = 2.0 * self._around(row, part.order) ** 2  # what the largest of three lines of noise amounts to, about
        sides = np.where(np.array(at)[:, 1:] > 2, np.maximum(size[:, 1:] - noise, 0.0), 0.0)
        return math.sqrt(float(line.max())), math.sqrt(float((line + sides.sum(axis=1)).max()))

    def _found(self, way: int, order: float) -> bool:
        at = order * self.shaft_hz / self.spectra.line_hz
        return at < self.orders.size - 1 and float(self.map[way, round(at)]) >= FOUND

    def _sidebands(self, way: int, part: Part) -> tuple[str, ...]:
        what = "cage speed" if part.name == "element" else "shaft speed"
        found = []
        for number in (1, 2):
            for sign, word in ((-1.0, "-"), (1.0, "+")):
                if self._found(way, number * part.order + sign * part.side):
                    found.append(f"line {number} {word} {what}")
        return tuple(found)

    def _above(self, way: int, order: float) -> float:
        return float(self.depth[way, self.at(order)]) / self._around(way, order)

    def _around(self, way: int, order: float) -> float:
        """Give the median depth within a turn of the shaft about a line."""
        at, reach = self.at(order), max(16, int(self.shaft_hz / self.spectra.line_hz))
        row = self.spectra.depth[way]
        return max(float(np.median(row[max(2, at - reach) : at + reach + 1])), float(np.finfo(float).tiny))
