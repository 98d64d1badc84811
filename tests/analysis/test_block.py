"""What rows of a block share, against direct sums and closed forms in float64."""

import math

import numpy as np
import pytest

from edgemon.analysis.block import crest, hann_amplitude, trough


@pytest.mark.parametrize("n", [16, 63, 64])
def test_hann_amplitudes_against_direct_sums(n: int) -> None:
    """The defining sum of every line; those at 0 Hz and at half the rate have no twin at negative frequency."""
    rng = np.random.default_rng(n)
    rows = (rng.normal(size=(3, n)) + 2.0 * (-1.0) ** np.arange(n) + np.linspace(-3.0, 3.0, n)).astype(np.float32)
    k, i = np.arange(n // 2 + 1), np.arange(n)
    shape = 0.5 - 0.5 * np.cos(2.0 * np.pi * i / n)
    lines = (rows.astype(np.float64) * shape) @ np.exp(-2j * np.pi * np.outer(i, k) / n)
    twins = 1.0 + ((k > 0) & (2 * k < n))
    expected = np.sqrt(twins * np.abs(lines) ** 2) / shape.sum()
    np.testing.assert_allclose(hann_amplitude(rows), expected, rtol=1e-5, atol=1e-6)


@pytest.mark.parametrize("place", np.linspace(-0.5, 0.5, 11))
def test_crest_between_samples(place: float) -> None:
    """At twelve samples in a period the highest sample reads up to 3.4 % low, the parabola 0.2 % (1 - cos 15 degrees)."""
    wave = np.cos(2.0 * np.pi * (np.arange(-6, 7) - place) / 12.0).astype(np.float32)[None, :]
    assert crest(wave)[0] == pytest.approx(1.0, abs=0.0022)
    assert trough(-wave)[0] == pytest.approx(-1.0, abs=0.0022)
    assert wave.max() >= math.cos(math.pi / 12.0) - 1e-6


def test_a_parabola_is_met_exactly_and_an_end_is_taken_as_it_is() -> None:
    t = np.arange(9.0)
    rows = np.stack([5.0 - (t - 3.3) ** 2, t, -t]).astype(np.float32)
    assert crest(rows) == pytest.approx([5.0, 8.0, 0.0], abs=1e-5)
    assert trough(-rows) == pytest.approx([-5.0, -8.0, 0.0], abs=1e-5)
