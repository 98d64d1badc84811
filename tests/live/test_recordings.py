"""Open recordings through simulators, Mosquitto and daemon: levels as published against plain float64 calculations.

The second method reads the recordings by itself and never meets the product's code: one numpy.fft of the whole capture under
a Hann window, weights of ISO 2954's third-order edges written anew, kurtosis by scipy.stats.
"""

import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import scipy.signal
import scipy.stats
from numpy.typing import NDArray

from tests.support.broker import Mosquitto
from tests.support.daemon import DaemonProcess, Observer, wait_until

pytestmark = [pytest.mark.live, pytest.mark.recordings]

FOLDER = Path(os.environ.get("EDGEMON_RECORDINGS", "no-such-folder"))

CHOSEN = [
    "cwru-97-ok",  # 48 kHz, two channels
    "cwru-105-ir",
    "cwru-130-or",
    "mfpt-outer-v4",  # 48.8 kHz
    "hit-a-normal-600",  # 51.2 kHz
    "hit-a-or5-1200",
    "mems-1200-00lb-ok",  # three axes in volts
    "mems-2400-00lb-unbalance-heavy",
    "gear-ok-load40",  # two channels
    "gear-brokentooth-load80",
    "ims-na-0",  # snapshots of 1 s
    "ims-if-0",
    "phone-m1-healthy-30hz",  # 99 Hz
    "femto-1-1",  # snapshots of 0.1 s
]
G = 9.80665  # standard gravity, m/s2 (CGPM 1901); volts are read at 1 V/g, as the plant file written says


def simulators(*arguments: str) -> str:
    done = subprocess.run(
        [sys.executable, "-m", "simulators", *arguments], capture_output=True, text=True, timeout=120, check=False
    )
    assert done.returncode == 0, done.stderr
    return done.stderr


def only() -> list[str]:
    return [argument for name in CHOSEN for argument in ("--only", name)]


def last_capture(record: dict[str, Any]) -> tuple[NDArray[np.float64], float]:
    """The last snapshot of a record, or all of it: m/s2, shape (channel, n), and the sample rate."""
    with np.load(FOLDER / record["file"], allow_pickle=False) as stored:
        if "samples" in stored:
            counts = stored["samples"][:, -int(record.get("snapshot_samples") or stored["samples"].shape[1]) :]
            scale = stored["scale"].astype(np.float64)
        else:
            counts = stored["raw"][-1]
            scale = np.full(len(counts), float(stored["raw_scale"]))
    units = [channel["unit"] for channel in record["channels"]]
    si = np.array([1.0 if unit.startswith("m/s2") else G for unit in units])
    return counts * (scale * si)[:, None], float(record["fs_hz"])


def independent(x: NDArray[np.float64], fs: float) -> dict[str, float]:
    x = x - x.mean()
    f = np.maximum(np.fft.rfftfreq(x.size, 1.0 / fs), 1e-9)
    corner = (1.0 / 0.81 - 1.0) ** (1.0 / 6.0)  # gain 0.9 at both edges, the middle of the mask's 0.8 to 1.0
    gain = ((1.0 + (10.0 * corner / f) ** 6) * (1.0 + (corner * f / 1000.0) ** 6)) ** -0.5
    hann = scipy.signal.get_window("hann", x.size)
    lines = np.fft.rfft(x * hann) * gain / (2.0 * np.pi * f)
    lines[0] = 0.0
    return {
        "velocity_rms": 1e3 * float(np.sqrt(2.0 * np.sum(np.abs(lines) ** 2) / (x.size * np.sum(hann**2)))),
        "acceleration_rms": float(x.std()),
        "acceleration_peak": float(np.abs(x).max()),
        "kurtosis": float(scipy.stats.kurtosis(x, fisher=False)),
    }


TOLERANCE = {"velocity_rms": 0.02, "acceleration_rms": 1e-4, "acceleration_peak": 1e-4, "kurtosis": 5e-4}
"""Float32 against float64; velocity: another window, and the product stops at four times the upper edge."""

UNITS = {"velocity_rms": "mm/s", "acceleration_rms": "m/s2", "acceleration_peak": "m/s2", "kurtosis": "1"}
TOO_SHORT = {"femto-1-1"}
"""0.1 s is one period of 10 Hz: a velocity from it is marked as doubtful, and windows decide what it is."""

RISING = {"ims-if-0"}
"""In its last snapshot, at the end of the test, the input is overdriven: most of the velocity lies below 20 Hz."""


def share_below(f_hz: float, x: NDArray[np.float64], fs: float) -> float:
    """Share of the velocity's power from 5 Hz on that lies below a frequency."""
    f, power = scipy.signal.periodogram(x, fs, "hann")
    power[1:] /= f[1:] ** 2
    return float(power[(f >= 5.0) & (f < f_hz)].sum() / power[f >= 5.0].sum())


def test_levels_published_are_those_of_an_independent_calculation(tmp_path: Path) -> None:
    manifest = FOLDER / "manifest.json"
    if not manifest.exists():
        pytest.skip("set EDGEMON_RECORDINGS to the folder of open recordings (with manifest.json)")
    records = {one["id"]: one for one in json.loads(manifest.read_text())["records"] if one["id"] in CHOSEN}
    with Mosquitto(tmp_path / "broker") as broker:
        simulators("plant-file", str(FOLDER), "--out", str(tmp_path / "em"), "--broker", broker.url, *only())
        with (
            Observer(broker.port, "edgemon/v1/site/recordings/#") as witness,
            DaemonProcess(tmp_path / "em") as daemon,
        ):
            said = simulators("recordings", str(FOLDER), "--broker", broker.url, "--samples", "0", "--parts", "3", *only())
            sent = int(said.splitlines()[-1].split(", ")[1].split()[0])
            gateway = wait_until(lambda: (found := daemon.snapshot().gateway).messages >= sent and found, 60.0)
            assert (gateway.messages, gateway.rejected, gateway.repeats, gateway.open_captures) == (sent, 0, 0, 0)
            assert gateway.captures * 3 == sent
            states = {f"{machine.id}/{one.point}": one for machine in daemon.snapshot().machines for one in machine.points}
            assert set(states) == {f"{name}/{axis}" for name, one in records.items() for axis in "xyz"[: len(one["channels"])]}
            newest = {point: f"edgemon/v1/site/recordings/machine/{point}" for point in states}
            wait_until(
                lambda: all(published(witness, newest[point])["capture"] == one.capture for point, one in states.items())
            )
            documents = {point: published(witness, topic) for point, topic in newest.items()}
            assert daemon.terminate()[0] == 0
            assert "Traceback" not in daemon.log
    compare(records, documents)


def published(witness: Observer, topic: str) -> dict[str, Any]:
    one = witness.newest.get(topic)
    return one.document if one else {"capture": None}


def compare(records: dict[str, Any], documents: dict[str, dict[str, Any]]) -> None:
    """Print both side by side, then hold them against each other."""
    wrong = []
    print(f"\n{'recording':32}{'point':6}{'level':18}{'edgemon':>12}{'independent':>12} {'unit':6}{'difference':>10}")
    for name, record in records.items():
        samples, fs = last_capture(record)
        for axis, x in zip("xyz", samples, strict=False):
            document = documents[f"{name}/{axis}"]
            assert (document["state"], document["sim"]) == ("normal", True)
            if name in RISING:
                # the newest snapshot is not fit: what is shown is the one before it, and said not to be good
                assert (document["quality"], document["reasons"]) == ("bad", ["low-frequency-rise"])
                assert share_below(20.0, x, fs) > 0.9
                continue
            assert (document["quality"], document["reasons"]) == ("good", []), (name, axis)
            for level, expected in independent(x, fs).items():
                found = document["levels"][level]
                differs = found["value"] / expected - 1.0
                row = f"{name:32}{axis:6}{level:18}{found['value']:12.5g}{expected:12.5g} {found['unit']:6}{differs:+10.2%}"
                print(row)
                assert found["unit"] == UNITS[level]
                if abs(differs) > TOLERANCE[level] and not (level == "velocity_rms" and name in TOO_SHORT):
                    wrong.append(row)
    assert wrong == []
