"""What the diagnosis is worth on recordings in EDGEMON_RECORDINGS: `python -m tests.bench.diagnosis [--robust] [--compare]`.

Prints right, cannot tell, missed, wrong by condition, source and published grade, next to a plain envelope spectrum; with
`--robust` also for records cut, resampled, rescaled and with noise added; with `--compare` what each way of looking at the
envelope is worth by itself.
"""

import argparse
import sys
import time
from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from functools import partial

import numpy as np
import scipy.fft
from numpy.typing import NDArray

from edgemon.analysis.speed import refine_speed
from edgemon.diagnosis import diagnose
from edgemon.diagnosis.bearing import FAULTS, can_judge
from edgemon.diagnosis.cyclic import EnvelopeSpectra, coherence_spectrum, envelope_spectra
from edgemon.diagnosis.families import Rhythm
from edgemon.diagnosis.frequencies import bearing_orders
from edgemon.diagnosis.look import Look
from edgemon.diagnosis.record import Channel, Gear, MachineFacts, Record
from edgemon.model.finding import Conclusion, Fault
from tests.support.changing import at_rate, changed, over, with_noise, without_scale
from tests.support.diagnosing import BEARING, MEANS, OUTCOMES, Case, cases, folder, outcome, plain_envelope

Answer = tuple[Conclusion, Fault | None]
Change = Callable[[Record], Record]


def product(record: Record, facts: MachineFacts, before: Sequence[tuple[Record, MachineFacts]] = ()) -> Answer:
    """Give the product's verdict and best finding."""
    found = diagnose(record, facts, before)
    return found.verdict, found.findings[0].fault if found.findings else None


def table(title: str, rows: Iterable[tuple[str, str]], other: Iterable[tuple[str, str]] = ()) -> None:
    """Print counts of outcomes by key, those of the baseline behind them."""
    counted, beside = Counter(rows), Counter(other)
    keys = sorted({key for key, _ in counted})
    width = max(len(title), *(len(key) for key in keys)) + 2
    print(f"\n{title:{width}}{'':2}{'  '.join(f'{word:>11}' for word in OUTCOMES)}" + ("   | plain envelope" if beside else ""))
    for key in keys:
        line = f"{key:{width}}  {'  '.join(f'{counted[key, word]:11d}' for word in OUTCOMES)}"
        print(line + (f"   | {'  '.join(f'{beside[key, word]:4d}' for word in OUTCOMES)}" if beside else ""))


def confusion(found: list[tuple[Case, Answer]]) -> None:
    """Print which fault was named for which condition."""
    names = sorted({_name(answer) for _, answer in found})
    print("\nnamed for each condition")
    for condition in MEANS:
        row = Counter(_name(answer) for case, answer in found if case.condition == condition)
        if row:
            print(f"  {condition:36}{', '.join(f'{row[name]} {name}' for name in names if row[name])}")


def _name(answer: Answer) -> str:
    return str(answer[1]) if answer[0] is Conclusion.FAULT else answer[0].value


def whole(record: Record) -> Record:
    """Leave a record as it is."""
    return record


CHANGES: dict[str, Change] = {
    "as recorded": whole,
    "first half": lambda record: halves(record)[0],
    "second half": lambda record: halves(record)[1],
    "first quarter": lambda record: halves(halves(record)[0])[0],
    "first 16384 samples": lambda record: changed(record, record.samples[:, :16384]),
    "resampled 5/6": lambda record: at_rate(record, 5, 6),
    "resampled 4/3": lambda record: at_rate(record, 4, 3),
    "of unknown scale": lambda record: without_scale(record, 1000.0),
    "reversed in sign": over,
    "noise of half its r.m.s.": lambda record: with_noise(record, 0.5, np.random.default_rng(7)),
    "noise of its own r.m.s.": lambda record: with_noise(record, 1.0, np.random.default_rng(7)),
}
"""What must not change a verdict into a wrong one."""

Chooser = Callable[[NDArray[np.float64], float, EnvelopeSpectra], EnvelopeSpectra | None]


def rows(choose: Callable[[EnvelopeSpectra], list[int]]) -> Chooser:
    """Look at some rows of the set only."""

    def chosen(samples: NDArray[np.float64], fs_hz: float, spectra: EnvelopeSpectra) -> EnvelopeSpectra:
        at = choose(spectra)
        return EnvelopeSpectra(
            spectra.power[at],
            spectra.heard[at],
            spectra.depth[at],
            tuple(spectra.ways[i] for i in at),
            spectra.kurtosis[at],
            spectra.line_hz,
        )

    return chosen


def coherence(samples: NDArray[np.float64], fs_hz: float, spectra: EnvelopeSpectra) -> EnvelopeSpectra | None:
    """Look at the enhanced envelope spectrum of the cyclic coherence only."""
    return coherence_spectrum(samples, fs_hz, spectra.power.shape[1])


WAYS: dict[str, Chooser] = {
    "squared envelope, whole band": rows(lambda spectra: [0]),
    "logarithmic envelope, whole band": rows(lambda spectra: [1]),
    "cepstrum pre-whitening, whole band": rows(lambda spectra: [2]),
    "tones removed, whole band": rows(lambda spectra: [3]),
    "band of largest kurtosis (kurtogram)": rows(lambda spectra: [int(np.argmax(spectra.kurtosis))]),
    "band of largest cyclic content": rows(lambda spectra: list(range(4, len(spectra.ways)))),
    "coherence, enhanced envelope spectrum": coherence,
    "all four whole bands": rows(lambda spectra: [0, 1, 2, 3]),
    "all but coherence": rows(lambda spectra: list(range(len(spectra.ways)))),
}
"""Which spectra each way of looking has."""


def compare(known: list[Case]) -> None:
    """Print for each way of looking how many bearing records it finds beyond chance (1 %), rightly and wrongly."""
    print("\nway of looking: bearing defects whose most surprising family is the right one / another one / none beyond chance")
    for name, choose in WAYS.items():
        counted: Counter[str] = Counter()
        start = time.process_time()
        for case in known:
            if case.condition in ("outer_race", "inner_race", "rolling_element") or case.condition == "healthy":
                best = most_surprising(case, choose)
                meant = MEANS[case.condition]
                word = "none" if best is None else "right" if best in meant else "another"
                counted[f"{'healthy' if not meant else 'defect'} {word}"] += 1
        print(
            f"  {name:40}{counted['defect right']:4d} {counted['defect another']:4d} {counted['defect none']:4d}"
            f"   healthy: {counted['healthy another']} with, {counted['healthy none']} without lines beyond chance"
            f"   {time.process_time() - start:.0f} s"
        )


def most_surprising(case: Case, choose: Chooser) -> Fault | None:
    """Give the fault whose family is least likely by chance, None where none is below 1 % after all looks."""
    if case.facts.speed_hz is None or not case.facts.bearings:
        return None
    speed = refine_speed(case.record.samples, case.record.fs_hz, case.facts.speed_hz)
    if not can_judge(Look(case.record, case.facts, speed)):
        return None
    best: tuple[float, Fault] | None = None
    for samples in case.record.samples:
        for label, bearing in case.facts.bearings:
            orders = bearing_orders(bearing)
            top = orders.inner * speed.hz
            part = choose(samples, case.record.fs_hz, envelope_spectra(samples, case.record.fs_hz, 4.0 * top, 1.3 * top))
            for family in [] if part is None else Rhythm(part, speed.hz).families(label, orders):
                if best is None or family.chance < best[0]:
                    best = (family.chance, FAULTS[family.part])
    looks = 4 * len(case.record.channels) * len(case.facts.bearings)
    return best[1] if best is not None and best[0] * looks < 0.01 else None


def halves(record: Record) -> tuple[Record, Record]:
    """Cut a record in two."""
    middle = record.samples.shape[1] // 2
    return changed(record, record.samples[:, :middle]), changed(record, record.samples[:, middle:])


def plain_sidebands(record: Record, facts: MachineFacts) -> Answer:
    """Diagnose by the textbook's rule alone: two sidebands at the speed of a gear over half the mesh line."""
    for pair in facts.gears:
        for order, teeth in ((pair.order, pair.teeth), (pair.order * pair.teeth / pair.driven_teeth, pair.driven_teeth)):
            for row in record.samples:
                assert facts.speed_hz is not None
                size = np.abs(np.fft.rfft((row - row.mean()) * np.hanning(row.size)))
                place = refine_speed(record.samples, record.fs_hz, facts.speed_hz).hz * order / record.line_hz
                mesh, *sides = (size[int(at) - 2 : int(at) + 4].max() for at in (teeth + np.array([0, -1, 1])) * place)
                if min(sides) > 0.5 * mesh:
                    return Conclusion.FAULT, Fault.GEAR
    return Conclusion.NO_FAULT_FOUND, None


def gears(known: list[Case]) -> None:
    """Print gears: by the textbook's rule, alone, and with first halves of healthy records as baseline."""
    geared = [case for case in known if case.facts.gears]
    healthy = [case for case in geared if case.condition == "healthy"]
    first = [(halves(one.record)[0], one.facts) for one in healthy]
    print("\ngears: sidebands over half the mesh | alone | against first halves of all healthy records, and of each by itself")
    for case in geared:
        rest = halves(case.record)[1] if case in healthy else case.record
        answers = [product(rest, case.facts, before) for before in (first, *([one] for one in first))]
        plain = _name(plain_sidebands(case.record, case.facts))
        told = ", ".join(_name(answer) for answer in answers)
        print(f"  {case.id:28}{plain:16}| {_name(product(case.record, case.facts)):14}| {told}")


def robust_gears(geared: list[Case]) -> tuple[list[tuple[str, str]], list[tuple[str, str]]]:
    """Count outcomes of gears against all baselines together, and against each at another load by itself.

    Baselines are first halves of the healthy records, changed as the record is.
    """
    healthy = [case for case in geared if case.condition == "healthy"]
    together, apart = [], []
    for name, change in CHANGES.items():
        before = {case.id: (change(halves(case.record)[0]), case.facts) for case in healthy}
        for case in geared:
            rest = change(halves(case.record)[1] if case in healthy else case.record)
            together.append((name, outcome(case.condition, *product(rest, case.facts, list(before.values())))))
            for other, one in before.items():
                if other.rpartition("-")[2] != case.id.rpartition("-")[2]:
                    word = "healthy" if case in healthy else "damaged"
                    apart.append((f"{word}, {name}", outcome(case.condition, *product(rest, case.facts, [one]))))
    return together, apart


def timing() -> None:
    """Print what a diagnosis of 16,384 samples costs, in milliseconds of one core and in bare transforms of a channel."""
    where = folder()
    assert where is not None
    case = next(case for case in cases(where) if case.facts.bearings)
    row = case.record.samples[:1, :16384]
    record = Record(row, case.record.fs_hz, case.record.channels[:1], case.record.quantity)
    three = Record(np.roll(np.repeat(row, 3, axis=0), 5, axis=1), record.fs_hz, tuple(Channel(name) for name in "xyz"))
    geared = replace(case.facts, gears=(Gear(23, 67),))
    floor = spent(lambda: scipy.fft.rfft(row[0].astype(np.float32)))
    for words, asked, facts, before in (
        ("one channel of 16,384 samples", record, case.facts, []),
        ("with a pair of gears and five records of a baseline", record, geared, [(record, geared)] * 5),
        ("three channels with a pair of gears", three, geared, []),
    ):
        least = spent(partial(diagnose, asked, facts, before))
        print(f"{words}: {1e3 * least:.0f} ms of one core, {least / floor:.0f} transforms")


def spent(work: Callable[[], object], count: int = 9) -> float:
    """Give the least time of several, seconds of one core."""
    work()
    least = float("inf")
    for _ in range(count):
        start = time.process_time()
        work()
        least = min(least, time.process_time() - start)
    return least


def main() -> int:
    """Run what was asked for."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--robust", action="store_true")
    parser.add_argument("--compare", action="store_true")
    parser.add_argument("--each", action="store_true", help="one line for each record")
    parser.add_argument("--timing", action="store_true", help="only what a diagnosis costs")
    args = parser.parse_args()
    where = folder()
    if where is None:
        print("EDGEMON_RECORDINGS names no folder of recordings", file=sys.stderr)
        return 1
    if args.timing:
        timing()
        return 0
    known = list(cases(where))
    found = [(case, product(case.record, case.facts)) for case in known]
    plain = [(case, plain_envelope(case.record, case.facts)) for case in known]
    for title, key in (("condition", "condition"), ("source", "source"), ("grade (2015 benchmark)", "grade")):
        ours, theirs = (
            [(getattr(case, key), outcome(case.condition, *answer)) for case, answer in rows] for rows in (found, plain)
        )
        table(title, ours, theirs)
    confusion(found)
    gears(known)
    if args.each:
        for case, answer in found:
            print(f"  {case.id:60}{case.grade:4}{_name(answer):26}{outcome(case.condition, *answer)}")
    if args.robust:
        rows = []
        for name, change in CHANGES.items():
            for case in known:
                answer = product(change(case.record), case.facts)
                rows.append((name, outcome(case.condition, *answer)))
                if rows[-1][1] == "wrong":
                    print(f"  wrong: {case.id} {name}: {_name(answer)}")
        table("the same records", rows)
        together, apart = robust_gears([case for case in known if case.facts.gears])
        table("gears against all baselines", together)
        table("gears, one baseline at another load", apart)
    if args.compare:
        compare([case for case in known if MEANS[case.condition] <= BEARING])
    timing()
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
