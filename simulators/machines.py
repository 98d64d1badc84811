"""Healthy machines: what shakes a bearing housing at a given speed, by the parts that turn in it."""

import math
from dataclasses import dataclass

from simulators.signals import Excitation, Line, Noise, Vector, times

LINE_HZ = 50.0
"""Mains frequency at Saltmarsh."""

FLOOR = Excitation((), (Noise(30.0, 300.0, (0.06, 0.06, 0.06)),))
"""What the floor of a hall brings from the machines around, also to one that stands: about 0.1 mm/s."""

STANDING_RPM = 1.0
"""Below this nothing turns."""


@dataclass(frozen=True, slots=True)
class Belt:
    """A belt drive: sheave diameters and belt length, in one unit."""

    driver: float
    driven: float
    length: float

    def rate_hz(self, speed_hz: float) -> float:
        """Rate at which a place on the belt comes round, Hz: pi D f / L. Source: kinematics, recomputed."""
        return math.pi * self.driver * speed_hz / self.length


@dataclass(frozen=True, slots=True)
class Kind:
    """What turns in a kind of machine; a share is the part of the overall velocity that a source makes (root of squares)."""

    orders: tuple[tuple[float, float], ...]
    """Order of running speed and share."""
    blades: int = 0
    blade_share: float = 0.0
    teeth: tuple[int, int] | None = None
    """Teeth of the gear on the fast shaft and of the one it drives."""
    mesh_share: float = 0.0
    belt: Belt | None = None
    belt_share: float = 0.0
    mains_share: float = 0.0
    """Twice the mains frequency: pull of the magnetic field."""
    flow: float = 0.6
    """Broadband flow noise, m/s2 r.m.s. over 100 Hz to 10 kHz."""
    housing_hz: float = 1900.0
    """Resonance of the bearing housing that noise and blows excite."""
    directions: Vector = (1.0, 0.75, 0.4)
    """Radial vertical and axial relative to radial horizontal."""


KINDS: dict[str, Kind] = {
    "vertical-pump": Kind(
        ((1, 0.85), (2, 0.25), (3, 0.1)), blades=5, blade_share=0.35, mains_share=0.1, directions=(1, 0.85, 0.3)
    ),
    "pump": Kind(((1, 0.75), (2, 0.3), (3, 0.12)), blades=6, blade_share=0.4, mains_share=0.15),
    "high-pressure-pump": Kind(((1, 0.7), (2, 0.35), (3, 0.15)), blades=7, blade_share=0.45, mains_share=0.15, flow=0.8),
    "blower": Kind(((1, 0.7), (2, 0.3), (4, 0.15)), blades=3, blade_share=0.5, flow=1.0),
    "geared-fan": Kind(((1, 0.85), (2, 0.25)), blades=0, teeth=(23, 67), mesh_share=0.25, mains_share=0.1),
    "gear-motor": Kind(((1, 0.7), (2, 0.3)), teeth=(17, 68), mesh_share=0.4, mains_share=0.2),
    "screw-compressor": Kind(((1, 0.6), (2, 0.25)), blades=4, blade_share=0.6, flow=1.5),
    "belt-fan": Kind(((1, 0.8), (2, 0.25)), blades=0, belt=Belt(160, 400, 2500), belt_share=0.3, mains_share=0.15),
    "screen-drive": Kind(((1, 0.7), (2, 0.35), (3, 0.2)), teeth=(19, 76), mesh_share=0.3),
}
"""The kinds of machine at Saltmarsh. Shares are invented for the demo; the frequencies follow from the parts."""


@dataclass(frozen=True, slots=True)
class Machine:
    """One machine: its kind, nominal speed and how strongly it shakes when healthy."""

    kind: Kind
    rpm: float
    velocity_mm_s: float
    """R.m.s. velocity of all its lines together, radial horizontal, at nominal speed."""

    def excitation(self, speed_rpm: float) -> Excitation:
        """Give what shakes the housing at a speed, r/min; only what the floor brings while it stands.

        Notes
        -----
        Forces of turning parts grow with the square of speed, and so does the acceleration of a housing that its mass
        holds; flow noise likewise. The magnetic pull has the mains' frequency at any speed. Source: common practice.
        """
        if speed_rpm < STANDING_RPM:
            return FLOOR
        effort = (speed_rpm / self.rpm) ** 2
        now, nominal = self._sources(speed_rpm / 60.0), self._sources(self.rpm / 60.0)
        whole = math.sqrt(sum(share**2 for _, share in nominal) + self.kind.mains_share**2)
        lines = [
            self._line(number, hz, nominal_hz, share / whole, effort)
            for number, ((hz, _), (nominal_hz, share)) in enumerate(zip(now, nominal, strict=True))
        ]
        if self.kind.mains_share:
            pull_hz = 2.0 * LINE_HZ
            lines.append(self._line(len(lines), pull_hz, pull_hz, self.kind.mains_share / whole, 1.0))
        return FLOOR + Excitation(tuple(lines), self._noises(effort))

    def _line(self, number: int, hz: float, nominal_hz: float, share: float, effort: float) -> Line:
        """Give the line of one source, whose acceleration is `effort` times that at nominal speed."""
        peak = math.sqrt(2.0) * share * self.velocity_mm_s * 1e-3 * 2.0 * math.pi * nominal_hz * effort
        return Line(hz, times(self.kind.directions, peak), _phases(number))

    def _sources(self, speed_hz: float) -> list[tuple[float, float]]:
        """List the frequency of each source that turns, with its share."""
        kind = self.kind
        found = [(order * speed_hz, share) for order, share in kind.orders]
        if kind.blades:
            found.append((kind.blades * speed_hz, kind.blade_share))
        if kind.teeth is not None:
            found += mesh_lines(kind.teeth, speed_hz, kind.mesh_share)
        if kind.belt is not None:
            rate = kind.belt.rate_hz(speed_hz)
            found += [(2.0 * rate, kind.belt_share), (3.0 * rate, kind.belt_share / 2.0)]
            found.append((speed_hz * kind.belt.driver / kind.belt.driven, kind.belt_share / 2.0))
        return found

    def _noises(self, effort: float) -> tuple[Noise, ...]:
        """Flow noise, and the housing resonance that it rings."""
        flow, centre = self.kind.flow * effort, self.kind.housing_hz
        return (
            Noise(100.0, 10_000.0, (flow, flow, 0.7 * flow)),
            Noise(0.9 * centre, 1.1 * centre, (0.5 * flow, 0.5 * flow, 0.3 * flow), damping=0.04),
        )


def mesh_lines(teeth: tuple[int, int], speed_hz: float, share: float, sideband: float = 0.15) -> list[tuple[float, float]]:
    """Tooth mesh with one pair of sidebands at the speed of each gear: frequency and share.

    Notes
    -----
    Mesh = teeth times shaft speed, the same from either gear; eccentricity of a gear modulates it at that gear's speed.
    Source: recomputed.
    """
    mesh = teeth[0] * speed_hz
    driven_hz = mesh / teeth[1]
    found = [(mesh, share)]
    for gear_hz in (speed_hz, driven_hz):
        found += [(mesh - gear_hz, share * sideband), (mesh + gear_hz, share * sideband)]
    return found


def _phases(number: int) -> Vector:
    """Spread the phases of the lines; radial directions 90 degrees apart, as for a force that turns."""
    start = 2.4 * number
    return (start, start - math.pi / 2.0, start + 0.9)
