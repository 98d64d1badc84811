"""Verdicts: what must be refused, and, as important, what must not be."""

import math

import numpy as np
import pytest
from numpy.typing import NDArray

from edgemon.model.level import Band
from edgemon.model.quality import Flaw
from tests.analysis.signals import captured, counted, full, velocity_sine

FS = 2560.0
N = 4096
T = np.arange(N) / FS
RNG = np.random.default_rng(11)


def flaws(signal: NDArray[np.float64], fs_hz: float = FS, si: float | None = None, **more: float) -> tuple[Flaw, ...]:
    verdict = full(captured(signal, fs_hz, si_per_count=si, **more))[1]  # type: ignore[arg-type]
    assert len(verdict.remarks) >= len(verdict.flaws)
    assert all(verdict.remarks)
    return verdict.flaws


def drift(n: int, fs_hz: float, seed: int = 0) -> NDArray[np.float64]:
    """A random walk: acceleration that falls as 1/f, as an input stage that has not settled gives."""
    walk = np.cumsum(np.random.default_rng(seed).normal(size=n)) / math.sqrt(fs_hz)
    return walk - np.linspace(walk[0], walk[-1], n)


@pytest.mark.parametrize("f_hz", [10.0, 49.4, 311.0])
@pytest.mark.parametrize("fs_hz", [2560.0, 25600.0])
def test_a_clean_sine_is_fit_however_slow(f_hz: float, fs_hz: float) -> None:
    for amplitude in (5, 40, 300, 5000, 32000):  # a slow sine holds its crest for many samples
        signal = amplitude * np.sin(2.0 * np.pi * f_hz * np.arange(16384) / fs_hz + 0.1)
        assert full(counted(np.round(signal), fs_hz, 1.0 / amplitude))[1].flaws == ()


@pytest.mark.parametrize("sides", [(-0.8, 0.8), (-1.0, 0.8), (-0.97, 1.0)])
def test_flat_tops_are_clipping_below_full_scale_too(sides: tuple[float, float]) -> None:
    # at 0.8 of its peak 41 % of a sine's samples lie at the rails (recomputed)
    signal = np.clip(np.sin(2.0 * np.pi * 49.4 * T), *sides)
    assert flaws(signal, si=1e-4) == (Flaw.CLIPPED,)


def test_full_scale_is_clipping() -> None:
    noise = RNG.normal(size=N) * 3000.0
    noise[100:103] = 32767.0
    assert full(counted(noise, si=1e-3))[1].flaws == (Flaw.CLIPPED,)
    noise[100:103] = -32768.0
    assert full(counted(noise, si=1e-3))[1].flaws == (Flaw.CLIPPED,)
    noise[101] = 0.0  # two apart are a peak each, not a rail
    assert full(counted(noise, si=1e-3))[1].flaws == ()


@pytest.mark.parametrize(("rail", "run", "is_clipped"), [
    (32767, 3, True), (32766, 3, True), (32765, 3, False), (32767, 2, False),
    (-32768, 3, True), (-32767, 3, True), (-32766, 3, True), (-32765, 3, False), (-32768, 2, False),
])  # fmt: skip
def test_three_in_a_row_within_one_count_of_full_scale(rail: int, run: int, is_clipped: bool) -> None:
    # common practice: three consecutive samples within one step of full scale
    noise = np.round(np.random.default_rng(12).normal(size=N) * 3000.0)
    noise[100 : 100 + run] = rail
    assert full(counted(noise, si=1e-3))[1].flaws == ((Flaw.CLIPPED,) if is_clipped else ())


@pytest.mark.parametrize(("limit", "is_clipped"), [(1.28, True), (1.31, False)])
def test_a_few_clipped_crests_are_enough(limit: float, is_clipped: bool) -> None:
    # common practice: more than 0.1 % of the samples at the record's extreme; here only the highest crests reach it
    beating = (1.0 + 0.3 * np.cos(2.0 * np.pi * T)) * np.sin(2.0 * np.pi * 49.4 * T)
    at_rail = np.mean(np.abs(beating) >= limit)
    assert 1e-3 < at_rail < 1e-2 if is_clipped else at_rail == 0.0
    assert flaws(np.clip(beating, -limit, limit), si=1e-4) == ((Flaw.CLIPPED,) if is_clipped else ())


@pytest.mark.parametrize("run", [3, 4, 5, 8])
def test_a_flat_top_must_hold_more_than_a_thousandth_of_the_samples(run: int) -> None:
    noise = np.round(np.random.default_rng(13).normal(size=N) * 500.0)
    noise[700 : 700 + run] = 4000.0  # 4.1 samples are a thousandth
    assert full(counted(noise, si=1e-3))[1].flaws == ((Flaw.CLIPPED,) if run > 4 else ())


def test_coarse_and_tiny_signals() -> None:
    coarse = np.round(np.clip(100.0 * np.sin(2.0 * np.pi * 49.4 * T), -80.0, 80.0))  # clipped, in steps of a hundredth
    assert full(counted(coarse, si=1e-2))[1].flaws == (Flaw.CLIPPED,)
    whole = np.round(100.0 * np.sin(2.0 * np.pi * 49.4 * T))
    assert full(counted(whole, si=1e-2))[1].flaws == ()
    two_steps = np.where(np.sin(2.0 * np.pi * 49.4 * T) > 0.0, 12.0, -12.0)  # steps of a converter, not flat tops
    assert full(counted(two_steps, si=1e-2))[1].flaws == ()


@pytest.mark.parametrize(("share", "is_flat"), [(0.985, False), (0.992, True)])
def test_one_value_in_99_of_100_samples_is_no_signal(share: float, is_flat: bool) -> None:
    counts = np.zeros(10000)
    rng = np.random.default_rng(14)
    counts[rng.permutation(10000)[: round((1.0 - share) * 10000)]] = rng.normal(size=round((1.0 - share) * 10000)) * 3000.0
    assert full(counted(np.round(counts), si=1e-4))[1].flaws == ((Flaw.FLAT_LINE,) if is_flat else ())


def test_one_value_but_for_a_few_fast_pairs_is_no_signal() -> None:
    # +a, -a next to each other have no slow velocity: nothing but the fourth moment gives cause to count equal samples
    counts = np.zeros(10000)
    at = np.arange(100, 9900, 250) + 1
    counts[at] = 1000.0 + 50.0 * np.arange(at.size)
    counts[at + 1] = -counts[at]
    assert full(counted(counts, si=1e-4))[1].flaws == (Flaw.FLAT_LINE,)


@pytest.mark.parametrize(("std", "is_flat"), [(0.5, True), (1.5, True), (2.5, False)])
def test_less_than_two_steps_of_the_converter_is_no_signal(std: float, is_flat: bool) -> None:
    noise = np.round(np.random.default_rng(15).normal(size=N) * std)
    assert full(counted(noise, si=1e-4))[1].flaws == ((Flaw.FLAT_LINE,) if is_flat else ())


def test_white_noise_with_few_lines_at_the_edge_is_no_ski_slope() -> None:
    for seed in range(300):  # seven lines from 5 to 20 Hz: the ratio of so few scatters
        noise = np.round(np.random.default_rng(seed).normal(size=12288) * 50.0)
        assert full(counted(noise, 25600.0, 0.005))[1].flaws == ()


def test_sensor_range_is_a_rail() -> None:
    noise = RNG.normal(size=N) * 2.0
    noise[500:504] = 20.0
    assert flaws(noise, si=0.001) == ()
    assert flaws(noise, si=0.001, range_si=20.0) == (Flaw.CLIPPED,)


@pytest.mark.parametrize("std", [2.5, 5.0, 50.0])
def test_a_quiet_live_sensor_is_fit(std: float) -> None:
    # white noise of a stopped machine: its velocity falls as 1/f, half of it below 20 Hz, and yet it is no ski slope
    for seed in range(20):
        assert full(counted(np.round(np.random.default_rng(seed).normal(size=N) * std), si=0.005))[1].flaws == ()


def test_flat_line() -> None:
    assert full(counted(np.full(N, 77)))[1].flaws == (Flaw.FLAT_LINE,)
    assert full(counted(RNG.integers(-1, 2, N)))[1].flaws == (Flaw.FLAT_LINE,)
    stuck = np.zeros(N)
    stuck[::200] = 5000.0
    assert Flaw.FLAT_LINE in full(counted(stuck))[1].flaws
    stuck = RNG.normal(size=N) * 3.0
    stuck[::200] = 500.0  # impacts over a live floor
    assert full(counted(stuck, si=1e-4))[1].flaws == ()


@pytest.mark.parametrize("n", [0, 1, 2, 15])
def test_a_handful_of_samples_makes_no_level(n: int) -> None:
    found, verdict = full(counted(np.arange(n)))
    assert found == {}
    assert verdict.flaws == (Flaw.TOO_SHORT,)
    assert verdict.remarks == (f"{n} samples make no level",)


def test_less_than_a_period_of_the_lower_edge_is_too_short() -> None:
    found, verdict = full(captured(velocity_sine(50.0, 25600.0, 2559), 25600.0))
    assert verdict.flaws == (Flaw.TOO_SHORT,)
    assert verdict.remarks == ("0.0999609 s hold no full period of the band's lower edge, 10 Hz",)
    assert "velocity_rms" not in found
    assert "acceleration_rms" in found
    assert full(captured(velocity_sine(50.0, 25600.0, 2560), 25600.0))[1].is_fit


def test_missing_parts() -> None:
    wave = captured(velocity_sine(50.0, FS, N), FS, missing=True)
    found, verdict = full(wave)
    assert verdict.flaws == (Flaw.MISSING_SAMPLES,)
    assert verdict.remarks == ("parts of the capture never came",)
    assert "velocity_rms" in found
    assert full(captured(np.ones(3), FS, missing=True))[1].flaws == (Flaw.TOO_SHORT, Flaw.MISSING_SAMPLES)


@pytest.mark.parametrize("seed", range(10))
@pytest.mark.parametrize(("n", "fs_hz"), [(4096, 2560.0), (16384, 25600.0), (16384, 12800.0)])
def test_ski_slope(seed: int, n: int, fs_hz: float) -> None:
    signal = drift(n, fs_hz, seed) * 20.0 + velocity_sine(49.4, fs_hz, n, 0.5)
    assert flaws(signal, fs_hz) == (Flaw.LOW_FREQUENCY_RISE,)


def test_settling_is_a_ski_slope() -> None:
    settling = 50.0 * np.exp(-T / 0.4) + velocity_sine(49.4, FS, N, 0.2)
    settling[N // 2 :] += 20.0  # and a step of the supply
    assert flaws(settling) == (Flaw.LOW_FREQUENCY_RISE,)


@pytest.mark.parametrize("f_hz", [9.0, 10.0, 12.3, 14.9, 16.0, 19.0])
@pytest.mark.parametrize(("n", "fs_hz"), [(4096, 2560.0), (16384, 25600.0), (4096, 25600.0)])
@pytest.mark.parametrize("noise", [0.0, 0.001, 0.01])
def test_a_slow_shaft_is_not_a_ski_slope(f_hz: float, n: int, fs_hz: float, noise: float) -> None:
    signal = velocity_sine(f_hz, fs_hz, n, 3.0) + np.random.default_rng(1).normal(size=n) * noise
    assert flaws(signal, fs_hz) == ()


def test_two_slow_shafts_are_not_a_ski_slope() -> None:
    signal = velocity_sine(10.6, FS, N, 2.0) + velocity_sine(15.2, FS, N, 2.0) + RNG.normal(size=N) * 0.01
    assert flaws(signal) == ()
    assert flaws(velocity_sine(10.6, FS, N, 2.0) + velocity_sine(15.2, FS, N, 2.0)) == ()


def test_implausible() -> None:
    assert flaws(velocity_sine(50.0, FS, N, 99.0)) == ()
    assert flaws(velocity_sine(50.0, FS, N, 101.0)) == (Flaw.IMPLAUSIBLE,)
    spike = RNG.normal(size=N)
    spike[7] = 50.0
    assert flaws(spike, si=0.01, range_si=49.0) == ()  # a little further than nominal is the sensor's tolerance
    assert flaws(spike, si=0.01, range_si=40.0) == (Flaw.IMPLAUSIBLE,)


def test_several_flaws_are_all_named() -> None:
    signal = np.clip(np.sin(2.0 * np.pi * 49.4 * T), -0.8, 0.8) * 100.0
    verdict = full(captured(signal, FS, missing=True))[1]
    assert set(verdict.flaws) == {Flaw.CLIPPED, Flaw.MISSING_SAMPLES, Flaw.IMPLAUSIBLE}


def test_a_level_left_out_is_a_remark_and_hides_no_flaw() -> None:
    """A band above half the sample rate has no envelope: said of the clean capture, and beside the flaw of a clipped one."""
    wave, beyond = velocity_sine(49.4, FS, N), Band(5000.0, 9000.0)
    clean = full(captured(wave, FS, envelope_band=beyond))[1]
    assert (clean.flaws, len(clean.remarks)) == ((), 1)
    assert "5000" in clean.remarks[0]
    clipped = full(captured(np.clip(wave, -0.1, 0.1), FS, envelope_band=beyond))[1]
    assert clipped.flaws == (Flaw.CLIPPED,)
    assert clipped.remarks[1:] == clean.remarks
    short = full(captured(wave[:200], FS, envelope_band=beyond))[1]
    assert short.flaws == (Flaw.TOO_SHORT,)
    assert len(short.remarks) == 2


HELD_AT = 1000


@pytest.mark.parametrize(("count", "is_held"), [(15, False), (16, True), (200, True), (1500, True)])
@pytest.mark.parametrize("zeros", [False, True])
@pytest.mark.parametrize("f_hz", [None, 49.4])
def test_samples_lost_and_held_are_not_fit(count: int, is_held: bool, zeros: bool, f_hz: float | None) -> None:
    rng = np.random.default_rng(21)
    counts = rng.normal(size=N) * 2000.0 + (0.0 if f_hz is None else 8000.0 * np.sin(2.0 * np.pi * f_hz * T))
    counts[HELD_AT : HELD_AT + count] = 0.0 if zeros else counts[HELD_AT]
    assert (Flaw.MISSING_SAMPLES in full(counted(np.round(counts), si=1e-4))[1].flaws) is is_held


@pytest.mark.parametrize("start", range(1000, 1004))
def test_no_stretch_slips_through_wherever_it_begins(start: int) -> None:
    counts = np.round(np.random.default_rng(22).normal(size=N) * 2000.0)
    counts[start : start + 16] = counts[start]
    assert full(counted(counts, si=1e-4))[1].flaws == (Flaw.MISSING_SAMPLES,)


@pytest.mark.parametrize("fs_hz", [2560.0, 25600.0])
@pytest.mark.parametrize("amplitude", [20, 40, 300, 5000])
def test_a_record_that_lies_still_by_nature_is_not_accused(fs_hz: float, amplitude: int) -> None:
    slow = amplitude * np.sin(2.0 * np.pi * 10.3 * np.arange(16384) / fs_hz)
    knocks = np.random.default_rng(23).normal(size=16384)
    knocks = np.where(np.random.default_rng(24).random(16384) < 0.03, 30.0 * knocks, 0.4 * knocks)
    assert full(counted(np.round(slow + knocks), fs_hz, 1e-4))[1].flaws == ()
    assert Flaw.MISSING_SAMPLES not in full(counted(np.round(knocks), fs_hz, 1e-4))[1].flaws


@pytest.mark.parametrize(("ratio", "is_steady"), [(1.0, True), (1.15, True), (1.25, False), (0.87, True), (0.8, False)])
def test_a_record_of_which_a_third_is_stronger_is_remarked_on_and_stays_fit(ratio: float, is_steady: bool) -> None:
    # common practice: r.m.s. of thirds differs by more than 20 %; sine of 166.4 whole periods, thirds known in closed form
    signal = np.sin(2.0 * np.pi * 104.0 * T)
    signal[2 * N // 3 :] *= ratio
    verdict = full(captured(signal, FS))[1]
    assert verdict.is_fit
    assert [remark.split(":")[0] for remark in verdict.remarks] == ([] if is_steady else ["not steady"])


def test_thirds_that_hold_few_periods_are_not_compared() -> None:
    n = 1024  # 0.4 s hold four periods of 10 Hz
    verdict = full(captured(np.sin(2.0 * np.pi * 12.0 * T[:n]) * np.linspace(0.5, 1.0, n), FS))[1]
    assert not any("steady" in remark for remark in verdict.remarks)
