"""A wireless sensor: range, noise, converter, clock, battery, radio and the warmth of the housing."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from edgemon.units import to_si
from simulators.signals import Waveform
from simulators.wear import Course, lagging

FULL_COUNTS = 32767

SECONDS_PER_YEAR = 8766 * 3600.0


@dataclass(frozen=True, slots=True)
class Sensor:
    """What a sensor is made of."""

    range_m_s2: float = 16 * to_si(1.0, "g")
    """Largest acceleration it can tell, one-sided; the converter's full scale."""
    noise_density: float = 1e-3
    """White noise, m/s2 per root hertz; 1e-3 is about 100 ug per root hertz."""
    clock_offset_s: float = 0.0
    clock_drift: float = 0.0
    """Seconds that its clock gains in a second."""

    @property
    def scale(self) -> float:
        """One count, m/s2."""
        return self.range_m_s2 / FULL_COUNTS

    def sample(self, wave: Waveform, fs_hz: float, rng: np.random.Generator) -> NDArray[np.int16]:
        """Turn acceleration into counts: add noise up to half the sample rate, round, clip at the rails.

        Parameters
        ----------
        wave : numpy.ndarray
            Acceleration, m/s2, shape (axes, n).

        Returns
        -------
        numpy.ndarray
            Counts of `scale` each, int16, same shape; never beyond +-32767.
        """
        noise = self.noise_density * math.sqrt(fs_hz / 2.0)
        seen = wave + noise * rng.standard_normal(wave.shape, dtype=np.float32) if noise > 0.0 else wave
        counts = np.rint(seen / np.float32(self.scale))
        return np.clip(counts, -FULL_COUNTS, FULL_COUNTS).astype(np.int16)

    def clock(self, true_s: float, since_s: float) -> float:
        """Give what its clock shows at a true time, `since_s` after it was last set."""
        return true_s + self.clock_offset_s + self.clock_drift * since_s


@dataclass(frozen=True, slots=True)
class Battery:
    """A primary cell, drained by sleeping and by each capture."""

    capacity_ah: float = 2.4
    sleep_a: float = 5e-6
    capture_c: float = 15e-3 * 2.0 + 30e-3 * 1.5
    """Charge of one capture and its transmission, coulombs."""
    self_discharge_per_year: float = 0.0

    def mean_current(self, captures_per_day: float) -> float:
        """Mean current, A: sleep, and the charge of the captures spread over the day."""
        return self.sleep_a + self.capture_c * captures_per_day / 86_400.0

    def life_years(self, captures_per_day: float) -> float:
        """Years until it is empty."""
        hours_per_year = SECONDS_PER_YEAR / 3600.0
        drain = self.mean_current(captures_per_day) * hours_per_year + self.capacity_ah * self.self_discharge_per_year
        return self.capacity_ah / drain

    def left_pct(self, start_pct: float, age_s: float, captures_per_day: float) -> float:
        """Charge left after `age_s`, %EL; never rises, never below 0."""
        return max(0.0, start_pct - 100.0 * age_s / (self.life_years(captures_per_day) * SECONDS_PER_YEAR))


@dataclass(frozen=True, slots=True)
class Radio:
    """A radio link: mean signal strength, its fading and what it costs."""

    strength: Course = Course(((0.0, -62.0),))
    """Mean received strength over time, dBm."""
    shadow_db: float = 2.0
    """Standard deviation of what moves through the hall."""
    sensitivity_dbm: float = -94.0
    """Strength at which half of all transmissions are lost; 1 MHz, noise figure 8 dB, 12 dB needed. Source: recomputed."""
    slope_db: float = 1.5

    def rssi(self, at_s: float, rng: np.random.Generator) -> float:
        """Strength of one transmission, dBm."""
        return self.strength.at(at_s) + self.shadow_db * float(np.clip(rng.standard_normal(), -2.5, 2.5))

    def loss(self, rssi_dbm: float) -> float:
        """Chance that a transmission of this strength is never heard, 0 to 1."""
        margin = (rssi_dbm - self.sensitivity_dbm) / self.slope_db
        return 1.0 / (1.0 + math.exp(min(60.0, max(-60.0, margin))))


def housing_temperature(load: Course, at_s: float, ambient_c: float, rise_c: float, time_constant_s: float) -> float:
    """Temperature of the housing, Cel: ambient, and a rise that follows the machine's load (0 to 1) with a lag."""
    return ambient_c + rise_c * lagging(load, at_s, time_constant_s)
