"""Statistics of waveforms: closed forms (recomputed; they are in every text on signals), in whole periods, no window."""

import math
from fractions import Fraction

import numpy as np
import pytest
import scipy.integrate
import scipy.stats
from numpy.typing import NDArray

from edgemon.analysis.envelope import envelope
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


# Pearson's kurtosis of distributions, in every text on statistics: 1.8 uniform, 4.2 logistic, 6 Laplace, 3 normal
@pytest.mark.parametrize(("law", "kurtosis"), [("uniform", 1.8), ("norm", 3.0), ("logistic", 4.2), ("laplace", 6.0)])
def test_kurtosis_of_known_laws(law: str, kurtosis: float) -> None:
    """Quantiles at even steps of probability: the law itself, without chance; SciPy's moments as second method."""
    named = getattr(scipy.stats, law)
    assert 3.0 + float(named.stats(moments="k")) == pytest.approx(kurtosis)
    n = 1 << 16
    rows = np.random.default_rng(3).permutation(named.ppf((np.arange(n) + 0.5) / n))
    assert levels(captured(rows, FS))["kurtosis"] == pytest.approx(kurtosis, rel=5e-3)


@pytest.mark.parametrize(("n", "about"), [(1024, 3.72), (16384, 4.41), (65536, 4.71)])
def test_crest_factor_of_gaussian_noise(n: int, about: float) -> None:
    """Handbooks' sqrt(2 ln N) is 6 to 8 % more than the mean of the largest of N, integrated here from its distribution."""
    assert math.sqrt(2.0 * math.log(n)) == pytest.approx(about, abs=0.01)
    largest = scipy.integrate.quad(lambda x: 1.0 - math.erf(x / math.sqrt(2.0)) ** n, 0.0, 10.0, limit=200, points=[about])[0]
    assert 1.05 * largest < about < 1.09 * largest
    rng, count = np.random.default_rng(n), 60
    found = [levels(captured(rng.normal(size=n), FS, si_per_count=3e-4))["crest_factor"] for _ in range(count)]
    assert np.mean(found) == pytest.approx(largest, abs=4.0 * np.std(found) / math.sqrt(count))


@pytest.mark.parametrize(("n", "error"), [(1024, 0.153), (4096, 0.0765), (16384, 0.0383)])
def test_scatter_of_kurtosis_in_gaussian_noise(n: int, error: float) -> None:
    # standard error sqrt(24 / N), in every text on statistics
    rng = np.random.default_rng(n)
    found = [levels(captured(rng.normal(size=n), FS, si_per_count=3e-4))["kurtosis"] for _ in range(150)]
    assert np.std(found) == pytest.approx(error, rel=0.2)
    assert np.mean(found) == pytest.approx(3.0, abs=4.0 * error / math.sqrt(150.0) + 6.0 / n)


def test_envelope_of_gaussian_noise_follows_rayleigh() -> None:
    # kurtosis 3.24509, mean over r.m.s. sqrt(pi) / 2 (recomputed from the moments of the Rayleigh law)
    wave = envelope(np.random.default_rng(4).normal(size=1 << 17), FS, Band(200.0, 1000.0)).astype(np.float64)
    about = wave - wave.mean()
    assert 3.0 + float(scipy.stats.rayleigh.stats(moments="k")) == pytest.approx(3.24509, abs=1e-5)
    assert np.mean(about**4) / np.mean(about**2) ** 2 == pytest.approx(3.24509, rel=0.02)
    assert wave.mean() / math.sqrt(np.mean(wave**2)) == pytest.approx(math.sqrt(math.pi) / 2.0, rel=5e-3)


@pytest.mark.parametrize("seed", range(4))
def test_moments_of_counts_as_fractions(seed: int) -> None:
    """The counts are whole numbers: mean and moments without any rounding."""
    rng = np.random.default_rng(seed)
    counts = [int(c) for c in np.clip(np.round(rng.standard_t(4, size=997) * 900.0 + 5000.0 * seed), -32768, 32767)]
    n, mean = len(counts), Fraction(sum(counts), len(counts))
    second = sum((c - mean) ** 2 for c in counts) / n
    fourth = sum((c - mean) ** 4 for c in counts) / n
    found = levels(counted(counts, si=1.0))
    assert found["kurtosis"] == pytest.approx(float(fourth / second**2), rel=2e-5)
    assert found["acceleration_rms"] == pytest.approx(math.sqrt(second), rel=1e-6)
    assert found["acceleration_peak"] == pytest.approx(float(max(abs(c - mean) for c in counts)), rel=1e-6)


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
