"""Spectral masks: learnt from the stored captures that a baseline of their broadband level rests on; pure."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from edgemon.analysis.masks import grid_of, learn, lines_of
from edgemon.analysis.received import mask_lines
from edgemon.engine.received import received
from edgemon.errors import ParameterError
from edgemon.model.baseline import Baseline, NoBaseline, Refusal
from edgemon.model.derived import MaskSpec
from edgemon.model.machine import Point
from edgemon.model.reading import Capture
from edgemon.model.spectrum import Spectrum
from edgemon.trend.baseline import LEAST
from edgemon.trend.robust import robust_spread
from edgemon.units import Quantity

DIGITS = 5
"""Significant digits kept of a mask's limits: a thousand lines are then some ten kilobytes of journal."""


def spectrum_for(point: Point, spec: MaskSpec, capture: Capture, rpm_hz: float | None = None) -> Spectrum | str:
    """Give a capture's spectrum in the lines of a mask, or say why there is none.

    Parameters
    ----------
    rpm_hz : float, optional
        Shaft speed kept beside the measurement, Hz; where the capture says none.
    """
    counts = capture.axes.get(point.axis)
    if counts is None or capture.missing_parts:
        return "the capture is not whole"
    heard = None if rpm_hz is None else rpm_hz * 60.0
    rpm = heard if capture.rpm is None else capture.rpm
    if capture.form is not None:
        return grid_of(mask_lines(received(capture, capture.form, point, rpm), spec), spec, 1.0, rpm)
    return lines_of(counts, capture.fs_hz, point.band, point.envelope_band, spec, capture.si_per_count, rpm)


def with_mask(spec: MaskSpec, of_level: Baseline, spectra: Sequence[Spectrum], least: int = LEAST) -> Baseline | Refusal:
    """Make the proposal of a mask of the baseline of its broadband level and the spectra of the same captures.

    Notes
    -----
    Its mean, median and spread are those of the worst ratio of each capture to the mask that the others make: how far one
    that is known to be well reaches.
    """
    if len(spectra) < least:
        return Refusal(NoBaseline.TOO_FEW, f"{len(spectra)} of at least {least} stored captures with these lines")
    try:
        mask, ratios = learn(spectra, spec.floor)
    except ParameterError as error:
        return Refusal(NoBaseline.NOT_STEADY, str(error))
    limits = tuple(float(f"{limit:.{DIGITS}g}") for limit in mask.amplitude.tolist())
    return replace(
        of_level,
        level=spec.name,
        quantity=Quantity.RATIO,
        count=len(spectra),
        mean=float(np.mean(ratios)),
        median=float(np.median(ratios)),
        spread=robust_spread(ratios),
        mask=limits,
        grid=spec.grid,
    )


def in_force(spec: MaskSpec, approved: Baseline | None, tolerance: float) -> MaskSpec:
    """Give a mask as an approved baseline leaves it; one learnt for other lines does not fit and leaves it empty."""
    if not spec.is_learnt or approved is None or approved.grid != spec.grid or not approved.mask:
        return spec
    return replace(spec, learnt=approved.mask, rpm=approved.rpm, rpm_tolerance=tolerance)
