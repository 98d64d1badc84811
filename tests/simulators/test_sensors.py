import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from simulators.sensors import FULL_COUNTS, Battery, Radio, Sensor, housing_temperature
from simulators.wear import Course
from tests.simulators import listening

QUIET = Sensor(noise_density=0.0)


def rng(seed: int = 0) -> np.random.Generator:
    return np.random.default_rng(seed)


def test_full_scale_is_the_range() -> None:
    # 16 g at 9.80665 m/s2 (3rd CGPM, 1901).
    assert QUIET.scale * FULL_COUNTS == pytest.approx(156.9064)


@given(st.integers(0, 2**32 - 1), st.floats(0.01, 150.0))
def test_quantisation_errs_by_half_a_count_at_most(seed: int, size: float) -> None:
    wave = np.clip(rng(seed).normal(0.0, size, (3, 256)), -156.0, 156.0).astype(np.float32)
    counts = QUIET.sample(wave, 6400.0, rng())
    # float32 carries 24 bits, so that near full scale the division itself errs by up to 2^-9 of a count.
    assert np.abs(counts * QUIET.scale - wave).max() <= QUIET.scale * (0.5 + 2**-8)


def test_quantisation_noise_is_a_count_over_root_twelve() -> None:
    # W. R. Bennett, Bell Syst. Tech. J. 27 (1948): uniform error, variance q^2 / 12.
    wave = rng(1).normal(0.0, 1.0, (1, 100_000)).astype(np.float32)
    error = QUIET.sample(wave, 6400.0, rng()) * QUIET.scale - wave
    assert error.std() == pytest.approx(QUIET.scale / 12**0.5, rel=0.01)


def test_beyond_its_range_it_clips_at_both_rails() -> None:
    at = np.arange(6400) / 6400.0
    wave = (196.13 * np.sin(2 * np.pi * 50.0 * at)).astype(np.float32)[None, :]
    counts = QUIET.sample(wave, 6400.0, rng())
    assert (counts.max(), counts.min()) == (FULL_COUNTS, -FULL_COUNTS)
    # A sine clipped at 0.8 of its peak spends 1 - 2/pi asin 0.8 = 40.97 % of the time at the rails (recomputed).
    assert np.mean(np.abs(counts) == FULL_COUNTS) == pytest.approx(0.4097, abs=0.02)


def test_its_noise_has_the_density_it_says() -> None:
    # 100 ug per root hertz over 10 to 1000 Hz: 3.146 mg r.m.s. (recomputed); over half the sample rate sqrt(3200) of it.
    sensor = Sensor(noise_density=100e-6 * 9.80665)
    counts = sensor.sample(np.zeros((1, 65_536), np.float32), 6400.0, rng())
    wave = counts[0] * sensor.scale
    assert listening.band_pass(wave, 6400.0, 10.0, 1000.0).std() / 9.80665e-3 == pytest.approx(3.146, rel=0.02)


def test_its_clock_is_off_and_drifts() -> None:
    sensor = Sensor(clock_offset_s=-0.4, clock_drift=2e-5)
    assert sensor.clock(1000.0, 0.0) == pytest.approx(999.6)
    assert sensor.clock(87_400.0, 86_400.0) == pytest.approx(87_400.0 - 0.4 + 1.728)


def test_mean_current_and_life() -> None:
    # Sleep 5 uA and 24 times a day (15 mA for 2.0 s, 30 mA for 1.5 s): 25.833 uA; 2.4 Ah last 10.598 years, 9.583 with 1 %
    # of self-discharge a year. Recomputed.
    cell = Battery(capacity_ah=2.4, sleep_a=5e-6, capture_c=15e-3 * 2.0 + 30e-3 * 1.5)
    assert cell.mean_current(24.0) * 1e6 == pytest.approx(25.833, rel=1e-4)
    assert cell.life_years(24.0) == pytest.approx(10.598, rel=1e-3)
    leaky = Battery(2.4, 5e-6, 75e-3, self_discharge_per_year=0.01)
    assert leaky.life_years(24.0) == pytest.approx(9.583, rel=1e-3)


@given(st.floats(0.0, 100.0), st.lists(st.floats(0.0, 1e9), min_size=2, max_size=20), st.floats(0.0, 1e4))
def test_a_battery_never_charges_itself(start_pct: float, ages_s: list[float], per_day: float) -> None:
    left = [Battery().left_pct(start_pct, age_s, per_day) for age_s in sorted(ages_s)]
    assert left == sorted(left, reverse=True)
    assert left[0] <= start_pct
    assert left[-1] >= 0.0


def test_a_battery_is_empty_at_the_end_of_its_life() -> None:
    age_s = Battery().life_years(24.0) * 8766 * 3600
    assert Battery().left_pct(100.0, age_s / 2, 24.0) == pytest.approx(50.0)
    assert Battery().left_pct(100.0, age_s * 1.01, 24.0) == 0.0


def test_a_weaker_signal_loses_more() -> None:
    radio = Radio()
    losses = [radio.loss(rssi) for rssi in (-60.0, -90.0, -94.0, -98.0, -120.0)]
    assert losses == sorted(losses)
    assert losses[2] == pytest.approx(0.5)
    assert losses[0] < 1e-9
    assert losses[-1] > 1.0 - 1e-7


def test_the_signal_follows_its_course() -> None:
    radio = Radio(Course(((0.0, -60.0), (100.0, -100.0))), shadow_db=2.0)
    draws = [radio.rssi(50.0, rng(seed)) for seed in range(2000)]
    assert np.mean(draws) == pytest.approx(-80.0, abs=0.2)
    assert np.std(draws) == pytest.approx(2.0, rel=0.1)
    assert max(abs(draw + 80.0) for draw in draws) <= 5.0


def test_a_housing_cools_when_its_machine_stops() -> None:
    load = Course(((0.0, 1.0), (50.0, 1.0), (50.001, 0.0)))
    assert housing_temperature(load, 0.0, 24.0, 30.0, 40.0) == 54.0
    # Newton's law of cooling: after one time constant 1/e of the rise is left.
    assert housing_temperature(load, 90.0, 24.0, 30.0, 40.0) == pytest.approx(24.0 + 30.0 / np.e, abs=0.01)
