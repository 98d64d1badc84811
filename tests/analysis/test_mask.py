"""Spectral masks, by their definition."""

import numpy as np
import pytest

from edgemon.analysis.mask import excess, learn_mask
from edgemon.errors import ParameterError
from edgemon.model.spectrum import Spectrum
from edgemon.units import Quantity


def spectrum(*amplitude: float, line_hz: float = 2.0, quantity: Quantity = Quantity.VELOCITY) -> Spectrum:
    return Spectrum(np.array(amplitude, np.float32), line_hz, quantity, 1.5)


def test_mask_is_so_many_times_the_highest_of_a_line_and_its_neighbours() -> None:
    mask = learn_mask([spectrum(9, 1, 1, 4, 1, 0, 0), spectrum(0, 2, 1, 3, 1, 0, 0)], 2.0, 0.5)
    assert mask.amplitude.tolist() == [18.0, 18.0, 8.0, 8.0, 8.0, 2.0, 0.5]
    assert (mask.line_hz, mask.quantity) == (2.0, Quantity.VELOCITY)


def test_excess_is_the_worst_line_but_never_the_offset() -> None:
    mask = learn_mask([spectrum(1, 1, 1, 1, 1)], 2.0, 0.1)
    assert excess(spectrum(99, 1, 1, 3, 2), mask) == (1.5, 6.0)
    assert excess(spectrum(99, 1, 1, 1, 1), mask)[0] < 1.0


def test_a_spectrum_learned_from_never_exceeds_its_mask() -> None:
    rng = np.random.default_rng(0)
    normal = [spectrum(*rng.rayleigh(size=200)) for _ in range(5)]
    mask = learn_mask(normal, 1.0, 1e-6)
    assert all(excess(one, mask)[0] <= 1.0 for one in normal)


def test_what_does_not_fit_together_is_refused() -> None:
    mask = learn_mask([spectrum(1, 1)], 2.0, 0.1)
    with pytest.raises(ParameterError, match="no spectra"):
        learn_mask([], 2.0, 0.1)
    with pytest.raises(ParameterError, match="above zero"):
        learn_mask([spectrum(1, 1)], 2.0, 0.0)
    for other in (spectrum(1, 1, 1), spectrum(1, 1, line_hz=3.0), spectrum(1, 1, quantity=Quantity.ACCELERATION)):
        with pytest.raises(ParameterError, match="beside"):
            excess(other, mask)
    with pytest.raises(ParameterError, match="no line above"):
        excess(spectrum(1), learn_mask([spectrum(1)], 2.0, 0.1))
