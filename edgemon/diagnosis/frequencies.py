"""Frequencies at which the parts of a machine make themselves heard, in orders of shaft speed or in Hz; pure kinematics."""

import math
from dataclasses import dataclass

from edgemon.errors import ParameterError
from edgemon.model.machine import Bearing


@dataclass(frozen=True, slots=True)
class BearingOrders:
    """Repetition of a bearing's parts in orders of the speed of its turning ring."""

    outer: float
    """Ball pass frequency, outer race (BPFO)."""
    inner: float
    """Ball pass frequency, inner race (BPFI)."""
    element: float
    """Defect of a rolling element, which strikes both races: twice the ball spin frequency (2 BSF)."""
    cage: float
    """Fundamental train frequency (FTF): the cage against the standing ring."""
    outer_turns: bool = False
    """The outer race passes the load once a turn and the inner one lies in it; else the other way round."""


def bearing_orders(bearing: Bearing) -> BearingOrders:
    """Give the orders of a bearing of which one ring turns and the other stands, without slip.

    Parameters
    ----------
    bearing : Bearing
        Geometry, SI.

    Returns
    -------
    BearingOrders
        BPFO + BPFI = n holds exactly; n FTF = BPFO, or BPFI where the outer ring turns.

    Raises
    ------
    ParameterError
        Fewer than one element, element as large as the pitch, contact angle outside 0 to 90 degrees.

    Notes
    -----
    Source: M. P. Norton, D. G. Karczub, Fundamentals of Noise and Vibration Analysis for Engineers, 2nd ed. (2003),
    equations 8.5 to 8.14.
    """
    n, ball, pitch, angle = (
        bearing.rolling_elements,
        bearing.ball_diameter_m,
        bearing.pitch_diameter_m,
        bearing.contact_angle_rad,
    )
    if n < 1:
        raise ParameterError(f"{n} rolling elements", "rolling_elements", "1 or more")
    if not 0.0 < ball < pitch:
        raise ParameterError(f"ball {ball:g} m on pitch {pitch:g} m", "ball_diameter_m", "above 0, below the pitch diameter")
    if not 0.0 <= angle < math.pi / 2.0:
        raise ParameterError(f"contact angle {math.degrees(angle):g} degrees", "contact_angle_rad", "0 to below 90 degrees")
    ratio = ball / pitch * math.cos(angle)
    return BearingOrders(
        outer=n / 2.0 * (1.0 - ratio),
        inner=n / 2.0 * (1.0 + ratio),
        element=pitch / ball * (1.0 - ratio**2),
        cage=(1.0 + ratio if bearing.outer_turns else 1.0 - ratio) / 2.0,
        outer_turns=bearing.outer_turns,
    )


@dataclass(frozen=True, slots=True)
class GearRates:
    """Frequencies of a pair of gears, Hz."""

    mesh_hz: float
    driven_hz: float
    """Speed of the driven shaft."""
    hunting_hz: float
    """How often the same two teeth meet."""
    assembly_hz: float
    """Assembly phase: mesh over the common factor of the teeth."""


def gear_rates(teeth: int, driven_teeth: int, speed_hz: float) -> GearRates:
    """Give the frequencies of a gear pair from its teeth and the speed of the first.

    Raises
    ------
    ParameterError
        A gear without teeth.

    Notes
    -----
    Mesh = teeth times speed, the same from either gear; hunting tooth = mesh over the least common multiple.
    Source: M. P. Norton, D. G. Karczub, as above; recomputed.
    """
    if teeth < 1 or driven_teeth < 1:
        raise ParameterError(f"gears of {teeth} and {driven_teeth} teeth", "teeth", "1 or more each")
    mesh = teeth * speed_hz
    return GearRates(mesh, mesh / driven_teeth, mesh / math.lcm(teeth, driven_teeth), mesh / math.gcd(teeth, driven_teeth))


def belt_rate(sheave: float, length: float, speed_hz: float) -> float:
    """Give how often a place on a belt comes round, Hz; sheave diameter and belt length in one unit. Source: kinematics."""
    if not (sheave > 0.0 and length > math.pi * sheave):
        raise ParameterError(f"belt of {length:g} on a sheave of {sheave:g}", "length", "longer than once round the sheave")
    return math.pi * sheave * speed_hz / length


@dataclass(frozen=True, slots=True)
class MotorRates:
    """Frequencies of an induction motor, Hz."""

    synchronous_hz: float
    slip: float
    """Share of synchronous speed."""
    pole_pass_hz: float
    """Number of poles times slip frequency = 2 slip times supply frequency."""
    twice_supply_hz: float


def motor_rates(supply_hz: float, poles: int, speed_hz: float) -> MotorRates:
    """Give the frequencies of an induction motor of an even number of poles.

    Raises
    ------
    ParameterError
        Poles not even, or a speed above synchronous.

    Notes
    -----
    Source: W. R. Finley, M. M. Hodowanec, W. G. Holter, IEEE Trans. Ind. Appl. 36 (2000) 1447-1459 (from memory).
    """
    if poles < 2 or poles % 2:
        raise ParameterError(f"{poles} poles", "poles", "an even number, 2 or more")
    synchronous = 2.0 * supply_hz / poles
    slip = (synchronous - speed_hz) / synchronous
    if slip < 0.0:
        raise ParameterError(f"speed {speed_hz:g} Hz", "speed_hz", f"at most the synchronous {synchronous:g} Hz")
    return MotorRates(synchronous, slip, 2.0 * slip * supply_hz, 2.0 * supply_hz)
