"""Recordings as `.npz` archives: counts with scale and offset, a JSON text of facts; what states a condition is left."""

import json
import math
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from edgemon.cli.waveform_files import Origin, Raw, RecordingError, unique
from edgemon.diagnosis.record import Gear, MachineFacts
from edgemon.model.instant import EARLIEST, LATEST, Instant, parse_instant
from edgemon.model.machine import Bearing
from edgemon.model.text import clean

MAX_UNPACKED = 1 << 30
"""Larger archives are refused before they are unpacked: a gateway has little memory, and zeros pack to next to nothing."""


def read_npz(path: Path) -> Raw:
    """Read `samples` int16 (channel, n), `scale`, `offset`, `fs_hz` and `meta` (JSON text); only what states no condition."""
    fields = _fields(path, ("samples", "scale", "offset", "fs_hz", "meta"), must="samples")
    return _raw(path, fields)


def _fields(path: Path, names: tuple[str, ...], must: str = "") -> dict[str, Any]:
    """Read those arrays of an archive that are there; the others are not even unpacked. Raises where `must` is not there."""
    try:
        with np.load(path, allow_pickle=False) as held:
            there = [name for name in names if name in held.files]
            if must and must not in there:
                has = ", ".join(clean(name) for name in held.files[:8]) or "nothing"
                raise RecordingError("no array of this name", f"{path}: {must}", f"one or more channels; the archive has {has}")
            size = sum(held.zip.getinfo(f"{name}.npy").file_size for name in there)
            if size > MAX_UNPACKED:
                raise RecordingError(f"{size} bytes once unpacked", str(path), f"at most {MAX_UNPACKED}")
            return {name: held[name] for name in there}
    except RecordingError:
        raise
    except (ValueError, OSError, KeyError, EOFError) as error:
        raise RecordingError(f"not an npz archive of plain arrays: {error}", str(path)) from error
    except Exception as error:  # zipfile.BadZipFile, zlib.error and kin have no common base
        raise RecordingError(f"not an npz archive: {error}", str(path)) from error


@dataclass(frozen=True, slots=True)
class Times:
    """When the captures of a file were taken, as far as it says so."""

    base: Instant | None
    """Of the file itself, UTC."""
    after_s: tuple[float, ...] | None = None
    """Several captures, each so long after the base; None where the file holds one."""


def npz_times(path: Path) -> Times:
    """Read the times only: `taken_at` of `meta`; and `t_s` (at `raw_index`, where given) of a row of captures `raw`."""
    fields = _fields(path, ("meta", "t_s", "raw_index"))
    base = _taken_at(path, _meta(path, fields))
    if "t_s" not in fields:
        return Times(base)
    t_s = _numbers(path, "t_s", fields["t_s"]).ravel()
    index = _numbers(path, "raw_index", fields["raw_index"]).ravel() if "raw_index" in fields else np.arange(t_s.size)
    if not ((index >= 0) & (index < t_s.size)).all() or not np.isfinite(t_s).all():
        raise RecordingError("numbers of rows that are not there", f"{path}: raw_index")
    return Times(base, tuple(t_s[index.astype(np.int64)].tolist()))


def read_row(path: Path) -> tuple[Raw, ...]:
    """Read an archive of captures that follow one another: `raw` int16 (capture, channel, n), `raw_scale`, `meta`."""
    fields = _fields(path, ("raw", "raw_scale", "fs_hz", "meta"))
    row = fields.pop("raw", None)
    if row is None or row.ndim != 3 or row.size == 0:
        found = "no array" if row is None else f"shape {row.shape}"
        raise RecordingError(found, f"{path}: raw", "shape (captures, channels, n)")
    scale = np.broadcast_to(np.atleast_1d(fields.pop("raw_scale", 1.0)), (row.shape[1],))
    return tuple(_raw(path, {**fields, "samples": one, "scale": scale}) for one in row)


def _raw(path: Path, fields: dict[str, Any]) -> Raw:
    samples = np.atleast_2d(_numbers(path, "samples", fields["samples"]))
    counts = np.atleast_2d(fields["samples"]) if fields["samples"].dtype == np.int16 else None
    for name, by in (("scale", np.multiply), ("offset", np.add)):
        if name in fields:
            part = np.atleast_1d(_numbers(path, name, fields[name])).ravel()
            if part.size not in (1, samples.shape[0]):
                raise RecordingError(f"{part.size} values for {samples.shape[0]} channels", f"{path}: {name}")
            samples = by(samples, part[:, None])
    steps = np.broadcast_to(np.atleast_1d(fields.get("scale", 1.0)).ravel(), (samples.shape[0],)) if counts is not None else ()
    meta = _meta(path, fields)
    fs_hz = float(_numbers(path, "fs_hz", fields["fs_hz"]).ravel()[0]) if "fs_hz" in fields else _number(path, meta, "fs_hz")
    listed = meta.get("channels")
    rows: list[Any] = listed if isinstance(listed, list) and len(listed) == samples.shape[0] else [{}] * samples.shape[0]
    said = [row if isinstance(row, dict) else {"name": row} for row in rows]
    return Raw(
        samples,
        fs_hz,
        unique([_word(row, "name") or str(i + 1) for i, row in enumerate(said)]),
        tuple(_word(row, "unit") for row in said),
        _word(meta, "quantity"),
        tuple(_word(row, "axis") for row in said),
        tuple(_word(row, "location") for row in said),
        _facts(path, meta),
        counts,
        tuple(float(one) for one in steps),
        Origin(_word(meta, "sensor"), _word(meta, "capture"), meta.get("sim") is True, _missing(meta.get("missing_parts"))),
    )


def _missing(said: Any) -> tuple[int, ...]:
    return tuple(one for one in said if isinstance(one, int)) if isinstance(said, list) else ()


def _taken_at(path: Path, meta: Mapping[str, Any]) -> Instant | None:
    said = meta.get("taken_at")
    if said is None:
        return None
    try:
        at = float(said) if isinstance(said, int | float) else parse_instant(str(said))
    except (ValueError, OverflowError):
        at = math.nan
    if not EARLIEST <= at <= LATEST:
        raise RecordingError(
            f"not a time: {clean(str(said), 60)!r}", f"{path}: meta.taken_at", "RFC 3339, or seconds since 1970"
        )
    return at


def _numbers(path: Path, field: str, values: Any) -> NDArray[np.float64]:
    try:
        found = np.asarray(values).astype(np.float64)
    except (TypeError, ValueError) as error:
        raise RecordingError("not numbers", f"{path}: {field}") from error
    if found.size == 0:
        raise RecordingError("empty", f"{path}: {field}")
    return found


def _meta(path: Path, fields: Mapping[str, Any]) -> dict[str, Any]:
    if "meta" not in fields:
        return {}
    try:
        meta = json.loads(str(fields["meta"]))
    except (ValueError, RecursionError) as error:
        raise RecordingError(f"not JSON: {error}", f"{path}: meta") from error
    if not isinstance(meta, dict):
        raise RecordingError("not a JSON object", f"{path}: meta")
    return meta


def _word(row: Mapping[str, Any], key: str) -> str:
    value = row.get(key)
    return clean(value) if isinstance(value, str) else ""


def _number(path: Path, row: Mapping[str, Any], key: str, where: str = "") -> float | None:
    value = row.get(key)
    if value is None:
        return None
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise RecordingError(f"{value!r} is no number", f"{path}: meta.{where}{key}")
    return float(value)


def _facts(path: Path, meta: Mapping[str, Any]) -> MachineFacts:
    rpm = _number(path, meta, "shaft_speed_rpm")
    if rpm is not None and rpm <= 0.0:
        raise RecordingError(f"shaft speed {rpm:g} r/min", f"{path}: meta.shaft_speed_rpm", "above zero")
    bearings = [
        (name, found)
        for key, name in (("bearing", "bearing"), ("bearing_fan_end", "fan-end bearing"))
        if (found := _bearing(path, meta.get(key), key)) is not None
    ]
    return MachineFacts(None if rpm is None else rpm / 60.0, tuple(bearings), _gears(meta.get("gear") or meta.get("gears")))


def _bearing(path: Path, said: Any, key: str) -> Bearing | None:
    if said is None:
        return None
    if not isinstance(said, dict):
        raise RecordingError("not a JSON object", f"{path}: meta.{key}")
    numbers = [
        next((v for k in keys if (v := _number(path, said, k, f"{key}.")) is not None), None)
        for keys in (
            ("n_balls", "rolling_elements"),
            ("ball_d_mm", "ball_diameter_mm"),
            ("pitch_d_mm", "pitch_diameter_mm"),
            ("contact_deg", "contact_angle_deg"),
        )
    ]
    n, ball, pitch, angle = numbers
    if n is None or ball is None or pitch is None:
        return None
    return checked_bearing(n, ball, pitch, angle or 0.0, f"{path}: meta.{key}")


def checked_bearing(n: float, ball_mm: float, pitch_mm: float, angle_deg: float, where: str) -> Bearing:
    """Make a bearing of figures in mm and degrees. Raises `RecordingError` where they can belong to none."""
    if n != int(n) or n < 1 or not 0.0 < ball_mm < pitch_mm or not 0.0 <= angle_deg < 90.0:
        raise RecordingError(
            f"{n:g} elements of {ball_mm:g} mm on {pitch_mm:g} mm at {angle_deg:g} degrees", where, "ball below pitch, 0 to 90"
        )
    return Bearing(int(n), ball_mm * 1e-3, pitch_mm * 1e-3, math.radians(angle_deg))


def _gears(said: Any) -> tuple[Gear, ...]:
    """Read stages of two teeth numbers each, one after the other from the input shaft; other forms are passed over."""
    pairs: list[Any] = []
    if isinstance(said, dict):
        pairs = [value for key, value in sorted(said.items()) if key.startswith("stage") or key in ("teeth", "pair")]
    elif isinstance(said, list):
        pairs = [said] if len(said) == 2 and all(isinstance(x, int) for x in said) else said
    found: list[Gear] = []
    order = 1.0
    for pair in pairs:
        if not (isinstance(pair, list) and len(pair) == 2 and all(isinstance(x, int) and x > 0 for x in pair)):
            continue
        found.append(Gear(pair[0], pair[1], order))
        order *= pair[0] / pair[1]
    return tuple(found)
