"""Speed estimates: combs of known speed, refusal of noise and of supply lines, and open recordings with a measured speed."""

import json
import os
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from edgemon.analysis.speed import estimate_speed
from edgemon.errors import ParameterError

FS, N = 5120.0, 16384
T = np.arange(N) / FS
FOLDER = Path(os.environ.get("EDGEMON_RECORDINGS", "no-such-folder"))
MANIFEST = FOLDER / "manifest.json"
RECORDS: list[dict[str, Any]] = json.loads(MANIFEST.read_text())["records"] if MANIFEST.exists() else []


def comb(hz: float, orders: tuple[int, ...], noise: float = 1.0, seed: int = 0) -> np.ndarray[Any, np.dtype[np.float64]]:
    lines = [np.cos(2.0 * np.pi * k * hz * T + k) for k in orders]
    return np.asarray(np.sum(lines, axis=0) + noise * np.random.default_rng(seed).normal(size=N))


@pytest.mark.parametrize("rpm", [990.0, 1482.0, 2963.0])
@pytest.mark.parametrize("orders", [(1, 2, 3), (1, 3, 5, 7), (2, 3, 5)])
def test_a_comb_gives_its_speed(rpm: float, orders: tuple[int, ...]) -> None:
    found = estimate_speed(comb(rpm / 60.0, orders), FS, rpm * 1.012, 0.03)
    assert found is not None
    assert found.rpm == pytest.approx(rpm, rel=5e-4)
    assert found.confidence >= 0.95
    assert found.method == "lines at " + ", ".join(f"{k}x" for k in orders)


@pytest.mark.parametrize("n", [1024, 4096, 16384])
def test_noise_is_refused(n: int) -> None:
    for seed in range(40):
        assert estimate_speed(np.random.default_rng(seed).normal(size=n), FS, 1480.0, 0.03) is None


@pytest.mark.parametrize(("supply", "nominal"), [(50.0, 1480.0), (60.0, 1780.0), (50.0, 2960.0), (60.0, 3560.0)])
def test_supply_lines_alone_give_no_speed(supply: float, nominal: float) -> None:
    assert estimate_speed(comb(supply, (1, 2, 3, 4, 5, 6)), FS, nominal, 0.03) is None
    with_shaft = comb(supply, (1, 2, 4)) + comb(nominal / 60.0, (1, 3, 5, 7), 0.0)
    found = estimate_speed(with_shaft, FS, nominal * 1.005, 0.03)
    assert found is not None
    assert found.rpm == pytest.approx(nominal, rel=1e-3)


def test_one_line_or_a_common_divisor_is_not_enough() -> None:
    assert estimate_speed(comb(24.7, (1,)), FS, 1480.0, 0.03) is None
    assert estimate_speed(comb(24.7, (2, 4, 6)), FS, 1480.0, 0.03) is None  # as well a shaft twice as fast


def test_a_comb_elsewhere_is_not_taken() -> None:
    for nominal in (1300.0, 1650.0, 1900.0):
        assert estimate_speed(comb(24.7, (1, 2, 3, 5)), FS, nominal, 0.03) is None


@pytest.mark.parametrize(("nominal", "tolerance"), [(0.0, 0.03), (1480.0, 0.0), (1480.0, 0.5)])
def test_what_cannot_be_is_refused(nominal: float, tolerance: float) -> None:
    with pytest.raises(ParameterError):
        estimate_speed(comb(24.7, (1, 2)), FS, nominal, tolerance)


@pytest.mark.recordings
def test_recordings_with_a_measured_speed() -> None:
    """Given a nominal speed 0.8 % off: right where given at all; given a wrong one: hardly ever anything."""
    if not RECORDS:
        pytest.skip("set EDGEMON_RECORDINGS to the folder of open recordings (with manifest.json)")
    errors: list[float] = []
    refused = wrong = asked = 0
    for record in RECORDS:
        if record["kind"] != "waveform" or not str(record.get("shaft_speed_basis", "")).startswith("measured"):
            continue
        rpm = float(record["shaft_speed_rpm"])
        with np.load(FOLDER / record["file"], allow_pickle=False) as archive:
            channels = archive["samples"].astype(np.float64)
        for samples in channels:
            found = estimate_speed(samples, float(record["fs_hz"]), 1.008 * rpm, 0.03)
            refused += found is None
            errors += [] if found is None else [abs(found.rpm / rpm - 1.0)]
            for off in (0.87, 1.13, 1.29):
                asked += 1
                wrong += estimate_speed(samples, float(record["fs_hz"]), off * rpm, 0.03) is not None
    print(
        f"\n{len(errors)} estimates, {refused} refused; worst error {100.0 * max(errors):.3f} %; {wrong} of {asked} by chance"
    )
    assert max(errors) < 2e-3
    assert wrong <= 0.05 * asked
    assert len(errors) >= 5
