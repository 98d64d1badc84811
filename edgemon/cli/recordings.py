"""Files of recordings to records and machine facts: `.npz`, `.wav`, `.csv`, `.uff` (type 58)."""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from edgemon.cli.npz_files import read_npz
from edgemon.cli.waveform_files import Raw, RecordingError, read_csv, read_uff, read_wav
from edgemon.diagnosis.record import Channel, MachineFacts, Record
from edgemon.units import Quantity, quantity_of, to_si, unit_name, units_of

VIBRATION = (Quantity.ACCELERATION, Quantity.VELOCITY)
DIRECTIONS = {word: word for word in ("horizontal", "vertical", "axial")} | {"h": "horizontal", "v": "vertical"}
"""Words of files for directions; others (`x`, `radial`) say none."""
MAX_BYTES = 1 << 30
"""Larger files are refused: a gateway has little memory."""
LARGEST = 1e12
"""No vibration is as large in any unit; squares of larger numbers leave the range of the spectra's 32 bits."""


@dataclass(frozen=True, slots=True)
class Given:
    """What the user says about the files; None where the file itself must say it."""

    fs_hz: float | None = None
    unit: str | None = None
    channels: tuple[str, ...] | None = None
    """Names of the channels to look at, or their numbers from 1."""
    directions: Mapping[str, str] | None = None
    places: Mapping[str, tuple[str, str]] | None = None
    """Part and end at which a channel, or all of a file of that name (without its ending), sits."""
    facts: MachineFacts = MachineFacts()
    """What is given here goes before what a file says."""


def read_recording(path: Path, given: Given) -> tuple[Record, MachineFacts]:
    """Read one file.

    Raises
    ------
    RecordingError
        With file and field: not there, too large, of a kind not known, or something in it cannot be used.
    """
    raw = read_raw(path)
    return record_of(path, raw, given), _merged(raw.facts, given.facts)


def read_raw(path: Path) -> Raw:
    """Read what a file says. Raises `RecordingError` as `read_recording` does."""
    reader = READERS.get(path.suffix.lower())
    if reader is None:
        raise RecordingError(f"files that end in {path.suffix!r} are not known", str(path), f"one of {', '.join(READERS)}")
    try:
        size = path.stat().st_size
        if size > MAX_BYTES:
            raise RecordingError(f"{size} bytes", str(path), f"at most {MAX_BYTES}")
        return reader(path)
    except OSError as error:
        raise RecordingError(f"cannot be read: {error.strerror or error}", str(path)) from error


def record_of(path: Path, raw: Raw, given: Given) -> Record:
    """Make a record of what a file says. Raises `RecordingError` where something in it cannot be used."""
    fs_hz = given.fs_hz if given.fs_hz is not None else raw.fs_hz
    if fs_hz is None:
        raise RecordingError("sample rate not known", f"{path}: fs_hz", "give it with --fs")
    if not (math.isfinite(fs_hz) and fs_hz > 0.0):
        raise RecordingError(f"sample rate {fs_hz} Hz", f"{path}: fs_hz", "above zero")
    if raw.samples.ndim != 2 or raw.samples.shape[0] != len(raw.names) or not raw.names:
        raise RecordingError(
            f"{raw.samples.shape} samples for {len(raw.names)} channels", f"{path}: samples", "shape (channels, n)"
        )
    chosen = _chosen(path, raw.names, given.channels)
    if not np.isfinite(raw.samples[chosen]).all():
        bad = next(raw.names[i] for i in chosen if not np.isfinite(raw.samples[i]).all())
        raise RecordingError(f"channel {bad!r} holds values that are not numbers", f"{path}: samples")
    _check_size(path, raw, chosen)
    rows, channels, quantities, places = [], [], set(), given.places or {}
    for i in chosen:
        factor, quantity, calibrated = unit_of(path, raw, i, given.unit)
        quantities.add(quantity)
        rows.append(raw.samples[i] * factor)
        direction = (given.directions or {}).get(raw.names[i]) or _direction(raw, i)
        part, end = places.get(raw.names[i]) or places.get(path.stem) or ("", "")
        channels.append(Channel(raw.names[i], direction, calibrated, raw.locations[i] if raw.locations else "", part, end))
    if len(quantities) > 1:
        raise RecordingError("channels of different quantities", f"{path}: quantity", "choose with --channel")
    return Record(np.array(rows), fs_hz, tuple(channels), quantities.pop())


def _check_size(path: Path, raw: Raw, chosen: list[int]) -> None:
    for i in chosen:
        largest = float(np.abs(raw.samples[i]).max(initial=0.0))
        if largest > LARGEST:
            raise RecordingError(
                f"channel {raw.names[i]!r} holds values up to {largest:.3g}", f"{path}: samples", "no vibration"
            )


def _direction(raw: Raw, i: int) -> str:
    word = raw.directions[i] if raw.directions else ""
    return DIRECTIONS.get(word.lower(), "")


def _chosen(path: Path, names: tuple[str, ...], wanted: tuple[str, ...] | None) -> list[int]:
    if wanted is None:
        return list(range(len(names)))
    found = []
    for word in wanted:
        if word in names:
            found.append(names.index(word))
        elif word.isdigit() and 1 <= int(word) <= len(names):
            found.append(int(word) - 1)
        else:
            raise RecordingError(f"no channel {word!r}", f"{path}: channels", f"one of {', '.join(names)}")
    return found


def unit_of(path: Path, raw: Raw, i: int, given: str | None) -> tuple[float, Quantity, bool]:
    """Give a channel's factor to SI, its quantity, and whether sizes can be trusted."""
    if given is not None:
        return to_si(1.0, given), quantity_of(given), True
    words = raw.units[i].strip() if raw.units else ""
    first = words.split()[0].rstrip(",;:") if words else ""
    try:
        quantity = quantity_of(first)
    except KeyError:
        quantity = Quantity.VOLTAGE
    if quantity in VIBRATION:
        return to_si(1.0, first), quantity, True
    stated = raw.quantity or Quantity.ACCELERATION.value
    if stated not in [known.value for known in VIBRATION]:
        raise RecordingError(f"{stated!r} is no vibration", f"{path}: quantity", "acceleration or velocity")
    return 1.0, Quantity(stated), False


def _merged(said: MachineFacts, given: MachineFacts) -> MachineFacts:
    return MachineFacts(
        given.speed_hz if given.speed_hz is not None else said.speed_hz,
        given.bearings or said.bearings,
        given.gears or said.gears,
        given.blades if given.blades is not None else said.blades,
        given.belt_hz if given.belt_hz is not None else said.belt_hz,
        given.supply_hz if given.supply_hz is not None else said.supply_hz,
        given.poles if given.poles is not None else said.poles,
        given.sleeve_bearings or said.sleeve_bearings,
        rotor_bars=given.rotor_bars if given.rotor_bars is not None else said.rotor_bars,
        planetary=given.planetary or said.planetary,
    )


READERS: dict[str, Callable[[Path], Raw]] = {
    ".npz": read_npz,
    ".wav": read_wav,
    ".csv": read_csv,
    ".uff": read_uff,
    ".unv": read_uff,
}
"""File ending to reader."""


def readable() -> tuple[str, ...]:
    """List the file endings that can be read."""
    return tuple(READERS)


def known_unit(text: str) -> str:
    """Check a unit of vibration for the command line. Raises `ValueError` with what is allowed."""
    try:
        name = unit_name(text)
    except KeyError:
        name = ""
    allowed = [unit for quantity in VIBRATION for unit in units_of(quantity)]
    if name not in allowed:
        raise ValueError(f"{text!r}; one of {', '.join(allowed)}")
    return name
