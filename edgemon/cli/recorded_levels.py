"""Levels of a recording and the lines that stand out of its spectra, as `edgemon diagnose` tells them; units named."""

from typing import Any

from edgemon.analysis.lines import find_lines
from edgemon.analysis.measure import Waveform, measure
from edgemon.analysis.spectrum import amplitude_spectrum
from edgemon.analysis.waveform import levels_of_velocity
from edgemon.cli.recordings import VIBRATION
from edgemon.diagnosis.noise import to_counts
from edgemon.diagnosis.record import Record
from edgemon.errors import ParameterError
from edgemon.model.level import LEVEL_KINDS, USUAL_UNIT, Band, Level
from edgemon.settings.classes import BAND, LOW_SPEED_BAND, LOW_SPEED_RPM
from edgemon.units import SI_UNIT, Quantity, from_si

NO_UNIT = "as recorded"
"""Unit of a level whose channel is not calibrated."""
PEAKS = 10
"""Lines listed for each channel."""
FEWEST = 16
"""Samples; fewer have no lines worth a list."""
SIZED = ("acceleration_rms", "acceleration_peak", "envelope_rms", "envelope_peak", "crest_factor", "kurtosis")
"""Levels that mean something without calibration, as relative figures; velocity and displacement would pretend to be known."""
UNCALIBRATED = "the file does not say what unit its samples have (give it with --unit)"
NO_ACCELERATION = "made of acceleration, and velocity was recorded"

Row = dict[str, dict[str, Any]]


def levels(record: Record, speed_hz: float | None) -> tuple[dict[str, Row], dict[str, dict[str, str]]]:
    """Compute the levels of every channel.

    Parameters
    ----------
    record : Record
        Acceleration or velocity.
    speed_hz : float, optional
        Shaft speed: below 600 r/min velocity counts from 2 Hz on, as on the gateway (ISO 20816-3:2022).

    Returns
    -------
    (levels, left_out)
        By channel: name to value, unit, band and a remark where there is one; and name to why it is not there.
    """
    slow = speed_hz is not None and 60.0 * speed_hz < LOW_SPEED_RPM
    band = LOW_SPEED_BAND if slow else BAND
    found: dict[str, Row] = {}
    left_out: dict[str, dict[str, str]] = {}
    for index, channel in enumerate(record.channels):
        made, missing = _of_velocity(record, index, band) if _is_velocity(record) else _of_acceleration(record, index, band)
        if not channel.calibrated:
            missing |= {level.name: UNCALIBRATED for level in made if level.name not in SIZED}
            made = [level for level in made if level.name in SIZED]
        found[channel.name] = {level.name: _row(level, channel.calibrated) for level in made}
        left_out[channel.name] = missing
    return found, left_out


def _is_velocity(record: Record) -> bool:
    return record.quantity is Quantity.VELOCITY


def _of_acceleration(record: Record, index: int, band: Band) -> tuple[list[Level], dict[str, str]]:
    counts, step = to_counts(record.samples[index])
    made, verdict = measure([Waveform(counts, step, record.fs_hz, band, None, None, missing=False)])[0]
    return list(made), dict(verdict.left_out)


def _of_velocity(record: Record, index: int, band: Band) -> tuple[list[Level], dict[str, str]]:
    missing = dict.fromkeys(SIZED, NO_ACCELERATION)
    try:
        return list(levels_of_velocity(record.samples[index], record.fs_hz, band)), missing
    except ParameterError as error:
        return [], missing | dict.fromkeys(("velocity_rms", "velocity_peak", "displacement_pp"), error.hint)


def _row(level: Level, calibrated: bool) -> dict[str, Any]:
    if calibrated:
        unit = LEVEL_KINDS[level.name].unit
        row: dict[str, Any] = {"value": short(from_si(level.value, unit)), "unit": unit}
    else:
        unit = NO_UNIT if level.quantity in VIBRATION else SI_UNIT[level.quantity]
        row = {"value": short(level.value), "unit": unit}
    assert level.band is not None  # as of every level that is computed
    row["band_hz"] = [short(level.band.low_hz), short(level.band.high_hz)]
    if level.remark:
        row["remark"] = level.remark
    return row


def peaks(record: Record, speed_hz: float | None) -> dict[str, list[dict[str, Any]]]:
    """List the largest lines that stand out of every channel's spectrum, by frequency, as of the sine between the lines.

    Each has frequency, order where the speed is known, r.m.s. with its unit, and times the median of the lines around it.
    """
    found: dict[str, list[dict[str, Any]]] = {}
    for channel, samples in zip(record.channels, record.samples, strict=True):
        if samples.size < FEWEST:
            found[channel.name] = []
            continue
        unit = USUAL_UNIT[record.quantity] if channel.calibrated else NO_UNIT
        size = from_si(1.0, unit) if channel.calibrated else 1.0
        lines = find_lines(amplitude_spectrum(samples, record.fs_hz, record.quantity), most=PEAKS)
        found[channel.name] = [
            {
                "frequency_hz": short(line.hz),
                **({} if speed_hz is None else {"order": short(line.hz / speed_hz)}),
                "rms": short(line.amplitude * size),
                "unit": unit,
                "above_surroundings": short(line.above),
            }
            for line in sorted(lines, key=lambda one: one.hz)
        ]
    return found


def short(value: float | None) -> Any:
    """Give a number of five digits for a document; None as it is."""
    return None if value is None else float(f"{value:.5g}")
