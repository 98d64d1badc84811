"""Spectra over shaft angle, and envelopes without what repeats itself, of signals that are known.

Separation before demodulation: R. B. Randall, J. Antoni, Mech. Syst. Signal Process. 25 (2011) 485-520 (from memory).
"""

import math
from dataclasses import replace

import numpy as np
import pytest

from edgemon.diagnosis.record import Channel, MachineFacts, Record
from edgemon.engine.look import Material, of_record
from edgemon.engine.look_spectrum import look_at_envelope, look_at_spectrum
from edgemon.errors import ParameterError
from edgemon.model.look import EnvelopeRequest, SpectrumRequest

FS, N = 5120.0, 32768
T = np.arange(N) / FS
RUN_UP = 24.0 * T + 0.75 * T**2 / (N / FS)  # 24 to 25.5 Hz, integral of an even rise
NOISE = np.random.default_rng(12).normal(size=N)
ORDERS = SpectrumRequest("acceleration", axis="orders", over_angle=True)


def made(samples: np.ndarray, speed_hz: float | None = 24.75) -> Material:
    return of_record(Record(samples[None], FS, (Channel("a"),)), 0, MachineFacts(speed_hz), "here")


def test_orders_of_a_run_up_are_lines_with_their_size() -> None:
    wave = sum(math.sqrt(2.0) * rms * np.cos(2.0 * np.pi * k * RUN_UP + k) for k, rms in ((1, 2.0), (23, 0.5)))
    whole = look_at_spectrum(made(np.asarray(wave) + 0.02 * NOISE), ORDERS)
    found = {round(peak.x): peak for peak in whole.peaks[:2]}
    assert set(found) == {1, 23}
    for order, rms in ((1, 2.0), (23, 0.5)):
        assert found[order].x == pytest.approx(order, rel=2e-3)
        assert found[order].amplitude == pytest.approx(rms, rel=0.05)
    assert "phase of 1x" in whole.source.speed_basis
    assert whole.source.rpm == pytest.approx(60.0 * 24.75, rel=2e-3)
    plain = look_at_spectrum(made(np.asarray(wave) + 0.02 * NOISE), replace(ORDERS, over_angle=False))
    assert max(plain.amplitude[round(20 * 24.75 / plain.line_hz) :]) < 0.2  # smeared over 23 x 1.5 Hz


def test_a_steady_machine_reads_the_same_over_angle() -> None:
    wave = math.sqrt(2.0) * 3.0 * np.cos(2.0 * np.pi * 7.3 * 24.75 * T) + np.cos(2.0 * np.pi * 24.75 * T)
    one, other = (look_at_spectrum(made(wave), replace(ORDERS, over_angle=turn)) for turn in (True, False))
    assert one.peaks[0].x == pytest.approx(other.peaks[0].x, rel=1e-4)
    assert one.peaks[0].amplitude == pytest.approx(3.0, rel=5e-3)
    assert "at one speed" in one.source.speed_basis


def test_without_a_speed_there_is_no_angle() -> None:
    with pytest.raises(ParameterError, match="running speed"):
        look_at_spectrum(made(NOISE, None), replace(ORDERS, axis="Hz"))


def impacts(rate_hz: float) -> np.ndarray:
    ring = np.exp(-np.arange(120) / 20.0) * np.sin(2.0 * np.pi * 1500.0 / FS * np.arange(120))
    out = np.zeros(N)
    jitter = np.random.default_rng(5)
    for at in np.arange(0.0, N / FS, 1.0 / rate_hz):
        start = round((at + 0.01 * jitter.normal() / rate_hz) * FS)
        out[max(0, start) : start + 120] += ring[: max(0, min(120, N - start))][: out[max(0, start) : start + 120].size]
    return out


@pytest.mark.parametrize("way", ["synchronous", "prediction"])
def test_what_repeats_with_the_shaft_is_taken_out_of_an_envelope(way: str) -> None:
    """A mesh modulated once a turn, in the band of the impacts: it rules the envelope until it is taken out."""
    turns = 24.75 * T
    mesh = 2.0 * (1.0 + 0.8 * np.cos(2.0 * np.pi * turns)) * np.cos(2.0 * np.pi * 60.0 * turns)
    material = made(mesh + np.cos(2.0 * np.pi * turns) + 1.5 * impacts(88.4) + 0.02 * NOISE)
    wanted = EnvelopeRequest(band_low_hz=1200.0, band_high_hz=1800.0, fmax_hz=300.0)
    before, after = look_at_envelope(material, wanted), look_at_envelope(material, replace(wanted, separation=way))
    assert before.peaks[0].hz == pytest.approx(24.75, rel=0.01)
    assert after.peaks[0].hz == pytest.approx(88.4, rel=0.01)
    assert "repeating parts taken out by" in after.kind
    as_filed = look_at_envelope(replace(material, separation=way), wanted)
    assert as_filed == after
    assert look_at_envelope(replace(material, separation=way), replace(wanted, separation="none")) == before


def test_a_separation_that_cannot_be_is_refused() -> None:
    with pytest.raises(ParameterError, match="running speed"):
        look_at_envelope(made(NOISE, None), EnvelopeRequest(separation="synchronous"))
    with pytest.raises(ParameterError, match="none, synchronous, prediction"):
        look_at_envelope(made(NOISE), EnvelopeRequest(separation="magic"))
    with pytest.raises(ParameterError):
        look_at_envelope(made(NOISE[:600]), EnvelopeRequest(separation="prediction"))
