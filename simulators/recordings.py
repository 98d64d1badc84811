"""A folder of open recordings as captures of wireless sensors: counts as they are, with each record's own scale."""

import json
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from edgemon.model.ids import is_identifier
from simulators.errors import SimulatorError
from simulators.payloads import Waveform
from simulators.signals import AXES


@dataclass(frozen=True, slots=True)
class Unit:
    """How a channel's numbers are sent: unit of the contract, factor on the scale, and whether its size can be trusted."""

    name: str
    factor: float
    calibrated: bool


@dataclass(frozen=True, slots=True, eq=False)
class Recording:
    """One record: its samples, what a gateway must know of them, and nothing that states the condition."""

    id: str
    samples: NDArray[np.int16]
    """Shape (channel, n)."""
    scale: tuple[float, ...]
    """One count of each channel, in `units`; an offset is left out: it is constant and no vibration."""
    units: tuple[Unit, ...]
    fs_hz: float
    rpm: float | None
    machine: str
    channels: tuple[str, ...]
    bearings: tuple[dict[str, float] | None, ...]
    """Geometry of the bearing at each channel, in the words of the plant file."""
    snapshot: int | None
    """Samples of each of the separate snapshots that the record strings together."""

    @property
    def sensor(self) -> str:
        """Sensor id, made of the record's id."""
        return self.id

    @property
    def axes(self) -> tuple[str, ...]:
        """Axis of each channel, in order x, y, z."""
        return AXES[: self.samples.shape[0]]


def identifier_of(text: str) -> str:
    """Make an identifier of the message contract of a record's id."""
    name = re.sub(r"[^a-z0-9_-]+", "-", text.lower()).strip("-_")[:63]
    if not is_identifier(name):
        raise SimulatorError("no identifier can be made of this record's id", repr(text))
    return name


def unit_of(text: str) -> Unit:
    """Read a manifest's words for a channel's unit."""
    words = text.lower()
    if words.startswith("m/s2"):
        return Unit("m/s2", 1.0, calibrated=True)
    if words.startswith("v "):
        return Unit("mV", 1e3, calibrated=False)
    if words.startswith("g") and (len(words) == 1 or not words[1].isalpha()):
        return Unit("g", 1.0, calibrated=True)
    if words.startswith("unit not stated"):
        return Unit("g", 1.0, calibrated=False)
    raise SimulatorError("unit of an acceleration that is not understood", repr(text))


def read_recordings(folder: Path, names: tuple[str, ...] = ()) -> tuple[list[Recording], list[str]]:
    """Read the records of a folder that are waveforms of acceleration.

    Parameters
    ----------
    folder : Path
        Folder with `manifest.json` and the `.npz` files that it names.
    names : tuple of str
        Only these records; all where empty.

    Returns
    -------
    list of Recording
        In the manifest's order.
    list of str
        Records left out, each with the reason.

    Raises
    ------
    SimulatorError
        No folder, no manifest, a record that is not there or cannot be read.
    """
    listed = _manifest(folder)
    unknown = sorted(set(names) - {str(record.get("id")) for record in listed})
    if unknown:
        raise SimulatorError(f"no record {unknown[0]!r} in its manifest", str(folder))
    found: list[Recording] = []
    left_out: list[str] = []
    for record in listed:
        if names and record["id"] not in names:
            continue
        if record.get("kind") == "waveform" or "raw_snapshots" in record:
            found.append(_read(folder, record))
        else:
            left_out.append(f"{record['id']}: a {record.get('kind')} without waveforms")
    return found, left_out


def _manifest(folder: Path) -> list[dict[str, Any]]:
    """Read the list of records."""
    path = folder / "manifest.json"
    try:
        listed = json.loads(path.read_text(encoding="utf-8"))["records"]
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise SimulatorError(f"not a manifest with a list `records`: {error!r}", str(path)) from error
    if not isinstance(listed, list) or not all(isinstance(record, dict) and "id" in record for record in listed):
        raise SimulatorError("`records` must be a list of records with an id", str(path))
    return listed


def _read(folder: Path, record: dict[str, Any]) -> Recording:
    """Read one record with its samples."""
    path = folder / str(record.get("file", f"{record['id']}.npz"))
    try:
        with np.load(path, allow_pickle=False) as stored:
            meta = json.loads(str(stored["meta"]))
            if "samples" in stored:
                samples, scale, snapshot = stored["samples"], stored["scale"], record.get("snapshot_samples")
                fs_hz = float(stored["fs_hz"])
            else:
                raw = stored["raw"]
                samples, snapshot = raw.transpose(1, 0, 2).reshape(raw.shape[1], -1), raw.shape[2]
                scale, fs_hz = np.full(raw.shape[1], float(stored["raw_scale"])), float(meta["fs_hz"])
    except (OSError, ValueError, KeyError) as error:
        raise SimulatorError(f"cannot be read: {error!r}", str(path)) from error
    channels = meta.get("channels", [])
    if samples.dtype != np.int16 or samples.ndim != 2 or not 1 <= samples.shape[0] <= len(AXES):
        raise SimulatorError(f"samples must be int16 of 1 to 3 channels, not {samples.dtype} {samples.shape}", str(path))
    if len(channels) != samples.shape[0] or scale.shape != (samples.shape[0],):
        raise SimulatorError("channels, scale and samples do not fit together", str(path))
    units = tuple(unit_of(str(channel["unit"])) for channel in channels)
    speed = meta.get("shaft_speed_rpm")
    return Recording(
        id=identifier_of(str(record["id"])),
        samples=samples,
        scale=tuple(float(one) * unit.factor for one, unit in zip(scale, units, strict=True)),
        units=units,
        fs_hz=fs_hz,
        rpm=float(speed) if isinstance(speed, int | float) else None,
        machine=str(meta.get("machine", record["id"])),
        channels=tuple(str(channel.get("location", channel["name"])) for channel in channels),
        bearings=tuple(_bearing(meta, str(channel.get("name"))) for channel in channels),
        snapshot=int(snapshot) if snapshot else None,
    )


def _bearing(meta: dict[str, Any], channel: str) -> dict[str, float] | None:
    """Give the geometry of the bearing at a channel, in the words of the plant file."""
    given = meta.get("bearing_fan_end" if channel == "FE" else "bearing")
    names = {
        "rolling_elements": "n_balls",
        "ball_diameter_mm": "ball_d_mm",
        "pitch_diameter_mm": "pitch_d_mm",
        "contact_angle_deg": "contact_deg",
    }
    if not isinstance(given, dict) or any(given.get(theirs) is None for theirs in names.values()):
        return None
    return {ours: given[theirs] for ours, theirs in names.items()}


def captures(record: Recording, start: float, longest: int = 0, sim: bool = True) -> Iterator[Waveform]:
    """Cut a record into captures that follow one another.

    Parameters
    ----------
    record : Recording
        The record.
    start : float
        UTC of its first sample, s.
    longest : int
        Samples of a capture at most; 0 for as many as there are. Snapshots are never joined.
    sim : bool
        Mark them as simulated or replayed.

    Yields
    ------
    Waveform
        Channels of one scale and unit together; channels that differ in either in captures of their own.
    """
    n = record.samples.shape[1]
    block = record.snapshot or n
    step = min(longest, block) if longest > 0 else block
    number = 0
    for first in range(0, n, block):
        for begin in range(first, min(first + block, n), step):
            end = min(begin + step, first + block, n)
            for axes in _alike(record):
                mark = "" if len(axes) == len(record.axes) else "-" + "".join(record.axes[k] for k in axes)
                yield Waveform(
                    id=f"c{number:05d}{mark}",
                    t=round(start + begin / record.fs_hz, 6),
                    fs_hz=record.fs_hz,
                    unit=record.units[axes[0]].name,
                    scale=record.scale[axes[0]],
                    axes={record.axes[k]: record.samples[k, begin:end] for k in axes},
                    rpm=record.rpm,
                    sim=sim,
                )
            number += 1


def _alike(record: Recording) -> list[tuple[int, ...]]:
    """Group the channels that share scale and unit: the contract has one of each for a capture."""
    groups: dict[tuple[float, str], list[int]] = {}
    for k, (scale, unit) in enumerate(zip(record.scale, record.units, strict=True)):
        groups.setdefault((scale, unit.name), []).append(k)
    return [tuple(group) for group in groups.values()]
