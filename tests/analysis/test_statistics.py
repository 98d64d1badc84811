"""Statistics of waveforms: closed forms (recomputed; they are in every text on signals), in whole periods, no window."""

import math

import numpy as np
import pytest
from numpy.typing import NDArray

from edgemon.model.level import Band
from tests.analysis.signals import captured, counted, full, levels

FS = 2560.0
N = 25600
PHASE = 2.0 * np.pi * np.arange(N) / 256 + 0.0123


def impulses(every: int = 100) -> NDArray[np.float64]:
    train = np.zeros(N)
    train[::every] = 1.0
    return train


# signal, r.m.s., crest factor, kurtosis (Pearson); impulses with their mean removed
CASES = [
    ("sine", np.sin(PHASE), 1.0 / math.sqrt(2.0), math.sqrt(2.0), 1.5),
    ("square", np.sign(np.sin(PHASE)), 1.0, 1.0, 1.0),
    ("triangle", 2.0 / np.pi * np.arcsin(np.sin(PHASE - 0.0123)), 1.0 / math.sqrt(3.0), math.sqrt(3.0), 1.8),
    ("modulated", (1.0 + 0.5 * np.cos(PHASE / 10.0)) * np.cos(PHASE), 0.75, 2.0, 2.10185),
    ("clipped", np.clip(np.sin(PHASE), -0.8, 0.8), 0.636054, 1.25776, 1.37892),
    ("impulses", impulses(), math.sqrt(0.01 - 0.0001), 0.99 / math.sqrt(0.0099), 98.0101),
]


@pytest.mark.parametrize(("name", "signal", "rms", "crest", "kurtosis"), CASES, ids=[case[0] for case in CASES])
def test_known_waveforms(name: str, signal: NDArray[np.float64], rms: float, crest: float, kurtosis: float) -> None:
    found = levels(captured(signal, FS))
    assert found["acceleration_rms"] == pytest.approx(rms, rel=1e-3)
    assert found["acceleration_peak"] == pytest.approx(crest * rms, rel=1e-3)
    assert found["crest_factor"] == pytest.approx(crest, rel=1e-3)
    assert found["kurtosis"] == pytest.approx(kurtosis, rel=1e-3)


def test_gaussian_noise() -> None:
    found = levels(captured(np.random.default_rng(7).normal(size=16384), FS, si_per_count=1e-3))
    assert found["acceleration_rms"] == pytest.approx(1.0, abs=3.0 / math.sqrt(2.0 * 16384.0))
    assert found["kurtosis"] == pytest.approx(3.0, abs=3.0 * math.sqrt(24.0 / 16384.0))
    assert found["crest_factor"] == pytest.approx(math.sqrt(2.0 * math.log(16384.0)), rel=0.15)


def test_whole_band_is_from_the_first_line_to_half_the_rate() -> None:
    found, _ = full(captured(np.sin(PHASE), FS))
    for name in ("acceleration_rms", "acceleration_peak", "crest_factor", "kurtosis"):
        assert found[name].band == Band(0.1, 1280.0)


def test_a_constant_has_no_crest_factor() -> None:
    for value in (0, 1, 12345, 32767, -32768):
        found = levels(counted(np.full(4097, value)))
        assert found["acceleration_rms"] == 0.0
        assert "crest_factor" not in found
        assert "kurtosis" not in found


def test_offset_does_not_enter() -> None:
    noise = np.round(np.random.default_rng(8).normal(size=4096) * 50.0)
    still, moved = levels(counted(noise)), levels(counted(noise + 32000.0))
    for name in ("acceleration_rms", "acceleration_peak", "crest_factor", "kurtosis"):
        assert moved[name] == pytest.approx(still[name], rel=1e-4)
