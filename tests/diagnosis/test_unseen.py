"""Machines that no recording is of, and the single causes of wrong answers that they brought to light."""

from dataclasses import replace

import numpy as np
import pytest

from edgemon.analysis.quality import clipping
from edgemon.analysis.speed import refine_speed
from edgemon.diagnosis import Channel, MachineFacts, Record, diagnose
from edgemon.diagnosis.cyclic import averaged_spectra, envelope_spectra
from edgemon.diagnosis.evidence import surprise
from edgemon.diagnosis.noise import to_counts
from edgemon.diagnosis.turning import envelope_speed
from edgemon.diagnosis.wheels import wheels
from edgemon.model.finding import Conclusion, Fault
from edgemon.model.machine import PlanetarySet
from edgemon.model.speed import SpeedOrigin
from tests.bench.unseen import ABSURD, ran
from tests.diagnosis.making import BEARING
from tests.support.rigs import FAULTY, SOUND

FS_HZ, SHAFT_HZ, N = 20_000.0, 25.0, 40_000
FACTS = MachineFacts(speed_hz=SHAFT_HZ, bearings=(("", BEARING),))


def blows(order: float, n: int = N, jitter: float = 0.01, size: float = 6.0, seed: int = 3) -> Record:
    """Blows in a rhythm whose distances vary, which ring at 4 kHz, in noise."""
    rng = np.random.default_rng(seed)
    ring = np.arange(200) / FS_HZ
    at = np.cumsum(1.0 + jitter * rng.standard_normal(int(1.2 * order * SHAFT_HZ * n / FS_HZ))) / (order * SHAFT_HZ)
    row = np.zeros(n)
    places = (at * FS_HZ).astype(int)
    row[places[places < n]] = size
    wave = np.convolve(row, np.exp(-1500.0 * ring) * np.sin(2.0 * np.pi * 4000.0 * ring))[:n] + rng.standard_normal(n)
    return Record(wave[None, :], FS_HZ, (Channel("a"),))


@pytest.mark.parametrize("kind", [*SOUND, *FAULTY])
def test_nothing_is_wrong_absurd_or_slow_on_a_few_machines_of_each_kind(kind: str) -> None:
    """Two of each, of which none is accused of what it has not; figures in texts are figures."""
    number = [*SOUND, *FAULTY].index(kind)
    for seed in range(2):
        run = ran(kind, (40, number, seed))
        assert run.word != "wrong"
        assert not ABSURD.search(run.texts)
        assert not run.is_misread


def test_a_shaft_that_turned_a_few_times_has_no_multiples_to_judge_by() -> None:
    """Common practice: a line needs its main lobe (four lines of a Hann window) to itself."""
    time = np.arange(N) / FS_HZ
    wave = 0.05 * np.cos(2.0 * np.pi * 2.0 * time) + 0.1 * np.cos(2.0 * np.pi * 4.0 * time)  # 4 turns, 8 mm/s
    wave = wave + 1e-3 * np.random.default_rng(1).standard_normal(N)
    found = diagnose(Record(wave[None, :], FS_HZ, (Channel("h", "horizontal"),)), MachineFacts(speed_hz=2.0))
    assert found.verdict is Conclusion.CANNOT_TELL
    assert not found.findings
    assert any("fewer than 8 turns" in remark for remark in found.remarks)


def test_a_coarse_converter_loses_no_samples() -> None:
    """Noise between shocks of a converter of 8 bits lies still for many samples: its own step is found again, exactly."""
    rng = np.random.default_rng(2)
    wave = 0.3 * rng.standard_normal(N)
    wave[::4000] = 120.0
    for step in (1.0, 0.0385, 3e-5):
        counts, found = to_counts(np.round(wave) * step)
        assert found == pytest.approx(step, rel=1e-6)
        np.testing.assert_array_equal(np.diff(counts.astype(int)), np.diff(np.round(wave)).astype(int))
    _, found = to_counts(wave)
    assert found == pytest.approx(np.abs(wave - wave.mean()).max() / 30000.0)


def test_noise_at_a_rail_is_clipped_and_a_sine_of_whole_periods_is_not() -> None:
    """3 % of white noise beyond either rail (normal distribution) stay there for three samples once in 37,000."""
    noise = 3000.0 * np.random.default_rng(4).standard_normal(16384)
    edge = np.quantile(noise, 0.97)
    assert clipping(np.clip(noise, -edge, edge).astype(np.int16)) is not None
    assert clipping(noise.astype(np.int16)) is None
    for period in (5, 8, 20):
        sine = 9000.0 * np.sin(2.0 * np.pi * np.arange(16384) / period + 0.3)
        assert clipping(np.rint(sine).astype(np.int16)) is None


def test_a_hum_is_no_shaft_that_is_told_to_turn_otherwise() -> None:
    """A line at 4 x 60 Hz is the supply's where 236 Hz is told; one at 237 Hz is the shaft's."""
    time = np.arange(N) / FS_HZ
    noise = 0.1 * np.random.default_rng(5).standard_normal(N)
    for hz, is_measured in ((240.0, False), (237.0, True)):
        speed = refine_speed(np.cos(2.0 * np.pi * hz * time) + noise, FS_HZ, 236.0)
        assert speed.measured is is_measured
        assert speed.hz == pytest.approx(hz if is_measured else 236.0, abs=0.1)


def test_one_rhythm_and_its_double_are_no_shaft() -> None:
    """Surprise at 3x and 6x of a speed 1.5 % off is a rhythm of something else; at 1x, 2x and 3x a shaft's."""
    rng, line_hz = np.random.default_rng(6), 0.1
    for multiples, is_shaft in (((3, 6), False), ((1, 2, 3), True)):
        found = rng.exponential(1.0, (6, 4000))
        for k in multiples:
            found[:, round(k * 25.4 / line_hz)] = 12.0
        turning = envelope_speed([(found, line_hz)], 25.0, 25.0, [])
        assert (turning is not None) is is_shaft


def test_a_rhythm_that_slips_is_heard_in_the_mean_of_pieces() -> None:
    """5,000 periods whose distances vary by 2 %: a line 2 pi 0.02^2 of its frequency, 13 lines, wide (Ho, Randall, 2000)."""
    record = blows(3.585, n=1_200_000, jitter=0.02, size=1.6)
    clear = []
    for pieces in (1, 20):
        spectra = averaged_spectra(record.samples[0], FS_HZ, 400.0, 200.0, pieces)
        found = surprise(spectra.power[:1], 128, spectra.averages)[0]
        at = round(3.585 * SHAFT_HZ / spectra.line_hz)
        reach = max(2, round(0.002 * at))
        clear.append(found[at - reach : at + reach + 1].max() - np.log(2 * reach + 1))
    assert clear[1] > clear[0] + 2.0
    one = envelope_spectra(record.samples[0], FS_HZ, 400.0, 200.0)
    np.testing.assert_allclose(averaged_spectra(record.samples[0], FS_HZ, 400.0, 200.0, 1).power, one.power)


def test_what_may_be_blades_is_no_race_where_no_line_tells_the_speed() -> None:
    """BPFI of 12 elements, 7.05 orders of the speed told: seven blades on a shaft that is told 0.7 % low look so."""
    bearing = replace(BEARING, rolling_elements=12, ball_diameter_m=0.153 * 0.039, pitch_diameter_m=0.039)
    facts = MachineFacts(speed_hz=SHAFT_HZ, bearings=(("", bearing),), speed_origin=SpeedOrigin.NOMINAL)
    doubted = diagnose(blows(7.05, jitter=0.003), facts)
    assert doubted.verdict is Conclusion.CANNOT_TELL
    sure = diagnose(blows(7.05, jitter=0.003), replace(facts, speed_origin=SpeedOrigin.MEASURED))
    assert (sure.verdict, sure.findings[0].fault) == (Conclusion.FAULT, Fault.INNER_RACE)


def test_two_planetary_sets_have_each_its_own_planets() -> None:
    """Sidebands go with the planets of the set, four at least: seven of one do not widen those of another of three."""
    sets = (PlanetarySet(18, 27, 72, 3), PlanetarySet(20, 20, 60, 7))
    reach = {wheel.name: wheel.reach for wheel in wheels((), sets)}
    assert {reach[f"{name} of planetary set 1"] for name in ("sun", "planets", "ring")} == {4}
    assert {reach[f"{name} of planetary set 2"] for name in ("sun", "planets", "ring")} == {7}
