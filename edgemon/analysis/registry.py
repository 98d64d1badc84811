"""Which function computes which level; a new level is one line here and one function in its family's file."""

from collections.abc import Callable

from edgemon.analysis.block import Figures
from edgemon.analysis.envelope import envelope_peak, envelope_rms
from edgemon.analysis.integrate import displacement_pp, velocity_peak, velocity_rms
from edgemon.analysis.overall import acceleration_peak, acceleration_rms, crest_factor, kurtosis

WHOLE_BAND: dict[str, Callable[[Figures], float]] = {
    "acceleration_rms": acceleration_rms,
    "acceleration_peak": acceleration_peak,
    "crest_factor": crest_factor,
    "kurtosis": kurtosis,
}
"""Levels of the whole measured band."""

VELOCITY_BAND: dict[str, Callable[[Figures], float]] = {
    "velocity_rms": velocity_rms,
    "velocity_peak": velocity_peak,
    "displacement_pp": displacement_pp,
}
"""Levels of the point's velocity band."""

ENVELOPE_BAND: dict[str, Callable[[Figures], float]] = {
    "envelope_rms": envelope_rms,
    "envelope_peak": envelope_peak,
}
"""Levels of the demodulated band."""

LEVELS: dict[str, Callable[[Figures], float]] = VELOCITY_BAND | WHOLE_BAND | ENVELOPE_BAND
"""Level name to function: the figures of one capture to one number, in counts (and seconds)."""
