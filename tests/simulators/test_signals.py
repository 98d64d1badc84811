import numpy as np
import pytest

from simulators.signals import Excitation, Impacts, Line, Noise, blow_times, render, velocity_rms
from tests.simulators import listening

FS_HZ = 6400.0


def rng(seed: int = 0) -> np.random.Generator:
    return np.random.default_rng(seed)


def test_a_line_has_its_amplitude_on_each_axis() -> None:
    shaken = Excitation((Line(50.0, (3.0, 2.0, 0.5), (0.1, 1.2, -2.0)),))
    wave = render(shaken, 12.3, 6400, FS_HZ, rng()).astype(np.float64)
    for axis, peak in enumerate((3.0, 2.0, 0.5)):
        assert listening.amplitude_at(wave[axis], FS_HZ, 50.0) == pytest.approx(peak, rel=1e-4)


def test_a_line_is_the_cosine_it_says() -> None:
    wave = render(Excitation((Line(33.0, (1.0, 2.0, 3.0), (0.4, -0.4, 2.0)),)), 5.0, 1000, 2000.0, rng())
    at = 5.0 + np.arange(1000) / 2000.0
    expected = [
        np.cos(2 * np.pi * 33.0 * at + 0.4),
        2 * np.cos(2 * np.pi * 33.0 * at - 0.4),
        3 * np.cos(2 * np.pi * 33.0 * at + 2),
    ]
    np.testing.assert_allclose(wave, expected, atol=2e-5)


def test_lines_run_on_from_one_capture_to_the_next() -> None:
    shaken = Excitation((Line(49.37, (1.0, 1.0, 1.0)),))
    whole = render(shaken, 100.0, 4000, FS_HZ, rng())
    second = render(shaken, 100.0 + 2000 / FS_HZ, 2000, FS_HZ, rng())
    np.testing.assert_allclose(whole[:, 2000:], second, atol=1e-4)


def test_what_lies_above_the_filter_is_not_seen() -> None:
    shaken = Excitation((Line(3000.0, (5.0, 5.0, 5.0)),), (Noise(2600.0, 9000.0, (4.0, 4.0, 4.0)),))
    assert np.abs(render(shaken, 0.0, 4096, FS_HZ, rng())).max() == 0.0


def test_velocity_of_a_line_is_a_over_omega() -> None:
    # Closed form: 1 mm/s r.m.s. at 50 Hz is 0.314159 m/s2 r.m.s.
    shaken = Excitation((Line(50.0, (0.314159 * 2**0.5, 0.0, 0.0)),))
    assert 1e3 * velocity_rms(shaken, "x") == pytest.approx(1.0, rel=1e-5)
    assert velocity_rms(shaken, "y") == 0.0


def test_velocity_of_white_noise_is_the_closed_form() -> None:
    # 100 ug per root hertz integrated from 10 to 1000 Hz: S sqrt((1/f1 - 1/f2) / (4 pi^2)) = 0.04911 mm/s, recomputed.
    density = 100e-6 * 9.80665
    flat = Noise(1.0, 3201.0, (density * 3200.0**0.5,) * 3)
    assert 1e3 * velocity_rms(Excitation((), (flat,)), "z") == pytest.approx(0.04911, rel=1e-3)


def test_noise_has_its_rms_and_its_band() -> None:
    wave = render(Excitation((), (Noise(200.0, 1200.0, (2.0, 1.0, 0.5)),)), 0.0, 1 << 17, FS_HZ, rng()).astype(np.float64)
    # Relative standard error of the r.m.s.: 1 / (2 sqrt(B T)) = 0.35 % (Bendat and Piersol).
    np.testing.assert_allclose(wave.std(axis=1), (2.0, 1.0, 0.5), rtol=0.015)
    outside = listening.band_pass(wave[0], FS_HZ, 1210.0, 3200.0)
    assert outside.std() < 1e-6


def test_noise_cut_by_the_filter_keeps_its_density() -> None:
    wave = render(Excitation((), (Noise(100.0, 10_000.0, (3.0, 3.0, 3.0)),)), 0.0, 1 << 17, FS_HZ, rng())
    assert wave[0].std() == pytest.approx(3.0 * ((2500.0 - 100.0) / 9900.0) ** 0.5, rel=0.01)


def test_a_resonance_gathers_its_rms_about_its_middle() -> None:
    # Lorentzian: half of the power lies within plus and minus the half-width.
    wave = render(Excitation((), (Noise(900.0, 1100.0, (1.0, 1.0, 1.0), damping=0.02),)), 0.0, 1 << 17, FS_HZ, rng(3))
    assert wave[0].std() == pytest.approx(1.0, rel=0.03)
    inside = listening.band_pass(wave[0].astype(np.float64), FS_HZ, 980.0, 1020.0)
    assert inside.var() == pytest.approx(0.5, rel=0.05)


def test_blows_come_at_their_rate_with_their_slip() -> None:
    train = Impacts(100.0, (1.0, 1.0, 1.0), 2000.0, 0.05, slip=0.015)
    times = blow_times(train, 60.0, rng())
    gaps = np.diff(times)
    assert gaps.mean() == pytest.approx(0.01, rel=1e-3)
    assert gaps.std() / gaps.mean() == pytest.approx(0.015, rel=0.05)
    assert times[0] <= 0.0
    assert times[-1] > 60.0


def test_one_blow_rings_as_a_damped_sine() -> None:
    train = Impacts(1.0, (4.0, 2.0, 1.0), 1000.0, 0.05)
    wave = render(Excitation((), (), (train,)), 0.0, 20_000, 20_000.0, rng(2))
    start = blow_times(train, 1.0, rng_after_noise(20_000, 2))
    at = np.arange(20_000) / 20_000.0
    decay = 0.05 * 2.0 * np.pi * 1000.0
    expected = np.zeros(20_000)
    for blow in start:
        since = np.maximum(at - blow, 0.0)
        expected += 4.0 * np.exp(-decay * since) * np.sin(2.0 * np.pi * 1000.0 * since)
    np.testing.assert_allclose(wave[0], expected, atol=4.1e-3)
    np.testing.assert_allclose(wave[1], wave[0] / 2.0, atol=1e-6)


def rng_after_noise(n: int, seed: int) -> np.random.Generator:
    used = rng(seed)
    used.standard_normal((2, 3, n // 2 + 1), dtype=np.float32)
    return used


def test_the_same_generator_draws_the_same_waveform() -> None:
    shaken = Excitation(
        (Line(25.0, (1.0, 1.0, 1.0)),), (Noise(10.0, 2000.0, (1, 1, 1)),), (Impacts(80.0, (9, 9, 9), 1900.0, 0.05, 0.01),)
    )
    once, again = (render(shaken, 7.0, 4096, FS_HZ, rng(5)) for _ in range(2))
    assert np.array_equal(once, again)
    assert not np.array_equal(once, render(shaken, 7.0, 4096, FS_HZ, rng(6)))


def test_scaling_scales_the_waveform() -> None:
    shaken = Excitation(
        (Line(25.0, (1.0, 1.0, 1.0)),), (Noise(10.0, 2000.0, (1, 1, 1)),), (Impacts(80.0, (9, 9, 9), 1900.0, 0.05, 0.01),)
    )
    np.testing.assert_allclose(
        render(shaken.scaled(0.25), 7.0, 4096, FS_HZ, rng(5)), 0.25 * render(shaken, 7.0, 4096, FS_HZ, rng(5)), atol=1e-5
    )
