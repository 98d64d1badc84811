"""What is handed to the diagnosis: a record of one or more channels, and the facts of the machine."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from edgemon.errors import ParameterError
from edgemon.model.machine import Bearing, PlanetarySet
from edgemon.model.speed import SpeedOrigin
from edgemon.units import Quantity

MIN_SAMPLES = 512
"""Shorter records resolve nothing worth a finding."""


@dataclass(frozen=True, slots=True)
class Channel:
    """One channel of a record."""

    name: str
    direction: str = ""
    """`horizontal`, `vertical`, `axial` or empty where it is not known."""
    calibrated: bool = True
    """The size of its numbers can be trusted; otherwise only shapes and ratios count."""
    location: str = ""
    """Which bearing it sits at, for people."""
    part: str = ""
    """`driver`, `driven` or empty: on which side of the coupling it sits."""
    end: str = ""
    """`drive` (beside the coupling), `non-drive` or empty."""


@dataclass(frozen=True, slots=True, eq=False)
class Record:
    """Channels recorded at the same time."""

    samples: NDArray[np.float64]
    """Shape (channels, n), SI of `quantity`; any unit where a channel is not calibrated."""
    fs_hz: float
    channels: tuple[Channel, ...]
    quantity: Quantity = Quantity.ACCELERATION
    lines: NDArray[np.float64] | None = None
    """R.m.s. of each line of `quantity` from 0 Hz to half of `fs_hz`, SI, shape (channels, lines), with the noise bandwidth of
    a Hann window: of sensors that send spectra. Then there are no samples, and what needs a waveform cannot be told."""

    def __post_init__(self) -> None:
        """Refuse what cannot be a record."""
        if self.samples.ndim != 2 or self.samples.shape[0] != len(self.channels) or not self.channels:
            raise ParameterError(
                f"samples of shape {self.samples.shape} for {len(self.channels)} channels", "samples", "(channels, n)"
            )
        if not (math.isfinite(self.fs_hz) and self.fs_hz > 0.0):
            raise ParameterError(f"sample rate {self.fs_hz} Hz", "fs_hz", "above zero")
        if not np.isfinite(self.samples).all():
            raise ParameterError("samples that are not numbers", "samples", "finite")

    @property
    def line_hz(self) -> float:
        """Distance of two lines of a spectrum of the whole record."""
        return self.fs_hz / (int(self.samples.shape[1]) if self.lines is None else 2 * (int(self.lines.shape[1]) - 1))

    @property
    def n_lines(self) -> int:
        """Number of lines of a spectrum of the whole record."""
        return int(self.samples.shape[1]) // 2 + 1 if self.lines is None else int(self.lines.shape[1])


@dataclass(frozen=True, slots=True)
class Gear:
    """A pair of gears: teeth of the one on the faster-known shaft and of the one it drives."""

    teeth: int
    driven_teeth: int
    order: float = 1.0
    """Speed of the first gear's shaft in multiples of the record's shaft speed."""


@dataclass(frozen=True, slots=True)
class MachineFacts:
    """What is known of the machine; nothing that states its condition."""

    speed_hz: float | None = None
    """Shaft speed, nominal or measured."""
    bearings: tuple[tuple[str, Bearing], ...] = ()
    """Name (`bearing`, `fan end`) and geometry of each bearing that may be heard."""
    gears: tuple[Gear, ...] = ()
    blades: int | None = None
    belt_hz: float | None = None
    """How often a place on the belt comes round."""
    supply_hz: float | None = None
    """Supply frequency of the motor."""
    poles: int | None = None
    sleeve_bearings: bool = False
    """Plain bearings: only there can oil whirl."""
    speed_origin: SpeedOrigin = SpeedOrigin.GIVEN
    """Where that comes from."""
    rotor_bars: int | None = None
    """Bars of the motor's cage."""
    planetary: tuple[PlanetarySet, ...] = ()
    change_m_s: float | None = None
    """Change of velocity from its baseline that is significant: a quarter of zone boundary B/C; None without zones."""

    @property
    def is_geared(self) -> bool:
        """Say whether any gears are known."""
        return bool(self.gears or self.planetary)
