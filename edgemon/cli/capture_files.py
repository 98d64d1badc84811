"""Stored captures as files: counts with their scale and a JSON text of facts, as `edgemon diagnose` reads them."""

import json
from pathlib import Path

import numpy as np

from edgemon.errors import EdgemonError
from edgemon.model.instant import format_instant
from edgemon.model.reading import Capture


def write_capture(folder: Path, capture: Capture) -> Path:
    """Write a capture as `.npz` and say where; the name is made of sensor and time, never of what came over the network.

    Raises
    ------
    EdgemonError
        The folder cannot be made or written, or is full.
    """
    stamp = format_instant(capture.taken_at).replace(":", "").replace(".", "-")
    meta = {
        "fs_hz": capture.fs_hz,
        "quantity": "acceleration",
        "channels": [{"name": axis, "axis": axis, "unit": "m/s2"} for axis in capture.axes],
        "sensor": capture.sensor,
        "capture": capture.id,
        "taken_at": capture.taken_at,
        "missing_parts": capture.missing_parts,
        "sim": capture.sim,
    }
    if capture.rpm:  # at a standstill there is no speed that orders could be of
        meta["shaft_speed_rpm"] = capture.rpm
    try:
        folder.mkdir(parents=True, exist_ok=True)
        path = _free(folder, f"{capture.sensor}-{stamp}")
        samples = np.stack(list(capture.axes.values()))
        np.savez(
            path, samples=samples, scale=np.array(capture.si_per_count), fs_hz=np.array(capture.fs_hz), meta=json.dumps(meta)
        )
    except OSError as error:
        raise EdgemonError(f"cannot be written: {error.strerror or error}", str(error.filename or folder)) from error
    except ValueError as error:  # axes of different length: parts of one are missing
        raise EdgemonError(f"capture {capture.id!r} of {capture.sensor}: {error}", str(folder)) from error
    return path


def _free(folder: Path, stem: str) -> Path:
    """Give a name that is not taken: two captures of one time differ in their id only."""
    path, number = folder / f"{stem}.npz", 1
    while path.exists():
        number += 1
        path = folder / f"{stem}-{number}.npz"
    return path
