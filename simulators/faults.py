"""What faults look like: each gives what it adds to a healthy housing, for a severity from 0 to 1.

The patterns are those of the trade's textbooks (R. B. Randall, Vibration-based Condition Monitoring; C. Scheffer and
P. Girdhar, Practical Machinery Vibration Analysis and Predictive Maintenance), from memory, unverified. Sizes are the scene's.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass

from simulators.signals import Excitation, Impacts, Line, Noise, Vector, times


@dataclass(frozen=True, slots=True)
class Geometry:
    """Rolling bearing: number and diameter of the elements, pitch diameter (same unit), contact angle; outer race fixed."""

    elements: int = 9
    ball: float = 7.94
    pitch: float = 39.04
    angle_deg: float = 0.0

    def orders(self) -> dict[str, float]:
        """Repetition of a defect in orders of shaft speed: outer, inner, rolling element (both races), cage.

        Notes
        -----
        Source: M. P. Norton, D. G. Karczub, Fundamentals of Noise and Vibration Analysis for Engineers, 2nd ed. (2003),
        section 8.4.
        """
        ratio = self.ball / self.pitch * math.cos(math.radians(self.angle_deg))
        return {
            "outer": self.elements / 2.0 * (1.0 - ratio),
            "inner": self.elements / 2.0 * (1.0 + ratio),
            "element": self.pitch / self.ball * (1.0 - ratio**2),
            "cage": (1.0 - ratio) / 2.0,
        }


@dataclass(frozen=True, slots=True)
class Case:
    """Circumstances of a fault: how bad, on what machine, at what speed, how large at its worst."""

    severity: float
    speed_hz: float
    nominal_hz: float
    full_mm_s: float
    """R.m.s. velocity, radial horizontal, that severity 1 adds at nominal speed."""
    full_m_s2: float = 0.0
    """Peak acceleration of a blow, or r.m.s. of noise, that severity 1 adds at nominal speed."""
    bearing: Geometry = Geometry()
    housing_hz: float = 1900.0
    blades: int = 6
    teeth: tuple[int, int] = (23, 67)

    @property
    def effort(self) -> float:
        """Forces against those at nominal speed: square of the speed ratio."""
        return (self.speed_hz / self.nominal_hz) ** 2

    def line(self, order: float, share: float, directions: Vector, phase: Vector = (0.0, -math.pi / 2.0, 0.5)) -> Line:
        """Give a line at an order of speed that makes `share` of the fault's velocity."""
        rms = self.severity * self.full_mm_s * 1e-3 * share
        peak = math.sqrt(2.0) * rms * 2.0 * math.pi * order * self.nominal_hz * self.effort
        return Line(order * self.speed_hz, times(directions, peak), phase)


def unbalance(case: Case) -> Excitation:
    """One line at running speed, radial; its force, and with it the acceleration, grows with the square of speed."""
    return Excitation((case.line(1.0, 1.0, (1.0, 0.85, 0.1)),))


def misalignment(case: Case) -> Excitation:
    """Twice running speed, with 1x and 3x, strong along the shaft."""
    orders = ((1.0, 0.35), (2.0, 0.87), (3.0, 0.34))
    return Excitation(tuple(case.line(order, share, (1.0, 0.8, 0.9), (0.3, 0.9, 0.3 + math.pi)) for order, share in orders))


def looseness(case: Case) -> Excitation:
    """Many harmonics and half orders, and a raised floor: the fit knocks."""
    shares = {1.0: 0.65, 2.0: 0.5, 3.0: 0.35, 4.0: 0.25, 5.0: 0.2, 6.0: 0.15, 7.0: 0.12, 0.5: 0.18, 1.5: 0.14, 2.5: 0.1}
    size = math.sqrt(sum(share**2 for share in shares.values()))
    lines = (
        case.line(order, share / size, (0.9, 1.0, 0.3), (1.1 * order, 0.4 * order, order))
        for order, share in shares.items()
        if order * case.speed_hz > 5.0
    )
    floor = case.severity * case.full_m_s2 * case.effort
    return Excitation(tuple(lines), (Noise(50.0, 3000.0, (floor, floor, 0.3 * floor)),))


_HARMONIC = 6.0 / 7.0
"""Share of a defect's own line where its first three harmonics fall as 1, 1/2, 1/3 and their squares sum to 1."""


def _bearing(case: Case, order: float, load_order: float, depth: float) -> Excitation:
    """Blows at a defect's rate with 1 to 2 % slip; the defect's own line and harmonics in the velocity range."""
    strength = case.severity * case.full_m_s2 * case.effort
    blows = Impacts(
        rate_hz=order * case.speed_hz,
        peak=times((1.0, 0.8, 0.4), strength),
        resonance_hz=case.housing_hz,
        damping=0.05,
        slip=0.012,
        load_hz=load_order * case.speed_hz,
        load_depth=depth,
    )
    harmonics = tuple(case.line(order * k, _HARMONIC / k, (1.0, 0.8, 0.4), (k, 0.5 * k, 0.2 * k)) for k in (1, 2, 3))
    return Excitation(harmonics, (), (blows,))


def bearing_outer(case: Case) -> Excitation:
    """Outer race, which stands: every rolling element strikes the same place in the load zone."""
    return _bearing(case, case.bearing.orders()["outer"], 0.0, 0.0)


def bearing_inner(case: Case) -> Excitation:
    """Inner race: the place turns through the load zone once a revolution, which modulates the blows at shaft speed."""
    return _bearing(case, case.bearing.orders()["inner"], 1.0, 0.9)


def bearing_element(case: Case) -> Excitation:
    """Defect of a rolling element: it strikes both races, and rides through the load zone with the cage."""
    orders = case.bearing.orders()
    return _bearing(case, orders["element"], orders["cage"], 0.8)


def bearing_cage(case: Case) -> Excitation:
    """Cage: a blow each time it comes round."""
    return _bearing(case, case.bearing.orders()["cage"], 0.0, 0.0)


def gear_tooth(case: Case) -> Excitation:
    """Broken tooth: one blow a revolution, and sidebands at shaft speed about the mesh."""
    mesh = float(case.teeth[0])
    pairs = tuple(
        case.line(mesh + side * k, 0.45 / k, (1.0, 0.9, 0.5), (0.7 * k, k, 0.0)) for k in (1, 2, 3) for side in (-1.0, 1.0)
    )
    strength = case.severity * case.full_m_s2 * case.effort
    blow = Impacts(case.speed_hz, times((1.0, 0.9, 0.5), strength), case.housing_hz, 0.05)
    return Excitation(pairs, (), (blow,))


def blade_pass(case: Case) -> Excitation:
    """Blade pass and its harmonic, with sidebands at shaft speed."""
    passing = float(case.blades)
    orders = ((passing, 0.9), (2.0 * passing, 0.35), (passing - 1.0, 0.18), (passing + 1.0, 0.18))
    return Excitation(tuple(case.line(order, share, (1.0, 0.9, 0.6)) for order, share in orders if order > 0.0))


def cavitation(case: Case) -> Excitation:
    """Bubbles that collapse: random, broad, high in frequency; some vane pass with it."""
    noise = case.severity * case.full_m_s2
    vane = case.line(float(case.blades), 1.0, (1.0, 0.9, 0.6))
    return Excitation((vane,), (Noise(500.0, 10_000.0, (noise, noise, 0.8 * noise)),))


FAULTS: dict[str, Callable[[Case], Excitation]] = {
    "unbalance": unbalance,
    "misalignment": misalignment,
    "looseness": looseness,
    "bearing-outer-race": bearing_outer,
    "bearing-inner-race": bearing_inner,
    "bearing-rolling-element": bearing_element,
    "bearing-cage": bearing_cage,
    "gear": gear_tooth,
    "blade-pass": blade_pass,
    "cavitation": cavitation,
}
"""Every fault a scene can name."""
