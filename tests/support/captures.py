"""Captures as a sensor would send them, written here without any code of the product."""

from itertools import pairwise
from typing import Any

import cbor2
import numpy as np

FS_HZ = 6400.0
SAMPLES = 4096
SCALE = 0.005
"""m/s2 per count: +-164 m/s2 in 16 bits."""


def tone_counts(velocity_rms_mm_s: float, hz: float = 50.0, samples: int = SAMPLES, phase: float = 0.3) -> np.ndarray[Any, Any]:
    """Counts of a sine whose velocity r.m.s. is given: a = sqrt(2) * v * 2 pi f (closed form)."""
    amplitude = np.sqrt(2.0) * velocity_rms_mm_s * 1e-3 * 2.0 * np.pi * hz
    t = np.arange(samples) / FS_HZ
    counts: np.ndarray[Any, Any] = np.round(amplitude * np.sin(2.0 * np.pi * hz * t + phase) / SCALE).astype("<i2")
    return counts


def capture(
    t: float,
    velocity_rms_mm_s: float = 1.0,
    axial_mm_s: float | None = None,
    capture_id: str | None = None,
    counts: np.ndarray[Any, Any] | None = None,
    **more: Any,
) -> bytes:
    """One whole capture of axes x and z, CBOR."""
    x = tone_counts(velocity_rms_mm_s, phase=0.3 + t % 7) if counts is None else counts
    z = tone_counts(velocity_rms_mm_s / 2 if axial_mm_s is None else axial_mm_s, phase=0.1 + t % 5)
    return cbor2.dumps(
        {
            "id": capture_id or f"c-{t:.3f}",
            "t": t,
            "fs": FS_HZ,
            "u": "m/s2",
            "scale": SCALE,
            "axes": {"x": x.tobytes(), "z": z.tobytes()},
            **more,
        }
    )


def parts(t: float, velocity_rms_mm_s: float, count: int, capture_id: str = "long") -> list[bytes]:
    """The same capture in parts."""
    x, z = tone_counts(velocity_rms_mm_s), tone_counts(velocity_rms_mm_s / 2)
    cuts = np.linspace(0, len(x), count + 1).astype(int)
    return [
        capture_part(t, capture_id, x[low:high], z[low:high], number, count)
        for number, (low, high) in enumerate(pairwise(cuts), start=1)
    ]


def capture_part(t: float, capture_id: str, x: np.ndarray[Any, Any], z: np.ndarray[Any, Any], number: int, count: int) -> bytes:
    """One part, CBOR."""
    return cbor2.dumps(
        {
            "id": capture_id,
            "t": t,
            "fs": FS_HZ,
            "u": "m/s2",
            "scale": SCALE,
            "axes": {"x": x.tobytes(), "z": z.tobytes()},
            "part": [number, count],
        }
    )
