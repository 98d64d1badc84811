"""A record of a machine that stands: nothing that turns can be told of it, but what the sensor picks up by itself."""

import numpy as np

from edgemon.analysis.lines import find_lines
from edgemon.analysis.spectrum import amplitude_spectrum
from edgemon.diagnosis.record import MIN_SAMPLES, Record
from edgemon.model.finding import Conclusion, Diagnosis

EXACT = 0.002
"""Part of a multiple of the supply within which a line counts as exactly there. House choice: grids keep closer."""
BY_CHANCE = 0.02
"""Of the distance of two multiples, how far off a line may lie at most: one that is anywhere is within it once in 25. Beyond
ten times the supply, and in records of few lines to it, nothing is said. Derived."""
MOST = 20
"""Lines looked at, largest first."""


def standing(record: Record, supply_hz: float | None) -> Diagnosis:
    """Say of a machine that stands that no cause can be told, and whether its sensor hears the supply.

    Parameters
    ----------
    record : Record
        One or more channels.
    supply_hz : float, optional
        Supply frequency of the motor; None where it is not known: then no line is one of it.

    Returns
    -------
    Diagnosis
        `cannot-tell`, with the reason among the remarks.

    Notes
    -----
    Lines at whole multiples of the supply that stay when the machine stands are interference, or come from a neighbour.
    Source: common practice (measure with the machine off), no source.
    """
    remarks = ["the machine stood when this was recorded: only what runs can be diagnosed"]
    if supply_hz is not None and record.lines is None and record.samples.shape[1] >= MIN_SAMPLES:
        for number, channel in enumerate(record.channels):
            heard = _multiples(record, number, supply_hz)
            if heard:
                at = ", ".join(f"{one:g}" for one in heard)
                remarks.append(
                    f"{channel.name}: lines at exactly {at} Hz while the machine stands: the sensor picks up the supply, or a "
                    "neighbour hums"
                )
    return Diagnosis(Conclusion.CANNOT_TELL, (), remarks=tuple(remarks))


def _multiples(record: Record, channel: int, supply_hz: float) -> list[float]:
    """List the multiples of the supply at which a channel has lines, lowest first."""
    spectrum = amplitude_spectrum(np.asarray(record.samples[channel]), record.fs_hz, record.quantity)
    found = set()
    for line in find_lines(spectrum, most=MOST):
        times = round(line.hz / supply_hz)
        slack = max(EXACT * times * supply_hz, 0.25 * spectrum.line_hz)
        if times >= 1 and slack <= BY_CHANCE * supply_hz * (1.0 + 1e-9) and abs(line.hz - times * supply_hz) <= slack:
            found.add(times * supply_hz)
    return sorted(found)
