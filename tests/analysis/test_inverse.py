"""Waveforms out of lines, against direct sums in float64, of few captures and of many; crests against closed forms."""

import math

import numpy as np
import pytest
from numpy.typing import NDArray

from edgemon.analysis.block import Block
from edgemon.analysis.inverse import crests, troughs, waveforms
from edgemon.analysis.prepare import plan_for
from edgemon.analysis.weighting import band_gain
from edgemon.model.level import Band

USUAL = Band(10.0, 1000.0)


@pytest.mark.parametrize(("fs_hz", "alike"), [(25600.0, True), (6400.0, False)])
@pytest.mark.parametrize("rows", [1, 4])
def test_waveforms_against_direct_sums(fs_hz: float, alike: bool, rows: int) -> None:
    """Each line's own wave, weighted and summed in float64 at a few instants; no transform."""
    n, rng = 4096, np.random.default_rng(8)
    plan = plan_for(n, fs_hz, USUAL, None)
    v, e = plan.velocity, plan.envelope
    assert v is not None
    assert e is not None
    assert (v.m == e.m) == alike
    block = Block(list((1000.0 * rng.normal(size=(rows, n))).astype(np.int16)), plan)
    both, size = waveforms(block.lines, block.hann, v, e)
    assert both is not None
    assert size is not None
    for row, exact, smooth in zip(
        range(rows), block.lines.astype(np.complex128), block.hann.astype(np.complex128), strict=True
    ):
        k = np.arange(1, v.n_lines)
        omega: NDArray[np.float64] = np.asarray(2.0 * np.pi * fs_hz / n * k, np.float64)
        shape = band_gain(omega / (2.0 * np.pi), USUAL) * exact[1 : v.n_lines]
        for at in range(0, both.shape[2], 97):
            turns = np.exp(2j * np.pi * k * (at + v.inside.start) / v.m)
            wanted = [2.0 / n * float(np.sum(part * turns).real) for part in (shape / (1j * omega), -shape / omega**2)]
            scale = np.abs(both[row]).max(axis=1)
            np.testing.assert_allclose(both[row, :, at] / scale, np.array(wanted) / scale, atol=3e-6)
        k = np.arange(e.lines.stop - e.lines.start)
        for at in range(0, size.shape[1], 97):
            signal = np.sum(smooth[e.lines] * np.exp(2j * np.pi * k * at / e.m))
            assert size[row, at] == pytest.approx(abs(signal) / e.m, abs=3e-6 * float(size[row].max()))
        envelope = size[row, e.inside] * e.gain
        for at in range(0, envelope.size, 97):
            time = (at + e.inside.start) / e.m
            signal = np.sum(smooth[e.lines] * np.exp(2j * np.pi * k * time)) / (np.sqrt(2.0) * math.sin(math.pi * time) ** 2)
            assert envelope[at] == pytest.approx(abs(signal), abs=1e-5 * float(envelope.max()))


@pytest.mark.parametrize("place", np.linspace(-0.5, 0.5, 11))
def test_crest_between_samples(place: float) -> None:
    """At twelve samples in a period the highest sample reads up to 3.4 % low, the parabola 0.2 % (1 - cos 15 degrees)."""
    wave = np.cos(2.0 * np.pi * (np.arange(-6, 7) - place) / 12.0).astype(np.float32)[None, :]
    assert crests(wave)[0] == pytest.approx(1.0, abs=0.0022)
    assert troughs(-wave)[0] == pytest.approx(-1.0, abs=0.0022)
    assert wave.max() >= math.cos(math.pi / 12.0) - 1e-6


def test_a_parabola_is_met_exactly_and_an_end_is_taken_as_it_is() -> None:
    t = np.arange(9.0)
    rows = np.stack([5.0 - (t - 3.3) ** 2, t, -t]).astype(np.float32)
    assert crests(rows) == pytest.approx([5.0, 8.0, 0.0], abs=1e-5)
    assert troughs(-rows) == pytest.approx([-5.0, -8.0, 0.0], abs=1e-5)
