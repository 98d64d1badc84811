"""Open recordings with their published condition, a plain baseline, and how answers are counted; for tests and the bench."""

import json
import os
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import scipy.signal
from numpy.typing import NDArray

from edgemon.cli.recordings import Given, read_recording
from edgemon.diagnosis.frequencies import bearing_orders
from edgemon.diagnosis.record import MachineFacts, Record
from edgemon.model.finding import Conclusion, Fault

FOLDER = "EDGEMON_RECORDINGS"
BEARING = frozenset({Fault.OUTER_RACE, Fault.INNER_RACE, Fault.ROLLING_ELEMENT, Fault.CAGE})
MEANS: dict[str, frozenset[Fault]] = {
    "healthy": frozenset(),
    "outer_race": frozenset({Fault.OUTER_RACE}),
    "inner_race": frozenset({Fault.INNER_RACE}),
    "rolling_element": frozenset({Fault.ROLLING_ELEMENT}),
    "bearing_fault_element_unpublished": BEARING,
    "unbalance": frozenset({Fault.UNBALANCE}),
    "misalignment": frozenset({Fault.MISALIGNMENT}),
    "bent_shaft": frozenset({Fault.BENT_SHAFT}),
    "gear_broken_tooth": frozenset({Fault.GEAR}),
    "broken_rotor_bar": frozenset({Fault.ELECTRICAL}),
    "cavitation": frozenset({Fault.CAVITATION}),
}
"""Published condition to the faults that name it."""
OUTCOMES = ("right", "cannot tell", "missed", "wrong")


@dataclass(frozen=True, slots=True, eq=False)
class Case:
    """One recording; `condition`, `source` and `grade` are for counting only and reach no diagnosis."""

    id: str
    source: str
    condition: str
    grade: str
    record: Record
    facts: MachineFacts


def folder() -> Path | None:
    """Give the folder of recordings, None where there is none."""
    text = os.environ.get(FOLDER)
    return Path(text) if text and (Path(text) / "manifest.json").exists() else None


def cases(where: Path) -> Iterator[Case]:
    """Read all waveforms of vibration."""
    for row in json.loads((where / "manifest.json").read_text(encoding="utf-8"))["records"]:
        if row.get("kind") != "waveform" or row["condition"]["cls"] not in MEANS:
            continue
        record, facts = read_recording(where / row["file"], Given())
        grade = (row.get("benchmark_smith_randall_2015") or {}).get("best") or "-"
        yield Case(row["id"], row["source"], row["condition"]["cls"], grade, record, facts)


def outcome(condition: str, verdict: Conclusion, best: Fault | None) -> str:
    """Count an answer: `wrong` names a fault that is not there, `missed` says that there is none."""
    meant = MEANS[condition]
    if verdict is Conclusion.CANNOT_TELL:
        return "cannot tell"
    if verdict is Conclusion.NO_FAULT_FOUND:
        return "missed" if meant else "right"
    return "right" if best in meant else "wrong"


def plain_envelope(record: Record, facts: MachineFacts) -> tuple[Conclusion, Fault | None]:
    """Diagnose by the textbook's rule alone: two harmonics of a line 6 dB above the local median in the envelope spectrum.

    The envelope is that of the whole band, by scipy's Hilbert transform; every channel, tolerance 2 %, at the speed given.
    """
    if facts.speed_hz is None or not facts.bearings:
        return Conclusion.CANNOT_TELL, None
    best: tuple[float, Fault] | None = None
    for samples in record.samples:
        envelope = np.abs(scipy.signal.hilbert(samples - samples.mean()))
        size = np.abs(np.fft.rfft((envelope - envelope.mean()) * np.hanning(envelope.size)))
        for _, bearing in facts.bearings:
            orders = bearing_orders(bearing)
            for order, fault in (
                (orders.outer, Fault.OUTER_RACE),
                (orders.inner, Fault.INNER_RACE),
                (orders.element, Fault.ROLLING_ELEMENT),
                (orders.cage, Fault.CAGE),
            ):
                ratios = [_above(size, k * order * facts.speed_hz / record.line_hz) for k in (1, 2)]
                if min(ratios) > 2.0 and (best is None or min(ratios) > best[0]):
                    best = (min(ratios), fault)
    return (Conclusion.NO_FAULT_FOUND, None) if best is None else (Conclusion.FAULT, best[1])


def _above(size: NDArray[np.float64], at: float) -> float:
    reach = max(1.0, 0.02 * at)
    first, last = max(1, int(at - reach)), int(at + reach) + 1
    if last >= size.size:
        return 0.0
    around = size[max(1, first - 50) : last + 50]
    return float(size[first:last].max() / np.median(around))
