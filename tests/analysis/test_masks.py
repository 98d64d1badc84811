"""Spectra against masks: tones by a closed form, noise by a second method (scipy.signal.welch)."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.signal import welch

from edgemon.analysis.masks import learn, lines_of
from edgemon.analysis.measure import Waveform, measure
from edgemon.errors import ParameterError
from edgemon.model.derived import MaskSpec
from edgemon.model.level import Band, Detector, Level
from edgemon.units import Quantity
from tests.support.captures import FS_HZ, SCALE, tone_counts

BAND = Band(10.0, 1000.0)
WRITTEN = MaskSpec("v_mask", Quantity.VELOCITY, 10.0, 1000.0, 5.0, given=((10.0, 2e-3), (1000.0, 2e-3)))
ORDERS = MaskSpec("o_mask", Quantity.VELOCITY, 0.5, 10.0, 0.25, in_orders=True, given=((0.5, 2e-3), (10.0, 2e-3)))


def judged(counts: np.ndarray, spec: MaskSpec, rpm: float | None = None) -> Level | None:
    wave = Waveform(counts.astype(np.int16), SCALE, FS_HZ, BAND, None, None, False, rpm=rpm, masks=(spec,))
    ((levels, _),) = measure([wave])
    return next((level for level in levels if level.name == spec.name), None)


@pytest.mark.parametrize(("detector", "factor"), [(Detector.RMS, 1.0), (Detector.PEAK, np.sqrt(2.0))])
def test_a_tone_is_its_velocity_over_the_limit_at_its_frequency(detector: Detector, factor: float) -> None:
    # closed form: 3 mm/s r.m.s. against 2 mm/s is 1.5, at 150 Hz; the peak of a sine is sqrt(2) times its r.m.s. value
    level = judged(tone_counts(3.0, 150.0), replace(WRITTEN, detector=detector))
    assert level is not None
    assert level.value == pytest.approx(1.5 * factor, rel=0.01)
    assert "worst at 150 Hz" in level.remark
    assert level.quantity is Quantity.RATIO


def test_between_two_written_frequencies_the_limit_goes_straight() -> None:
    # closed form: halfway between 1 and 3 mm/s the limit is 2 mm/s
    level = judged(tone_counts(3.0, 150.0), replace(WRITTEN, given=((100.0, 1e-3), (200.0, 3e-3))))
    assert level is not None
    assert level.value == pytest.approx(1.5, rel=0.01)


def test_orders_follow_the_speed_and_need_one() -> None:
    for rpm in (1500.0, 3000.0):
        level = judged(tone_counts(3.0, 2.0 * rpm / 60.0), ORDERS, rpm)
        assert level is not None
        assert level.value == pytest.approx(1.5, rel=0.01)
        assert "(2.00 x speed)" in level.remark
    assert judged(tone_counts(3.0), ORDERS, None) is None


def test_noise_in_one_line_agrees_with_welch() -> None:
    noise = np.random.default_rng(5).normal(0.0, 2000.0, 1 << 17).astype(np.int16)
    spec = MaskSpec("a", Quantity.ACCELERATION, 100.0, 2500.0, 20.0, floor=1e-3)
    found = lines_of(noise, FS_HZ, BAND, None, spec, SCALE, None)
    assert not isinstance(found, str)
    f, density = welch(noise * SCALE, FS_HZ, nperseg=4096)
    second = np.sqrt(np.mean(density[(f > 100.0) & (f < 2500.0)]) * 20.0)
    amplitude = found.amplitude[6:125].astype(float)
    assert np.sqrt(np.mean(amplitude**2)) == pytest.approx(second, rel=0.03)
    assert found.amplitude[:5].max() == 0.0  # below the band


def test_lines_narrower_than_the_resolution_make_no_level() -> None:
    assert "narrower" in str(lines_of(tone_counts(1.0), FS_HZ, BAND, None, replace(WRITTEN, width=1.0), SCALE, None))
    assert judged(tone_counts(1.0), replace(WRITTEN, width=1.0)) is None


def test_an_envelope_mask_sees_the_modulation() -> None:
    # closed form: (1 + 0.5 cos) A has an envelope whose line at the modulation is 0.5 A / sqrt(2)
    t = np.arange(16384) / FS_HZ
    counts = 4000.0 * (1.0 + 0.5 * np.cos(2 * np.pi * 90.0 * t)) * np.sin(2 * np.pi * 2000.0 * t)
    level = judged(
        counts, MaskSpec("e", Quantity.ACCELERATION, 10.0, 500.0, 5.0, envelope=True, given=((10.0, 1.0), (500.0, 1.0)))
    )
    assert level is not None
    assert level.value == pytest.approx(0.5 * 4000.0 * SCALE / np.sqrt(2.0), rel=0.02)
    assert "worst at 90 Hz" in level.remark


def test_a_learnt_mask_is_the_highest_of_each_line_and_no_spectrum_it_knows_exceeds_it() -> None:
    spec = replace(WRITTEN, given=(), floor=0.05e-3)
    spectra = [lines_of(tone_counts(v, 150.0), FS_HZ, BAND, None, spec, SCALE, None) for v in (1.0, 1.1, 1.2, 1.0)]
    mask, ratios = learn([one for one in spectra if not isinstance(one, str)], spec.floor)
    assert float(mask.amplitude[30]) == pytest.approx(1.2e-3, rel=0.01)  # line 30 is 150 Hz
    assert float(mask.amplitude.min()) == pytest.approx(0.05e-3)
    # against the mask of the others: the highest reaches 1.2 / 1.1, the others their share of 1.2
    assert ratios == pytest.approx([1.0 / 1.2, 1.1 / 1.2, 1.2 / 1.1, 1.0 / 1.2], rel=0.01)
    with pytest.raises(ParameterError):
        learn([mask], 1e-3)


def test_a_mask_nobody_approved_judges_nothing_and_another_speed_is_not_alike() -> None:
    assert judged(tone_counts(9.0), replace(WRITTEN, given=(), floor=1e-4)) is None
    learnt = replace(WRITTEN, given=(), floor=1e-4, learnt=(1e-3,) * 201, rpm=3000.0, rpm_tolerance=0.03)
    assert judged(tone_counts(9.0), learnt, 2000.0) is None
    assert judged(tone_counts(9.0), learnt, 3050.0) is not None
