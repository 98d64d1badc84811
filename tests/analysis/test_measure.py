"""The entrance: order, grouping, padding, and that nothing a sensor can send makes it raise."""

import math
from dataclasses import replace

import numpy as np
import pytest
import scipy.stats
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from edgemon.analysis.measure import Waveform, measure, measure_with_spectra
from edgemon.analysis.registry import LEVELS
from edgemon.model.derived import MaskSpec
from edgemon.model.level import COMPUTED, LEVEL_KINDS, Band, Detector, LevelSpec
from edgemon.units import Quantity
from tests.analysis.signals import SLOW, USUAL, captured, counted, full, velocity_sine

RNG = np.random.default_rng(21)


def test_every_level_but_temperature_has_a_function() -> None:
    assert LEVELS.keys() == COMPUTED == LEVEL_KINDS.keys() - {"temperature"}


def test_levels_state_quantity_detector_and_band_in_the_houses_order() -> None:
    found, verdict = full(captured(velocity_sine(50.0, 25600.0, 32768) + RNG.normal(size=32768), 25600.0))
    assert verdict.is_fit
    assert list(found) == [name for name in LEVEL_KINDS if name != "temperature"]
    for name, level in found.items():
        assert (level.quantity, level.detector) == (LEVEL_KINDS[name].quantity, LEVEL_KINDS[name].detector)
        assert level.band is not None
        assert type(level.value) is float


def test_nothing_in_nothing_out() -> None:
    assert measure([]) == []


@pytest.mark.parametrize("rows", [1, 2, 3, 4, 5, 33, 70])
def test_a_batch_gives_what_single_captures_give(rows: int) -> None:
    waves = [captured(RNG.normal(size=4096) + velocity_sine(31.0, 5120.0, 4096, i + 1.0), 5120.0) for i in range(rows)]
    together = measure(waves)
    assert len(together) == rows
    for wave, (some, verdict) in zip(waves, together, strict=True):
        ((alone, its_verdict),) = measure([wave])
        assert verdict == its_verdict
        assert [level.name for level in some] == [level.name for level in alone]
        assert [level.value for level in some] == pytest.approx([level.value for level in alone], rel=2e-5)


NARROW = LevelSpec("hum", Quantity.VELOCITY, Detector.RMS, 95.0, 105.0)
SHARP = LevelSpec("mesh", Quantity.ACCELERATION, Detector.PEAK, 300.0, 700.0)
RHYTHM = LevelSpec("rhythm", Quantity.ACCELERATION, Detector.RMS, 20.0, 200.0, of_envelope=True)
GRID = MaskSpec("grid", Quantity.VELOCITY, 20.0, 500.0, 10.0, given=((20.0, 1e-3), (500.0, 1e-3)))
CHOICES: tuple[set[str], ...] = (
    {"velocity_rms"},
    {"kurtosis", "acceleration_peak"},
    {"displacement_pp"},
    {"envelope_peak", "velocity_rms"},
    set(),
)


@pytest.mark.parametrize("rows", [1, 2, 5])
@pytest.mark.parametrize("wanted", CHOICES, ids=lambda names: "+".join(sorted(names)) or "none")
@pytest.mark.parametrize("own", [(), (NARROW, SHARP), (NARROW, RHYTHM)], ids=["no bands", "bands", "rhythm"])
def test_fewer_levels_are_the_same_levels(rows: int, wanted: set[str], own: tuple[LevelSpec, ...]) -> None:
    """What is not asked for is not made, and what is does not change by it: neither value, band nor verdict."""
    shift = velocity_sine(3.0, 5120.0, 4096, 20.0)  # does not fit the record, so that its constant matters
    waves = [captured(RNG.normal(size=4096) + shift + velocity_sine(31.0, 5120.0, 4096, i + 1.0), 5120.0) for i in range(rows)]
    waves = [replace(wave, bands=own, masks=(GRID,)) for wave in waves]
    every = measure(waves)
    some = measure([replace(wave, levels=frozenset(wanted)) for wave in waves])
    with_spectra = measure_with_spectra([replace(wave, levels=frozenset(wanted)) for wave in waves])
    names = {*wanted, *(spec.name for spec in own), GRID.name}
    for (levels, verdict), (fewer, its_verdict), (again, _, spectrum, of_envelope) in zip(
        every, some, with_spectra, strict=True
    ):
        assert verdict == its_verdict
        left = [level for level in levels if level.name in names]
        assert [level.name for level in fewer] == [level.name for level in again] == [level.name for level in left]
        for one, other, third in zip(left, fewer, again, strict=True):
            assert one[2:] == other[2:] == third[2:]
            assert [other.value, third.value] == pytest.approx([one.value] * 2, rel=1e-4)
        assert spectrum is not None
        assert of_envelope is not None


def test_mixed_lengths_rates_and_bands_keep_their_order() -> None:
    waves = [
        captured(velocity_sine(50.0, fs, n, v), fs, band)
        for v, (fs, n, band) in enumerate(
            [(2560.0, 4096, USUAL), (5120.0, 16384, SLOW), (2560.0, 4096, SLOW), (2560.0, 5000, USUAL)] * 3, start=1
        )
    ]
    for v, (found, _) in enumerate(measure(waves), start=1):
        assert found[0].name == "velocity_rms"
        assert found[0].value == pytest.approx(1e-3 * v, rel=2e-3)
        assert found[0].band == waves[v - 1].band


def test_float32_against_float64() -> None:
    """The plain definitions in float64 on the same counts."""
    for seed in range(5):
        wave = captured(np.random.default_rng(seed).standard_t(4, size=16384), 12800.0)
        x = wave.counts * wave.si_per_count
        x = x - x.mean()
        found = {level.name: level.value for level in measure([wave])[0][0]}
        assert found["acceleration_rms"] == pytest.approx(x.std(), rel=1e-6)
        assert found["acceleration_peak"] == pytest.approx(np.abs(x).max(), rel=1e-6)
        assert found["crest_factor"] == pytest.approx(np.abs(x).max() / x.std(), rel=1e-6)
        assert found["kurtosis"] == pytest.approx(scipy.stats.kurtosis(x, fisher=False), rel=1e-5)


def test_measuring_leaves_the_samples_alone() -> None:
    wave = captured(RNG.normal(size=4096), 2560.0)
    before = wave.counts.copy()
    wave.counts.flags.writeable = False
    measure([wave, wave, wave])
    np.testing.assert_array_equal(wave.counts, before)


def test_samples_that_are_a_view_of_the_payload() -> None:
    signal: np.ndarray[tuple[int], np.dtype[np.int16]] = np.array(RNG.normal(size=4096) * 1000.0, "<i2")
    odd = np.frombuffer(b"\0" + signal.tobytes(), "<i2", 4096, offset=1)  # unaligned, read-only
    assert measure([counted(signal)])[0][0] == measure([Waveform(odd, 0.01, 2560.0, USUAL, None, None, False)])[0][0]


@settings(max_examples=150, deadline=None)
@given(
    counts=st.one_of(
        hnp.arrays(np.int16, st.integers(0, 300)),
        st.builds(lambda n, a, b: np.resize(np.array([a, a, a, b, b, b, b], np.int16), n), st.integers(0, 3000),
                  st.integers(-32768, 32767), st.integers(-32768, 32767)),
    ),
    fs_hz=st.one_of(st.floats(1.0, 1e5), st.floats(min_value=5e-324, max_value=1.7e308, allow_subnormal=True)),
    si=st.floats(1e-12, 1e6),
    band=st.sampled_from([USUAL, SLOW, Band(0.0, 5.0), Band(0.5, 0.6), Band(1000.0, 20000.0)]),
    envelope_band=st.sampled_from([None, Band(500.0, 2000.0), Band(0.0, 1e9)]),
    range_si=st.one_of(st.none(), st.floats(1e-3, 1e4)),
    missing=st.booleans(),
)  # fmt: skip
def test_nothing_a_sensor_sends_makes_it_raise(
    counts: np.ndarray[tuple[int], np.dtype[np.int16]],
    fs_hz: float,
    si: float,
    band: Band,
    envelope_band: Band | None,
    range_si: float | None,
    missing: bool,
) -> None:
    ((found, verdict),) = measure([Waveform(counts, si, fs_hz, band, envelope_band, range_si, missing)])
    assert len({level.name for level in found}) == len(found)
    for level in found:
        assert math.isfinite(level.value)
        assert level.value >= 0.0
        assert level.band is not None
    if len(found) < len(LEVELS):
        assert verdict.flaws or verdict.remarks
    values = {level.name: level.value for level in found}
    if "crest_factor" in values:
        assert values["crest_factor"] >= 1.0 - 1e-5
        assert values["kurtosis"] >= 1.0 - 1e-5
        assert values["acceleration_peak"] >= values["acceleration_rms"] * (1.0 - 1e-5)
