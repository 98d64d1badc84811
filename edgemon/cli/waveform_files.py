"""What a file of a recording says, whatever its kind, and the kinds that say little: `.wav`, `.csv`, `.uff` (type 58)."""

import re
import warnings
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.io import wavfile

from edgemon.diagnosis.record import MachineFacts
from edgemon.errors import EdgemonError
from edgemon.model.text import clean

STREAMED = 0xFFFFFFFF
"""Size in the header of a wave file whose writer did not know how long it would be."""
ROUNDED = 1e-4
"""Relative difference of time steps that is rounding: universal files write six digits."""


class RecordingError(EdgemonError):
    """A file that cannot be used as a recording; the others are still looked at."""


@dataclass(frozen=True, slots=True)
class Origin:
    """Which capture a file holds, as `edgemon export` writes it; empty where it does not say."""

    sensor: str = ""
    capture: str = ""
    sim: bool = False
    missing_parts: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class Raw:
    """What a file says, before the user's options."""

    samples: NDArray[np.float64]
    """Shape (channels, n)."""
    fs_hz: float | None
    names: tuple[str, ...]
    units: tuple[str, ...]
    """As written in the file; empty where it says nothing."""
    quantity: str = ""
    directions: tuple[str, ...] = ()
    locations: tuple[str, ...] = ()
    facts: MachineFacts = MachineFacts()
    counts: NDArray[np.int16] | None = None
    """The converter's own counts, shape (channels, n), where the file holds them: what is clipped or dead shows in them."""
    steps: tuple[float, ...] = ()
    """One count of each channel, in the numbers of `samples`; empty without counts."""
    origin: Origin = Origin()


def unique(names: list[str]) -> tuple[str, ...]:
    """Give every channel a name of its own."""
    return tuple(name if names.count(name) == 1 else f"{name}-{i + 1}" for i, name in enumerate(names))


def read_wav(path: Path) -> Raw:
    """Read a wave file of whole numbers (8 to 32 bits) or of floats, through the library scipy.

    Notes
    -----
    Whole numbers are shares of full scale, floats are as they stand; neither carries a unit.
    """
    try:
        with warnings.catch_warnings(record=True) as told:
            warnings.simplefilter("always", wavfile.WavFileWarning)
            rate, table = wavfile.read(path)
        _check_whole(path, [str(one.message) for one in told])
    except (OSError, RecordingError):
        raise
    except Exception as error:  # the library raises plain exceptions of many kinds on a damaged file
        raise RecordingError(f"not a wave file that can be read: {error}", str(path), "16-bit PCM is safest") from error
    if table.size == 0:
        raise RecordingError("no samples", str(path))
    samples = np.atleast_2d(table.T)
    counts = samples if samples.dtype == np.int16 else None
    if samples.dtype == np.uint8:
        samples = (samples - 128.0) / 128.0
    elif np.issubdtype(samples.dtype, np.integer):
        samples = samples / -float(np.iinfo(samples.dtype).min)
    names = tuple(str(i + 1) for i in range(samples.shape[0]))
    steps = () if counts is None else (1.0 / 32768.0,) * len(names)
    return Raw(samples.astype(np.float64), float(rate), names, ("",) * len(names), counts=counts, steps=steps)


def _check_whole(path: Path, told: list[str]) -> None:
    """Refuse a file that ends before its header says; other doubts of the library are chunks without samples."""
    short = next((text for text in told if text.startswith("Reached EOF")), None)
    sizes = [] if short is None else [int(word) for word in re.findall(r"\d+", short)]
    if sizes and max(sizes) < STREAMED:
        raise RecordingError(f"ends after {sizes[0]} of {sizes[-1]} bytes", str(path), "the file is cut off: copy it again")


def read_csv(path: Path) -> Raw:
    """Read columns of numbers, with or without a line of names; a first column of time gives the sample rate.

    Notes
    -----
    A name may carry its unit in brackets, `x (m/s2)` or `x [m/s2]`. Separators: comma, semicolon, tab or blank; after the
    latter three a comma within a number is a decimal comma. Lines before the numbers that start with `#` are passed over.
    """
    try:
        text = path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError as error:
        raise RecordingError("not UTF-8 text", str(path)) from error
    lines = [(number, line) for number, line in enumerate(text.splitlines(), 1) if line.strip() and not line.startswith("#")]
    if not lines:
        raise RecordingError("no lines", str(path))
    mark = next((m for m in (";", "\t", ",") if m in lines[0][1]), None)
    head = [word.strip().strip('"') for word in lines[0][1].split(mark)]
    if mark is None and len(lines) > 1 and len(lines[1][1].split()) == 1:
        head = [lines[0][1].strip()]  # one column: a blank before the unit parts nothing
    names = None if all(_is_number(word if mark == "," else word.replace(",", ".")) for word in head) else head
    rows = []
    for number, line in lines[1:] if names else lines:
        words = (line if mark == "," else line.replace(",", ".")).split(mark)
        if len(words) != len(head) or not all(_is_number(word) for word in words):
            raise RecordingError(f"not {len(head)} numbers: {clean(line[:60])!r}", f"{path}: line {number}")
        rows.append([float(word) for word in words])
    if not rows:
        raise RecordingError("no numbers", str(path))
    table = np.array(rows).T
    names = names or [str(i + 1) for i in range(table.shape[0])]
    fs_hz = None
    if table.shape[0] > 1 and _label(names[0])[0].lower() in ("t", "time", "t_s", "time_s", "seconds"):
        fs_hz = _rate(path, table[0], names[0])
        table, names = table[1:], names[1:]
    labels = [_label(name) for name in names]
    return Raw(
        table,
        fs_hz,
        unique([clean(name) or str(i + 1) for i, (name, _) in enumerate(labels)]),
        tuple(unit for _, unit in labels),
    )


def _label(name: str) -> tuple[str, str]:
    """Part the name of a column from its unit in brackets; an empty unit where it has none."""
    for opening, closing in ("()", "[]"):
        head, found, tail = name.partition(opening)
        if found:
            return head.strip(), tail.rstrip(f"{closing} ")
    return name.strip(), ""


def _is_number(word: str) -> bool:
    try:
        float(word)
    except ValueError:
        return False
    return True


def _rate(path: Path, time: NDArray[np.float64], name: str) -> float:
    steps = np.diff(time) * (1e-3 if _label(name)[1] == "ms" else 1.0)
    if steps.size == 0:
        raise RecordingError("one time only", f"{path}: {name}", "two rows or more")
    if not (steps > 0.0).all():
        at = int(np.argmin(steps > 0.0))
        raise RecordingError(f"time does not rise: {time[at + 1]:.9g} follows {time[at]:.9g}", f"{path}: {name}")
    middle = float(np.median(steps))
    if float(np.abs(steps - middle).max()) > 0.5 * middle:
        raise RecordingError("time steps are not even", f"{path}: {name}", "samples are missing, or the file holds events")
    return (time.size - 1) / float(steps.sum())


def _step(path: Path, one: Mapping[str, Any]) -> float:
    """Give the time between two samples of a set; from its times where they are written one by one."""
    step = float(one.get("abscissa_inc", 0.0))
    if step > 0.0:
        return step
    time = np.asarray(one["x"], np.float64)
    return 1.0 / _rate(path, time, "type 58, abscissa")


def read_uff(path: Path) -> Raw:
    """Read the time records of a universal file, data sets of type 58, through the library pyuff."""
    try:
        import pyuff
    except ImportError as error:
        raise RecordingError(
            "reading universal files needs the library pyuff", str(path), "pip install edgemon[files]"
        ) from error
    try:
        with path.open("rb") as probe:
            if b"    -1" not in probe.read(4096):
                raise RecordingError("not a universal file", str(path))
        found = pyuff.UFF(str(path))
        sets = [found.read_sets(i) for i, kind in enumerate(found.get_set_types()) if int(kind) == 58]
    except RecordingError:
        raise
    except Exception as error:  # the library raises plain exceptions of many kinds
        raise RecordingError(f"not a universal file that can be read: {error}", str(path)) from error
    times = [one for one in sets if int(one.get("func_type", 0)) in (0, 1)]
    if not times:
        raise RecordingError("no time record", f"{path}: type 58")
    steps = [_step(path, one) for one in times]
    lengths = {len(one["data"]) for one in times}
    if max(steps) > (1.0 + ROUNDED) * min(steps) or len(lengths) > 1:
        raise RecordingError("time records of different rates or lengths", f"{path}: type 58")
    return Raw(
        np.array([np.real(one["data"]) for one in times], np.float64),
        1.0 / steps[0],
        unique([clean(str(one.get("id1", ""))).strip() or str(i + 1) for i, one in enumerate(times)]),
        tuple(clean(str(one.get("ordinate_axis_units_lab", ""))).strip() for one in times),
    )
