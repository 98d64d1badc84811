"""Where the weights of a bearing's confidence come from: `python -m tests.bench.weights [--crops N] [--made N]`.

Takes the families of lines of open recordings in EDGEMON_RECORDINGS, whole and cut, of made records without a fault, and of
recordings whose rhythm was taken away: looks, speeds, signs and chance are the product's own. Fits the odds of
`edgemon.diagnosis.weighing` as a model of choice between the parts of a bearing and no defect, one choice a record, and tries
each sign that could be added or left out. Every figure is of a source that was left out of its fit; each kind of made record
counts as a source.
"""

import argparse
import itertools
import math
import sys
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import scipy.optimize
from numpy.typing import NDArray

from edgemon.diagnosis import bearing
from edgemon.diagnosis.families import PARTS, Family
from edgemon.diagnosis.looking import looks_at
from edgemon.diagnosis.record import MIN_SAMPLES, MachineFacts, Record
from edgemon.diagnosis.weighing import BASE, WEIGHTS, by_chance, signs
from edgemon.model.finding import SUPPORTED
from tests.support.changing import crops
from tests.support.diagnosing import cases, folder
from tests.support.surrogates import MADE, made, taken

TRUE = {"outer_race": "outer", "inner_race": "inner", "rolling_element": "element"}
BY_CHANCE = 0.3
"""A defect whose lines chance explains as well as this does not show: the right answer to its record is none."""
PULL = 0.5
"""Of the weights to zero, in standard deviations."""
ROUNDS = 4
"""Fits, each with the channel of every part that the last one believes most."""
CHOSEN = tuple(WEIGHTS)
OTHERS = ("harmonics", "shaft sidebands", "distance", "turns", "chance", "is element", "is inner")
EDGES = (0.0, 0.1, 0.3, 0.5, 0.65, 0.8, 0.9, 1.001)

Rows = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Option:
    """A part of a bearing of a record, its signs in every channel."""

    is_true: bool
    signs: tuple[dict[str, float], ...]
    unlikely: Rows
    """Logarithm of the chance that it is not by chance, of every channel."""


@dataclass(frozen=True, slots=True)
class Choice:
    """One record: what it may be beside nothing."""

    source: str
    is_defect: bool
    options: tuple[Option, ...]


def offered(family: Family, beside: Mapping[str, Family], looks: int, turns: float) -> dict[str, float]:
    """Give what the odds rest on, and what they might."""
    return signs(family, beside, looks) | {
        "shaft sidebands": 0.0 if family.part == "element" else float(len(family.sidebands)),
        "harmonics": float(sum(number <= 3 for number in family.harmonics)),
        "distance": abs(family.order / family.kinematic - 1.0),
        "turns": math.log(turns),
        "chance": math.log10(max(by_chance(family.chance, looks), 1e-4)),
        "is element": float(family.part == "element"),
        "is inner": float(family.part == "inner"),
    }


def seen(source: str, condition: str, record: Record, facts: MachineFacts) -> list[Choice]:
    """Take what the parts of the bearings of a record look like, each place of it a choice."""
    if record.samples.shape[1] < MIN_SAMPLES:
        return []
    found = []
    for look in looks_at(record, facts):
        if look.speed is None or not bearing.can_judge(look):
            continue
        turns, looks = record.samples.shape[1] / record.fs_hz * look.speed.hz, bearing.looks_taken(look)
        heard = [(name, one.families(name, orders)) for one in bearing._heard(look) for name, orders in look.bearings]
        options = []
        for name, part in itertools.product((name for name, _ in look.bearings), PARTS[:3]):
            own = [(parts[part], parts) for known, parts in heard if known == name and part in parts]
            if own:
                chances = np.array([by_chance(family.chance, looks) for family, _ in own])
                is_true = TRUE.get(condition) == part and float(chances.min()) <= BY_CHANCE
                rows = tuple(offered(family, parts, looks, turns) for family, parts in own)
                options.append(Option(is_true, rows, np.log(np.maximum(1.0 - chances, 1e-9))))
        found.append(Choice(source, condition in TRUE, tuple(options)))
    return found


def collected(crop_count: int, made_count: int, seed: int) -> list[Choice]:
    """Collect the choices of everything."""
    where = folder()
    assert where is not None
    found = []
    for number, case in enumerate(cases(where)):
        if case.facts.bearings:
            found += seen(case.source, case.condition, case.record, case.facts)
            for _, record, facts in crops(case.record, case.facts, crop_count, np.random.default_rng((seed, number))):
                found += seen(case.source, case.condition, record, facts)
            for name, record, facts in taken(case, np.random.default_rng((seed, 2000 + number))):
                found += seen(name, "healthy", record, facts)
    for number, name in enumerate(MADE):
        rng = np.random.default_rng((seed, 1000 + number))
        for _ in range(made_count):
            found += seen(name, "healthy", *made(name, rng))
    return [one for one in found if one.options]


class Model:
    """Choices as rows of standardised signs, the constant first."""

    def __init__(self, known: Sequence[Choice], names: tuple[str, ...]) -> None:
        self.rows = [[np.array([[one[name] for name in names] for one in o.signs]) for o in c.options] for c in known]
        every = np.concatenate([rows for options in self.rows for rows in options])
        self.middle, self.spread = every.mean(axis=0), every.std(axis=0) + 1e-12
        self.known = known

    def utilities(self, number: int, weights: Rows) -> tuple[Rows, Rows]:
        """Give the logarithm of the odds of every option of a choice, and the row of the channel it is of."""
        logs, best = [], []
        for rows, option in zip(self.rows[number], self.known[number].options, strict=True):
            plain = np.column_stack((np.ones(len(rows)), (rows - self.middle) / self.spread))
            sums = plain @ weights + option.unlikely
            at = int(sums.argmax())
            logs.append(float(sums[at]))
            best.append(np.append(plain[at], option.unlikely[at]))
        return np.array(logs), np.array(best)

    def shares(self, number: int, weights: Rows) -> Rows:
        """Give the share of every option."""
        odds = np.exp(np.clip(self.utilities(number, weights)[0], -60.0, 60.0))
        return np.asarray(odds / (1.0 + odds.sum()))

    def fitted(self, inside: Sequence[int]) -> Rows:
        """Fit the weights to some of the choices; the constant is not pulled."""
        weights = np.zeros(self.middle.size + 1)
        weights[1] = 0.5
        true = [np.array([option.is_true for option in self.known[i].options]) for i in inside]
        for _ in range(ROUNDS):
            rows = [self.utilities(i, weights)[1] for i in inside]
            weights = np.asarray(scipy.optimize.minimize(_loss, weights, (rows, true), jac=True, method="L-BFGS-B").x)
        return weights

    def plain(self, weights: Rows) -> Rows:
        """Give the weights of signs as they are."""
        own = weights[1:] / self.spread
        return np.array([weights[0] - float((own * self.middle).sum()), *own])


def _loss(weights: Rows, rows: list[Rows], true: list[NDArray[np.bool_]]) -> tuple[float, Rows]:
    """Give minus the logarithm of the likelihood of all choices, with the pull, and its slope."""
    total, slope = 0.5 * PULL * float((weights[1:] ** 2).sum()), PULL * np.append(0.0, weights[1:])
    for own, right in zip(rows, true, strict=True):
        odds = np.exp(np.clip(own[:, :-1] @ weights + own[:, -1], -60.0, 60.0))
        share = odds / (1.0 + odds.sum())
        meant = np.where(right, odds, 0.0) / odds[right].sum() if right.any() else np.zeros(len(own))
        total -= math.log(share[right].sum() if right.any() else 1.0 / (1.0 + odds.sum()))
        slope = slope - (meant - share) @ own[:, :-1]
    return total, np.asarray(slope)


def tried(known: list[Choice], names: tuple[str, ...]) -> tuple[list[Rows], Rows]:
    """Give the shares of every choice by weights fitted without its source, and the weights fitted on all."""
    model, shares = Model(known, names), [np.zeros(0)] * len(known)
    for source in sorted({one.source for one in known}):
        weights = model.fitted([i for i, one in enumerate(known) if one.source != source])
        for i in (i for i, one in enumerate(known) if one.source == source):
            shares[i] = model.shares(i, weights)
    return shares, model.plain(model.fitted(range(len(known))))


def outcome(choice: Choice, shares: Rows) -> str:
    """Count a choice as the product would name it, by itself: `right`, `none`, `wrong`, or `accused`."""
    best = int(shares.argmax())
    if shares[best] < SUPPORTED:
        return "none"
    return "right" if choice.options[best].is_true else "wrong" if choice.is_defect else "accused"


def line(known: list[Choice], names: tuple[str, ...]) -> list[Rows]:
    """Print what a choice of signs is worth."""
    shares, weights = tried(known, names)
    sure = [_true_share(one, own) for one, own in zip(known, shares, strict=True)]
    counted = Counter(outcome(one, own) for one, own in zip(known, shares, strict=True))
    print(
        f"  loss {-float(np.mean(np.log(np.maximum(sure, 1e-9)))):.3f}  "
        f"{'  '.join(f'{counted[word]:3d} {word}' for word in ('right', 'none', 'wrong', 'accused'))}  "
        f"{', '.join(names)}: {' '.join(f'{weight:.2f}' for weight in weights)}",
        flush=True,
    )
    return shares


def _true_share(choice: Choice, shares: Rows) -> float:
    right = np.array([option.is_true for option in choice.options])
    return float(shares[right].sum() if right.any() else 1.0 - shares.sum())


def reliability(known: list[Choice], shares: list[Rows]) -> None:
    """Print bins of confidence against the share that was right, and what becomes of each source that was left out."""
    print("confidence of the best part of a record whose source was left out, against the share that is right")
    best = [(float(own.max()), one.options[int(own.argmax())].is_true) for one, own in zip(known, shares, strict=True)]
    for low, high in itertools.pairwise(EDGES):
        inside = [pair for pair in best if low <= pair[0] < high]
        if inside:
            mean, share = (float(np.mean([pair[i] for pair in inside])) for i in (0, 1))
            print(f"  {low:.2f}-{min(high, 1.0):.2f}{len(inside):6d} records  mean {mean:.2f}  right {share:.2f}")
    for source in sorted({one.source for one in known}):
        own = [(one, outcome(one, mine)) for one, mine in zip(known, shares, strict=True) if one.source == source]
        counted = Counter(word for _, word in own)
        print(f"  left out: {source:44}{len(own):4d} records: {', '.join(f'{n} {word}' for word, n in counted.items())}")


def main() -> int:
    """Run what was asked for."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--crops", type=int, default=4, help="pieces of each recording as they are, and as many changed")
    parser.add_argument("--made", type=int, default=50, help="records of each kind without a fault")
    parser.add_argument("--seed", type=int, default=9, help="of all draws")
    parser.add_argument("--brief", action="store_true", help="only the signs that are chosen")
    args = parser.parse_args()
    if folder() is None:
        print("EDGEMON_RECORDINGS names no folder of recordings", file=sys.stderr)
        return 1
    known = collected(args.crops, args.made, args.seed)
    shown = sum(option.is_true for one in known for option in one.options)
    print(f"{len(known)} records, {sum(one.is_defect for one in known)} with a defect, which shows in {shown}")
    print(f"each source left out in turn; constant and weights fitted on all; in use: {BASE} {[*WEIGHTS.values()]}")
    shares = line(known, CHOSEN)
    if not args.brief:
        for names in (*((*CHOSEN, other) for other in OTHERS), *(tuple(n for n in CHOSEN if n != name) for name in CHOSEN)):
            line(known, names)
    reliability(known, shares)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
