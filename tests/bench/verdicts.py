"""What a verdict and its confidence are worth elsewhere: `python -m tests.bench.verdicts [--crops N] [--surrogates N]`.

Open recordings in EDGEMON_RECORDINGS are cut at random and changed as another rig, rate, length, speed or sensor would; every
verdict is counted, and every confidence is held against how often it was right. Surrogates hold no fault: what is named in
them is a false accusation. All draws come of one seed.
"""

import argparse
import itertools
import sys
import time
from collections import Counter
from dataclasses import dataclass

import numpy as np

from edgemon.diagnosis import diagnose
from edgemon.diagnosis.record import MachineFacts, Record
from edgemon.model.finding import Conclusion, Diagnosis
from tests.bench.diagnosis import table
from tests.support.changing import AS_IT_IS, crops
from tests.support.diagnosing import BEARING, MEANS, Case, cases, folder, outcome
from tests.support.surrogates import MADE, made, taken

EDGES = (0.1, 0.3, 0.5, 0.65, 0.8, 0.9, 1.0001)
TURNS = (8, 16, 32, 64, 128, 10_000)


@dataclass(frozen=True, slots=True)
class Run:
    """One verdict, and what it was given on."""

    case: Case
    change: str
    samples: int
    turns: float
    found: Diagnosis

    @property
    def word(self) -> str:
        """Outcome."""
        best = self.found.findings[0].fault if self.found.findings else None
        return outcome(self.case.condition, self.found.verdict, best)

    @property
    def sure(self) -> float:
        """Confidence in the best finding, 0 without one."""
        return self.found.findings[0].confidence if self.found.findings else 0.0

    @property
    def is_right(self) -> bool:
        """Say whether the best finding is right, whatever the verdict."""
        return bool(self.found.findings) and self.found.findings[0].fault in MEANS[self.case.condition]


def ran(case: Case, change: str, record: Record, facts: MachineFacts) -> Run:
    """Diagnose one."""
    n = record.samples.shape[1]
    return Run(case, change, n, n / record.fs_hz * (case.facts.speed_hz or 0.0), diagnose(record, facts))


def runs(known: list[Case], count: int, seed: int) -> list[Run]:
    """Diagnose whole records and their crops."""
    found = []
    for number, case in enumerate(known):
        found.append(ran(case, "whole record", case.record, case.facts))
        rng = np.random.default_rng((seed, number))
        found += [ran(case, *one) for one in crops(case.record, case.facts, count, rng)]
    return found


def reliability(title: str, found: list[Run]) -> None:
    """Print bins of confidence against the share that was right, and Brier's score of the best findings."""
    named = [(run.sure, run.is_right) for run in found if run.sure >= EDGES[0]]
    print(f"\n{title}: confidence in the best finding against the share that is right")
    for low, high in itertools.pairwise(EDGES):
        inside = [(sure, right) for sure, right in named if low <= sure < high]
        if inside:
            mean, share = (float(np.mean([one[i] for one in inside])) for i in (0, 1))
            print(f"  {low:.2f}-{min(high, 1.0):.2f}{len(inside):6d} findings  mean {mean:.2f}  right {share:.2f}")
    if named:
        rate = float(np.mean([right for _, right in named]))
        score = float(np.mean([(sure - right) ** 2 for sure, right in named]))
        print(f"  Brier score {score:.3f} (always saying {rate:.2f}: {rate * (1.0 - rate):.3f})")


def silent(found: list[Run]) -> None:
    """Print by turns how many crops of defects of a known bearing show nothing: no finding at all."""
    defects = [run for run in found if run.change == AS_IT_IS and run.case.facts.bearings and _is_defect(run.case)]
    print("\ncrops as they are of defects of a known bearing that show nothing at all")
    for name in sorted({_turns(run) for run in defects}):
        inside = [not run.found.findings for run in defects if _turns(run) == name]
        print(f"  {name}  {sum(inside):4d} of {len(inside):4d}  {100.0 * sum(inside) / len(inside):5.1f} %")


def _is_defect(case: Case) -> bool:
    return bool(MEANS[case.condition]) and MEANS[case.condition] <= BEARING


def _turns(run: Run) -> str:
    return next(f"below {end:5d} turns" for end in TURNS if run.turns < end)


def accusations(known: list[Case], count: int, seed: int, each: bool) -> None:
    """Print how often a fault is named where there is none."""
    asked: Counter[str] = Counter()
    wrong: Counter[str] = Counter()

    def ask(name: str, record: Record, facts: MachineFacts, only_bearings: bool) -> None:
        answer = diagnose(record, facts)
        asked[name] += 1
        if answer.verdict is Conclusion.FAULT and not (only_bearings and answer.findings[0].fault not in BEARING):
            wrong[name] += 1
            if each:
                best = answer.findings[0]
                print(f"  accused: {name}: {best.fault} {best.confidence:.2f}, {record.samples.shape[1]} samples")

    for number, name in enumerate(MADE):
        rng = np.random.default_rng((seed, 1000 + number))
        for _ in range(count):
            ask(name, *made(name, rng), only_bearings=False)
    for number, case in enumerate(known):
        rng = np.random.default_rng((seed, 2000 + number))
        for _ in range(max(1, count // 50)):
            for name, record, facts in taken(case, rng):
                ask(name, record, facts, only_bearings=True)
    print("\nno fault of the families is there; named all the same")
    for name, total in asked.items():
        print(f"  {name:44}{wrong[name]:4d} of {total:4d}  {100.0 * wrong[name] / total:5.1f} %")
    print(f"  {'all':44}{wrong.total():4d} of {asked.total():4d}  {100.0 * wrong.total() / max(asked.total(), 1):5.1f} %")


def main() -> int:
    """Run what was asked for."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--crops", type=int, default=4, help="pieces of each recording as they are, and as many changed")
    parser.add_argument("--surrogates", type=int, default=50, help="records of each kind without a fault")
    parser.add_argument("--seed", type=int, default=20, help="of all draws")
    parser.add_argument("--each", action="store_true", help="one line for each wrong verdict")
    args = parser.parse_args()
    where = folder()
    if where is None:
        print("EDGEMON_RECORDINGS names no folder of recordings", file=sys.stderr)
        return 1
    known, start = list(cases(where)), time.process_time()
    found = runs(known, args.crops, args.seed)
    whole, cut = ([run for run in found if (run.change == "whole record") is is_whole] for is_whole in (True, False))
    table("whole records and crops", [(run.change, run.word) for run in found])
    if cut:
        table("crops by source", [(run.case.source, run.word) for run in cut])
        table(
            "crops by length", [(f"{run.samples:6d} samples", run.word) for run in cut if run.samples & (run.samples - 1) == 0]
        )
        table("crops by turns", [(_turns(run), run.word) for run in cut])
        silent(cut)
    for run in found:
        if args.each and run.word == "wrong":
            best = run.found.findings[0]
            print(
                f"  wrong: {run.case.id:44}{run.change:26}{run.samples:7d} samples {run.turns:5.0f} turns  "
                f"{best.fault} {best.confidence:.2f}"
            )
    for title, some in (("whole records", whole), ("crops", cut)):
        reliability(title, some)
    if args.surrogates:
        accusations(known, args.surrogates, args.seed, args.each)
    print(f"\n{time.process_time() - start:.0f} s of one core")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
