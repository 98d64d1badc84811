"""What the diagnosis is worth on machines that no recording is of: `python -m tests.bench.unseen [--count N] [--each]`.

Machines of `tests.support.rigs`, sound and faulty, over the whole range of rates, lengths, speeds, bearings and sensors.
Counted are right, cannot tell, missed and wrong, figures in texts that are none, the speed that was read, and time. All draws
come of one seed.
"""

import argparse
import json
import re
import time
from collections import Counter
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from edgemon.cli.diagnose import report, text
from edgemon.diagnosis import diagnose
from edgemon.model.finding import Conclusion, Diagnosis
from tests.bench.diagnosis import table
from tests.support.rigs import BEARING_PARTS, FAULTY, SOUND, Rig, rig

ABSURD = re.compile(r"\b(?:nan|inf|None|NaN|Infinity)\b")
TURNS = (8, 24, 100, 300, 1000, 10**9)
LOUD = (0.1, 5.0)
OFF = 0.006
"""Part of the speed, and at least a line, from which one that was measured is misread."""


@dataclass(frozen=True, slots=True, eq=False)
class Run:
    """One machine, its diagnosis, and what it cost."""

    rig: Rig
    found: Diagnosis
    seconds: float
    texts: str

    @property
    def word(self) -> str:
        """Outcome."""
        if self.found.verdict is Conclusion.CANNOT_TELL:
            return "cannot tell"
        if self.found.verdict is Conclusion.NO_FAULT_FOUND:
            return "missed" if self.rig.faults else "right"
        return "right" if self.found.findings[0].fault in self.rig.faults else "wrong"

    @property
    def is_misread(self) -> bool:
        """Say whether a speed that was measured is not the machine's."""
        record, speed = self.rig.record, self.found.speed_hz
        true = self.rig.turns * record.line_hz
        measured = speed is not None and self.found.speed_basis != "given"
        return speed is not None and measured and abs(speed - true) > max(OFF * true, record.line_hz)


def ran(kind: str, seed: tuple[int, ...]) -> Run:
    """Diagnose one; a warning ends the run."""
    one = rig(kind, np.random.default_rng(seed), LOUD)
    start = time.process_time()
    found = diagnose(one.record, one.facts)
    seconds = time.process_time() - start
    document = report(Path("made.npz"), one.record, found, one.facts)
    return Run(one, found, seconds, json.dumps(document, allow_nan=False).replace("null", "") + text(document))


def line(run: Run) -> str:
    """Say in a line what went wrong."""
    best = run.found.findings[0] if run.found.findings else None
    named = f"{best.fault} {best.confidence:.2f}" if best else "nothing"
    record = run.rig.record
    return (
        f"  {run.word}: {run.rig.kind}: {named}, {record.fs_hz:.0f} Hz, {record.samples.shape}, {run.rig.turns:.0f} turns, "
        f"pulses over all else {run.rig.depth:.2f}, speed {run.found.speed_basis}"
    )


def turns_of(run: Run) -> str:
    """Give the bin of its turns."""
    return next(f"below {end:6d} turns" for end in TURNS if run.rig.turns < end)


def main() -> int:
    """Run what was asked for."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=30, help="machines of each kind")
    parser.add_argument("--seed", type=int, default=6, help="of all draws")
    parser.add_argument("--each", action="store_true", help="one line for each wrong or missed")
    args = parser.parse_args()
    kinds = [*SOUND, *FAULTY]
    runs = [ran(kind, (args.seed, number, i)) for number, kind in enumerate(kinds) for i in range(args.count)]
    table("machine", [(f"{'faulty' if one.rig.faults else 'sound'}: {one.rig.kind}", one.word) for one in runs])
    table("all", [("faulty" if one.rig.faults else "sound", one.word) for one in runs])
    bearings = [one for one in runs if one.rig.kind in BEARING_PARTS and one.rig.facts.bearings and one.rig.facts.speed_hz]
    table("defects, bearing and speed known", [(turns_of(one), one.word) for one in bearings])
    for one in runs:
        if args.each and one.word in ("wrong", "missed"):
            print(line(one))
        if found := ABSURD.search(one.texts):
            print(f"  absurd: {one.rig.kind}: {one.texts[max(0, found.start() - 60) : found.end() + 30]}")
    print(f"\nspeed measured, and misread: {Counter(one.is_misread for one in runs if 'measured' in one.found.speed_basis)}")
    cost = sorted(
        1e3 * one.seconds * 16384 / one.rig.record.samples.size for one in runs if one.rig.record.samples.size >= 16384
    )
    print(f"of 16,384 samples of a channel, ms of one core: median {cost[len(cost) // 2]:.0f}, most {cost[-1]:.0f}")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
