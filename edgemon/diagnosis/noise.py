"""Faults without a rhythm, cavitation and poor lubrication, and sensors that do not tell of vibration."""

import numpy as np

from edgemon.analysis.measure import Waveform, measure
from edgemon.diagnosis.look import UNCALIBRATED, Look, soft
from edgemon.model.finding import Evidence, Fault, Finding
from edgemon.model.level import Band
from edgemon.model.quality import Flaw
from edgemon.units import Quantity

HIGH_HZ = 1000.0
"""Above it acceleration is noise of flow, contact and impacts. Source: common practice, no source."""
MOST = 0.9
COUNTS = 30000.0
"""To either side of the mean that a waveform is given in."""
WHOLE = 0.05
"""Of a count, how far from a whole number of steps a converter's values may lie: rounding of stored figures."""
LOUD_M_S2 = 10.0
"""R.m.s. acceleration above 1 kHz from which noise is a fault's as likely as not. Source: common practice (1 g), no source."""


def cavitation(look: Look) -> list[Finding]:
    """Broadband noise makes nearly all of the acceleration, on a machine with blades in a liquid or gas."""
    if look.facts.blades is None or look.speed is None or look.record.quantity is not Quantity.ACCELERATION:
        return []
    found = []
    for channel in look.radial:
        share, loud, flat = _noise(look, channel)
        pass_line = look.order(channel, float(look.facts.blades))
        if pass_line is None or not pass_line.stands_out:
            continue
        sure = soft(share, MOST, 0.03) * soft(flat, 0.4, 0.03) * _level(look, channel, loud)
        if sure > 0.02:
            notes = (
                Evidence(f"{100 * share:.0f} % of the acceleration lies above 1 kHz, {loud:.3g} m/s2 r.m.s., without lines"),
                look.evidence(channel, pass_line, "blade pass"),
            )
            found.append(look.finding(Fault.CAVITATION, sure, channel, notes))
    return sorted(found, key=lambda one: -one.confidence)[:1]


def lubrication(look: Look) -> list[Finding]:
    """High-frequency noise without rhythm at a rolling bearing while the velocity is low; a hint, never a verdict alone."""
    if not look.facts.bearings or look.record.quantity is not Quantity.ACCELERATION:
        return []
    found = []
    for channel in range(len(look.record.channels)):
        if not look.record.channels[channel].calibrated:
            continue
        share, loud, flat = _noise(look, channel)
        quiet = 1.0 - look.severity(channel)
        sure = UNCALIBRATED * soft(share, MOST, 0.03) * soft(flat, 0.4, 0.03) * _level(look, channel, loud) * quiet
        if sure > 0.05:
            text = f"{loud:.3g} m/s2 r.m.s. of noise above 1 kHz, velocity {1e3 * look.overall(channel):.2g} mm/s"
            found.append(look.finding(Fault.LUBRICATION, sure, channel, (Evidence(text),)))
    return sorted(found, key=lambda one: -one.confidence)[:1]


def _level(look: Look, channel: int, loud: float) -> float:
    if not look.record.channels[channel].calibrated:
        return UNCALIBRATED
    return loud**2 / (loud**2 + LOUD_M_S2**2)


def _noise(look: Look, channel: int) -> tuple[float, float, float]:
    """Give the share of noise above 1 kHz in the acceleration, its r.m.s., and how flat it is (0.56 under one Hann window).

    Lines of gears, bars or blades up there are not noise: of 64 neighbours the noise is what their median tells, ln 2 of the
    mean of powers that are exponentially distributed (closed form), and at most their mean.
    """
    high = look.band_rms(channel, HIGH_HZ, 0.5 * look.record.fs_hz, velocity=False)
    whole = look.band_rms(channel, 4.0 * look.record.line_hz, 0.5 * look.record.fs_hz, velocity=False)
    inside = look.frequencies > HIGH_HZ
    power = (look.velocity[channel, inside] * look.frequencies[inside]) ** 2
    if power.size < 256:
        return 0.0, high, 0.0
    rows = power[: power.size // 64 * 64].reshape(-1, 64) + np.finfo(float).tiny
    means = rows.mean(axis=1)
    flat = float(np.median(np.exp(np.log(rows).mean(axis=1)) / means))
    high *= float(np.sqrt(np.minimum(means, np.median(rows, axis=1) / np.log(2.0)).sum() / means.sum()))
    return high / max(whole, 1e-300), high, flat


def sensor(look: Look) -> list[Finding]:
    """Find a channel that is clipped, flat or drifts: no other finding can rest on it."""
    if look.record.quantity is not Quantity.ACCELERATION:
        return []
    found = []
    for channel, flaw, text in flaws(look):
        sure = 0.4 if flaw is Flaw.LOW_FREQUENCY_RISE else 0.9
        found.append(look.finding(Fault.SENSOR, sure, channel, (Evidence(text),), flaw.value))
    return found


def flaws(look: Look) -> list[tuple[int, Flaw, str]]:
    """List what makes a channel unfit: those flaws of the level path that need no knowledge of the sensor's range."""
    found: list[tuple[int, Flaw, str]] = []
    for channel, samples in enumerate(look.record.samples):
        counts, step = to_counts(samples)
        trusted = look.record.channels[channel].calibrated
        wave = Waveform(counts, step if trusted else 1e-9, look.record.fs_hz, Band(10.0, 1000.0), None, None, missing=False)
        verdict = measure([wave])[0][1]
        for flaw, text in zip(verdict.flaws, verdict.remarks, strict=False):
            if flaw in (Flaw.CLIPPED, Flaw.FLAT_LINE, Flaw.MISSING_SAMPLES, Flaw.LOW_FREQUENCY_RISE, Flaw.IMPLAUSIBLE):
                found.append((channel, flaw, text))
    return found


def to_counts(
    samples: np.ndarray[tuple[int], np.dtype[np.float64]],
) -> tuple[np.ndarray[tuple[int], np.dtype[np.int16]], float]:
    """Give a waveform as counts, mean removed, and one count in its unit: the converter's own steps where they show.

    Otherwise counts that fill most of 16 bits. Steps that are made finer than the converter's turn its stretches of one value
    into samples that were lost.
    """
    middle = float(samples.mean())
    reach = float(np.abs(samples - middle).max())
    step = _own_step(samples) or (reach / COUNTS if reach > 0.0 else 1.0)
    if reach > COUNTS * step:
        step = reach / COUNTS
    return np.rint((samples - middle) / step).astype(np.int16), step


def _own_step(samples: np.ndarray[tuple[int], np.dtype[np.float64]]) -> float:
    """Give the step that all differences of a waveform's values are whole multiples of; 0 where there is none."""
    values = np.unique(samples)
    steps = np.diff(values)
    if steps.size == 0:
        return 0.0
    numbers = np.rint(steps / steps.min())
    if float(numbers.sum()) > 2.0 * COUNTS:
        return 0.0
    step = float(values[-1] - values[0]) / float(numbers.sum())  # the smallest alone is rounded
    places = (values - values[0]) / step
    return step if float(np.abs(places - np.rint(places)).max()) < WHOLE else 0.0
