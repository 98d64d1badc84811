"""The probabilities that confidence rests on, where the answer is known: in noise nothing is there to be found."""

import numpy as np
import pytest

from edgemon.diagnosis import Channel, MachineFacts, Record, diagnose
from edgemon.diagnosis.cyclic import envelope_spectra
from edgemon.diagnosis.evidence import gumbel_tail, surprise
from edgemon.diagnosis.families import Rhythm
from edgemon.diagnosis.frequencies import bearing_orders
from edgemon.model.finding import SUPPORTED
from tests.diagnosis.making import BEARING, noise

KINDS = ("white", "coloured", "shaft", "shocks")
SHAFT_HZ = 29.93


def chances(kind: str, n: int, count: int) -> list[float]:
    orders = bearing_orders(BEARING)
    top = orders.inner * SHAFT_HZ
    found: list[float] = []
    rng = np.random.default_rng(11)
    for _ in range(count):
        spectra = envelope_spectra(noise(kind, n, rng), 12000.0, 4.0 * top, 1.3 * top)
        found += [family.chance for family in Rhythm(spectra, SHAFT_HZ).families("", orders)]
    return found


def test_surprise_of_an_exponential_is_its_own() -> None:
    """The power of a line of noise is exponential, so minus the logarithm of its tail is exponential too, mean 1."""
    power = np.random.default_rng(3).exponential(4.2, (4, 40_000))
    found = surprise(power, 512)
    assert float(found.mean()) == pytest.approx(1.0, rel=0.05)
    assert float((found > 3.0).mean()) == pytest.approx(np.exp(-3.0), rel=0.1)
    assert float((found > 7.0).mean()) < 2.0 * np.exp(-7.0)


def test_gumbel_tail_against_draws() -> None:
    """A tenth of draws lies above the level of probability 0.1, the fit being made from other draws of the same kind."""
    rng = np.random.default_rng(4)
    tails = [gumbel_tail(rng.gumbel(12.0, 2.0), rng.gumbel(12.0, 2.0, 35)) for _ in range(2000)]
    assert np.mean(np.array(tails) < 0.1) == pytest.approx(0.1, abs=0.035)


@pytest.mark.slow
@pytest.mark.parametrize("n", [16384, 60_000])
@pytest.mark.parametrize("kind", KINDS)
def test_chance_means_what_it_says(kind: str, n: int) -> None:
    """Of looks at noise, at most about one in twenty has a chance below 0.05 and one in a hundred below 0.01."""
    found = np.array(chances(kind, n, 25))
    assert np.mean(found < 0.05) <= 0.10
    assert np.mean(found < 0.01) <= 0.04


@pytest.mark.slow
@pytest.mark.parametrize("kind", [*KINDS, "tones"])
def test_noise_is_seldom_accused(kind: str) -> None:
    """Bound on false verdicts: in no more than 1 in 30 records of noise does a fault of any bearing reach SUPPORTED."""
    rng = np.random.default_rng(12)
    facts = MachineFacts(29.95, (("", BEARING),))
    accused = 0
    for _ in range(60):
        record = Record(noise(kind, 16384, rng)[None, :], 12000.0, (Channel("a", calibrated=False),))
        found = diagnose(record, facts).findings
        accused += any(one.confidence >= SUPPORTED and one.fault.startswith("bearing") for one in found)
    assert accused <= 2


def test_the_depth_of_known_modulation() -> None:
    """(1 + m cos) times white noise: the squared envelope varies by 2 m + ... = 2m / (1 + m^2 / 2) of its mean at that rate."""
    n, fs_hz, rate = 2**18, 12000.0, 107.5
    rng = np.random.default_rng(5)
    time = np.arange(n) / fs_hz
    for m in (0.1, 0.3, 0.6):
        wave = rng.standard_normal(n) * (1.0 + m * np.cos(2.0 * np.pi * rate * time))
        spectra = envelope_spectra(wave, fs_hz, 400.0, 500.0)
        at = round(rate / spectra.line_hz)
        assert float(spectra.depth[0, at - 1 : at + 2].max()) == pytest.approx(2.0 * m / (1.0 + m**2 / 2.0), rel=0.12)
