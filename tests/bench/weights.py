"""Where the weights of a bearing's confidence come from: `python -m tests.bench.weights [--crops N] [--made N]`.

Takes the families of lines of open recordings in EDGEMON_RECORDINGS, whole and cut, and of made records without a fault, which
take part in the fit as those do: looks, speeds, signs and chance are the product's own. Fits the odds of
`edgemon.diagnosis.weighing` by logistic regression, and tries each sign that could be added or left out. Every figure is of a
source that was left out of its fit; each kind of made record counts as a source.
"""

import argparse
import itertools
import math
import sys
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from edgemon.diagnosis import bearing
from edgemon.diagnosis.families import Family
from edgemon.diagnosis.looking import looks_at
from edgemon.diagnosis.record import MIN_SAMPLES, MachineFacts, Record
from edgemon.diagnosis.weighing import WEIGHTS, by_chance, signs
from tests.support.changing import crops
from tests.support.diagnosing import cases, folder
from tests.support.surrogates import MADE, made

TRUE = {"outer_race": "outer", "inner_race": "inner", "rolling_element": "element"}
BY_CHANCE = 0.3
"""Families that chance explains as well as this are not asked for: their confidence is low whatever their signs."""
PULL = 0.5
"""Of the weights to zero, in standard deviations."""
CHOSEN = tuple(WEIGHTS)
OTHERS = ("harmonics", "shaft sidebands", "distance", "above", "turns", "chance")
EDGES = (0.0, 0.1, 0.3, 0.5, 0.65, 0.8, 0.9, 1.001)

Rows = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Seen:
    """One family of one channel."""

    source: str
    is_true: bool
    chance: float
    signs: dict[str, float]


def offered(family: Family, turns: float, chance: float) -> dict[str, float]:
    """Give what the odds rest on, and what they might."""
    return signs(family) | {
        "shaft sidebands": 0.0 if family.part == "element" else float(len(family.sidebands)),
        "harmonics": float(sum(number <= 3 for number in family.harmonics)),
        "distance": abs(family.order / family.kinematic - 1.0),
        "above": math.log(max(family.above, 1e-3)),
        "turns": math.log(turns),
        "chance": math.log10(max(chance, 1e-4)),
    }


def seen(source: str, condition: str, record: Record, facts: MachineFacts) -> list[Seen]:
    """Take all families of a record but the cage's, whose rhythm alone is no proof."""
    if record.samples.shape[1] < MIN_SAMPLES:
        return []
    found = []
    for look in looks_at(record, facts):
        if look.speed is None or not bearing.can_judge(look):
            continue
        turns, looks = record.samples.shape[1] / record.fs_hz * look.speed.hz, bearing.looks_taken(look)
        for heard in bearing._heard(look):
            for name, orders in look.bearings:
                for part, family in heard.families(name, orders).items():
                    chance = by_chance(family.chance, looks)
                    if part != "cage" and chance <= BY_CHANCE:
                        found.append(Seen(source, TRUE.get(condition) == part, chance, offered(family, turns, chance)))
    return found


def collected(crop_count: int, made_count: int, seed: int) -> list[Seen]:
    """Collect the families of everything."""
    where = folder()
    assert where is not None
    found = []
    for number, case in enumerate(cases(where)):
        if case.facts.bearings:
            found += seen(case.source, case.condition, case.record, case.facts)
            rng = np.random.default_rng((seed, number))
            for _, record, facts in crops(case.record, case.facts, crop_count, rng):
                found += seen(case.source, case.condition, record, facts)
    for number, name in enumerate(MADE):
        rng = np.random.default_rng((seed, 1000 + number))
        for _ in range(made_count):
            found += seen(name, "healthy", *made(name, rng))
    return found


def fitted(rows: Rows, true: Rows) -> Rows:
    """Fit a logistic regression by Newton's method; the constant, in the first column, is not pulled."""
    weights = np.zeros(rows.shape[1])
    pull = np.diag([0.0, *([2.0 * PULL] * (rows.shape[1] - 1))])
    for _ in range(30):
        share = 1.0 / (1.0 + np.exp(-rows @ weights))
        slope = rows.T @ (share - true) + pull @ weights
        curve = (rows.T * (share * (1.0 - share))) @ rows + pull + 1e-9 * np.eye(rows.shape[1])
        weights = weights - np.linalg.solve(curve, slope)
    return np.asarray(weights)


def tried(known: list[Seen], names: tuple[str, ...]) -> tuple[Rows, Rows]:
    """Give the confidence of every family by weights fitted without its source, and the weights fitted on all."""
    plain = np.array([[one.signs[name] for name in names] for one in known])
    middle, spread = plain.mean(axis=0), plain.std(axis=0) + 1e-12
    rows = np.column_stack((np.ones(len(known)), (plain - middle) / spread))
    true = np.array([float(one.is_true) for one in known])
    source = np.array([one.source for one in known])
    sure = np.zeros(len(known))
    for name in set(source.tolist()):
        out = source == name
        sure[out] = 1.0 / (1.0 + np.exp(-rows[out] @ fitted(rows[~out], true[~out])))
    weights = fitted(rows, true)
    base = weights[0] - float((weights[1:] * middle / spread).sum())
    return sure * (1.0 - np.array([one.chance for one in known])), np.array([base, *(weights[1:] / spread)])


def line(known: list[Seen], names: tuple[str, ...]) -> None:
    """Print what a choice of signs is worth."""
    sure, weights = tried(known, names)
    true = np.array([one.is_true for one in known])
    loss = -float(np.mean(np.log(np.clip(np.where(true, sure, 1.0 - sure), 1e-9, 1.0))))
    named = sure > 0.5
    print(
        f"  loss {loss:.3f}  named {np.count_nonzero(named & true):4d} right {np.count_nonzero(named & ~true):3d} wrong  "
        f"{', '.join(names)}: {' '.join(f'{weight:.2f}' for weight in weights)}"
    )


def main() -> int:
    """Run what was asked for."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--crops", type=int, default=4, help="pieces of each recording as they are, and as many changed")
    parser.add_argument("--made", type=int, default=50, help="records of each kind without a fault")
    parser.add_argument("--seed", type=int, default=9, help="of all draws")
    args = parser.parse_args()
    if folder() is None:
        print("EDGEMON_RECORDINGS names no folder of recordings", file=sys.stderr)
        return 1
    known = collected(args.crops, args.made, args.seed)
    print(
        f"{len(known)} families that chance explains by less than {BY_CHANCE}, {sum(one.is_true for one in known)} of them true"
    )
    print("each source left out in turn; signs: constant and weights fitted on all")
    for names in (CHOSEN, *((*CHOSEN, other) for other in OTHERS)):
        line(known, names)
    for name in CHOSEN:
        line(known, tuple(other for other in CHOSEN if other != name))
    sure, _ = tried(known, CHOSEN)
    print("confidence of a family whose source was left out, against the share that is true")
    for low, high in itertools.pairwise(EDGES):
        inside = [(one, known[i].is_true) for i, one in enumerate(sure) if low <= one < high]
        if inside:
            mean, share = (float(np.mean([pair[i] for pair in inside])) for i in (0, 1))
            print(f"  {low:.2f}-{min(high, 1.0):.2f}{len(inside):6d} families  mean {mean:.2f}  true {share:.2f}")
    for source in sorted({one.source for one in known}):
        own = [(one, sure[i]) for i, one in enumerate(known) if one.source == source]
        right, wrong = (sum(p > 0.5 for one, p in own if one.is_true is truth) for truth in (True, False))
        print(f"  left out: {source:40}{right:4d} of {sum(one.is_true for one, _ in own):4d} true named, {wrong:3d} wrong")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
