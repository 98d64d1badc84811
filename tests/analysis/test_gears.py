"""Gears by signals whose average turn is known, and by the definitions of FM4 and NA4.

Definitions: R. M. Stewart, ISVR Southampton (1977); J. J. Zakrajsek et al., NASA TM-105950 (1993), from memory.
"""

import numpy as np
import pytest
import scipy.stats

from edgemon.analysis.gears import by_chance, change_db, gear_average, is_regular, kurtosis, na4, sidebands
from edgemon.analysis.orders import revolutions, synchronous_average
from edgemon.errors import ParameterError

FS, N, TURN = 12800.0, 32768, 24.7
TEETH = 23
ANGLE = TURN * np.arange(N) / FS
MESH = sum(np.cos(2.0 * np.pi * TEETH * k * ANGLE + k) / k for k in (1, 2, 3))
NOISE = np.random.default_rng(3).normal(size=N)


def blow(angle: np.ndarray, width: float = 0.02) -> np.ndarray:
    """One tooth that rings once a turn."""
    at = angle % 1.0
    return np.asarray(np.exp(-at / width) * np.sin(2.0 * np.pi * 61.0 * at))


def test_the_average_turn_is_that_of_resampling() -> None:
    """Second method: the same turns read at even steps of angle by an interpolating curve and averaged."""
    wave = MESH + blow(ANGLE) + 0.3 * NOISE
    mine = gear_average(wave, FS, TURN, [TEETH])
    theirs, count = synchronous_average(wave - wave.mean(), revolutions(N, FS, 60.0 * TURN), mine.average.size)
    assert mine.turns == count == 63
    few = TEETH * 4  # orders that both hold
    np.testing.assert_allclose(np.fft.rfft(mine.average)[:few], np.fft.rfft(theirs)[:few], atol=0.02 * mine.average.size)


def test_mesh_and_eccentricity_leave_nothing_in_the_difference() -> None:
    eccentric = MESH * (1.0 + 0.4 * np.cos(2.0 * np.pi * ANGLE)) + 2.0 * np.cos(2.0 * np.pi * ANGLE)
    found = gear_average(eccentric, FS, TURN, [TEETH])
    assert found.difference.std() < 0.01 * found.average.std()


def test_one_tooth_shows_in_fm4_and_noise_does_not() -> None:
    hit = gear_average(MESH + blow(ANGLE) + 0.3 * NOISE, FS, TURN, [TEETH])
    assert hit.fm4 > 8.0
    assert by_chance(hit) == pytest.approx(0.01)
    assert hit.locked > 4.0
    calm = gear_average(MESH + NOISE, FS, TURN, [TEETH])
    assert calm.fm4 == pytest.approx(3.0, abs=4.0 * np.sqrt(24.0 / calm.difference.size))
    assert by_chance(calm) > 0.02
    assert calm.locked == pytest.approx(1.0, abs=0.3)


def test_blows_that_are_not_locked_to_the_shaft_are_told_apart() -> None:
    """A cage at 0.398 times shaft speed strikes as hard; its lines are as strong between the shaft's as on them."""
    found = gear_average(MESH + blow(0.3983 * ANGLE, 0.01) + 0.1 * NOISE, FS, TURN, [TEETH])
    assert found.locked < 1.5


def test_kurtosis_is_scipys() -> None:
    assert kurtosis(NOISE - NOISE.mean()) == pytest.approx(scipy.stats.kurtosis(NOISE, fisher=False), rel=1e-12)
    assert kurtosis(np.zeros(8)) == 0.0
    assert kurtosis(np.sin(2.0 * np.pi * np.arange(100) / 100.0)) == pytest.approx(1.5)  # closed form


def test_na4_follows_the_power_where_fm4_does_not() -> None:
    """By definition: the same signal twice as large has 16 times the NA4 against the same baseline, and the same FM4."""
    quiet = NOISE[:4096] - NOISE[:4096].mean()
    base = [float(quiet.var()), float(quiet.var())]
    assert na4(quiet, base) == pytest.approx(kurtosis(quiet))
    assert na4(2.0 * quiet, base) == pytest.approx(16.0 * na4(quiet, base))
    with pytest.raises(ParameterError, match="baseline"):
        na4(quiet, [])


def test_regular_lines() -> None:
    regular = is_regular(60, [20], (2.5, 0.25))
    assert regular[[0, 1, 2, 3, 19, 20, 21, 39, 40, 41]].all()
    assert regular[[5, 10, 15, 25]].all()  # multiples of 2.5 that are whole
    assert not regular[[4, 6, 18, 22, 38, 59]].any()  # a shaft at a quarter of the speed shares every line: left alone


def test_sidebands_of_a_modulated_mesh() -> None:
    """Amplitude modulation m makes sidebands of m / 2; r.m.s. of a sine is its amplitude over the root of two."""
    wave = 3.0 * np.cos(2.0 * np.pi * TEETH * ANGLE) * (1.0 + 0.5 * np.cos(2.0 * np.pi * ANGLE)) + 0.01 * NOISE
    found = sidebands(wave, FS, TURN, TEETH)
    assert found.mesh[0] == pytest.approx(3.0 / np.sqrt(2.0), rel=0.02)
    np.testing.assert_allclose(found.sides[0, [3, 4]], 0.25 * 3.0 / np.sqrt(2.0), rtol=0.05)
    assert found.sides[0, [0, 1, 2, 5, 6, 7]].max() < 0.02
    assert found.elsewhere.max() < np.log(np.maximum(found.above, 1.0)).sum()


def test_change_of_sidebands_in_decibels() -> None:
    lines = sum(np.cos(2.0 * np.pi * (TEETH + k) * ANGLE) for k in (-3, -2, -1, 1, 2, 3))
    then = sidebands(lines + 0.02 * NOISE, FS, TURN, TEETH)
    now = sidebands(0.5 * lines + 0.02 * NOISE, FS, TURN, TEETH)
    found = change_db(now, then)
    assert found is not None
    assert found[0] == pytest.approx(20.0 * np.log10(2.0), abs=0.1)
    assert found[1] == pytest.approx(-20.0 * np.log10(2.0), abs=0.1)
    assert found[2] == 6
    assert change_db(sidebands(NOISE, FS, TURN, TEETH), sidebands(NOISE, FS, TURN, TEETH)) is None


@pytest.mark.parametrize(("n", "turn", "teeth"), [(600, TURN, [TEETH]), (N, 400.0, [TEETH]), (N, TURN, []), (N, TURN, [2])])
def test_what_cannot_be_is_refused(n: int, turn: float, teeth: list[int]) -> None:
    with pytest.raises(ParameterError):
        gear_average(NOISE[:n], FS, turn, teeth)
