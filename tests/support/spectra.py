"""Spectra and level packs as sensors would send them, written here without any code of the product."""

import json
from typing import Any

import cbor2
import numpy as np

LINE_HZ = 1.25
LINES = 800


def velocity_lines(rms_mm_s: float, hz: float = 50.0, count: int = LINES, seed: int = 0) -> bytes:
    """One sine on a line under a Hann window, half of it in either neighbour, over a little noise; counts of 1e-3 mm/s."""
    amplitude = np.random.default_rng(seed).integers(0, 3, count).astype(float)
    k = round(hz / LINE_HZ)
    amplitude[k - 1 : k + 2] = 1e3 * rms_mm_s * np.array([0.5, 1.0, 0.5])
    return bytes(np.rint(amplitude).astype("<u2").tobytes())


def spectrum(t: float, rms_mm_s: float = 1.0, axial_mm_s: float | None = None, **more: Any) -> bytes:
    """One whole spectrum of axes x and z, CBOR; mm/s r.m.s., 0 to 1000 Hz in 800 lines."""
    count = more.pop("count", LINES)
    axial = rms_mm_s / 2 if axial_mm_s is None else axial_mm_s
    fields = {
        **{"id": f"p-{t:.3f}", "t": t, "u": "mm/s", "detector": "rms", "df": LINE_HZ, "window": "hann", "scale": 1e-3},
        **{"axes": {"x": velocity_lines(rms_mm_s, count=count, seed=int(t)), "z": velocity_lines(axial, count=count)}},
    }
    return cbor2.dumps({**fields, **more})


def parts(t: float, rms_mm_s: float, count: int) -> list[bytes]:
    """The same spectrum in parts."""
    whole = cbor2.loads(spectrum(t, rms_mm_s))
    step = 2 * LINES // count
    return [
        cbor2.dumps(
            {**whole, "part": [k + 1, count], "axes": {a: b[k * step : (k + 1) * step] for a, b in whole["axes"].items()}}
        )
        for k in range(count)
    ]


def pack(t: float, **levels: tuple[float, str]) -> bytes:
    """A SenML pack of levels of axis x: name = (value, unit)."""
    records: list[dict[str, Any]] = [{"n": f"x/{name}", "v": value, "u": unit} for name, (value, unit) in levels.items()]
    return json.dumps([{"bt": t, **records[0]}, *records[1:]]).encode()
