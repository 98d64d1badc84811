"""An observation of a finding in one line, with its figures: for terminals, the board and the report alike."""

from edgemon.model.finding import Evidence
from edgemon.units import UNITS, from_si, quantity_of, to_si

_FINER = {"m/s": "mm/s", "m": "um"}
"""Units people read velocities and displacements in."""
_BARE = ("", "1", "dB")
"""Units whose figure the sentence itself tells."""


def observed(evidence: Evidence, units: dict[str, str] | None = None) -> str:
    """Write an observation: its sentence, and in brackets the figures that the sentence does not hold already.

    Parameters
    ----------
    evidence : Evidence
        Amplitudes of lines are r.m.s. values.
    units : dict, optional
        How units are spelt where not by their own names: `{"m/s2": "m/s²"}`.
    """
    figures = []
    is_told = " Hz" in evidence.text
    if evidence.frequency_hz is not None and not is_told:
        figures.append(f"{evidence.frequency_hz:.4g} Hz")
    if evidence.order is not None and not is_told:
        figures.append(f"{evidence.order:.3g} x running speed")
    if evidence.amplitude is not None and evidence.unit not in _BARE:
        figures.append(_amplitude(evidence.amplitude, evidence.unit, units or {}))
    if evidence.above_surroundings is not None:
        figures.append(f"{evidence.above_surroundings:.3g} times its surroundings")
    if evidence.harmonics:
        figures.append(f"harmonics {', '.join(str(harmonic) for harmonic in evidence.harmonics)}")
    if evidence.sidebands:
        figures.append(f"sidebands {', '.join(evidence.sidebands)}")
    figures += [evidence.direction] if evidence.direction else []
    return f"{evidence.text} ({'; '.join(figures)})" if figures else evidence.text


def _amplitude(value: float, unit: str, units: dict[str, str]) -> str:
    finer = _FINER.get(unit, unit)
    if unit in UNITS and quantity_of(unit) is quantity_of(finer):
        value = from_si(to_si(value, unit), finer)
    return f"{value:.3g} {units.get(finer, finer)} r.m.s."
