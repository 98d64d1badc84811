"""What levels, and levels and both spectra, of a capture cost beside one bare Fourier transform of the same samples.

`python -m tests.bench.levels`

Processor time, measured in rounds in which the two take turns, so that whatever else the machine does meets both; the
median of the rounds' ratios is printed. The aims (levels 3 one at a time, 1 in batches; with spectra 7 and 5.5 at the two
lengths, 2.5 in batches) are set for four levels, which need no waveform of their own. A second table says where it goes for
all nine: what the transforms alone take (under a Hann window and tapered, and back for velocity with displacement and for the
envelope, at the lengths the plan chooses), what the block of rows takes with its moments, lines and envelopes, what its
figures take, and what is left for levels and verdicts as values.
Nothing here can fail: figures are for people.
"""

import argparse
import itertools
import statistics
import time
from collections.abc import Callable
from functools import partial

import numpy as np
import scipy.fft

from edgemon.analysis.block import Block
from edgemon.analysis.measure import Waveform, measure, measure_with_spectra
from edgemon.analysis.prepare import LANES, plan_for
from edgemon.model.level import COMPUTED, Band

FS_HZ = 25600.0
LENGTHS = (4096, 16384)
BASIC = frozenset({"velocity_rms", "acceleration_rms", "acceleration_peak", "kurtosis"})
"""Levels that need no waveform of their own; the aims are set for these."""
SETS = {"four": BASIC, "all nine": COMPUTED}
BATCHES = {"one at a time": 1, "3 axes": 3, "8 captures": 8, "32 captures": 32}


def captures(n: int, count: int, levels: frozenset[str] = COMPUTED) -> list[Waveform]:
    rng = np.random.default_rng(n)
    t = np.arange(n) / FS_HZ
    signal = 2.0 * np.sin(2.0 * np.pi * 49.4 * t) + rng.normal(size=(count, n))
    counts = np.round(signal / 0.005).astype(np.int16)
    return [Waveform(row, 0.005, FS_HZ, Band(10.0, 1000.0), None, 156.0, False, levels=levels) for row in counts]


def cpu_s(work: Callable[[], object], repeats: int) -> float:
    start = time.process_time()
    for _ in range(repeats):
        work()
    return (time.process_time() - start) / repeats


def compare(
    n: int, waves: list[Waveform], kinds: list[Callable[[], object]], rounds: int
) -> tuple[float, list[tuple[float, float]]]:
    """Give median microseconds of the bare transform; and of each kind of work, for one capture, with its median ratio."""
    samples, count = np.asarray(waves[0].counts, np.float32), len(waves)
    for work in kinds:
        work()
    repeats = max(1, 100 * 4096 // n // count)
    bare: list[float] = []
    spent: list[list[float]] = [[] for _ in kinds]
    for _ in range(rounds):
        bare.append(cpu_s(lambda: scipy.fft.rfft(samples), 400 * 4096 // n))
        for of_kind, work in zip(spent, kinds, strict=True):
            of_kind.append(cpu_s(work, repeats) / count)
    ratios = [statistics.median(b / a for a, b in zip(bare, of_kind, strict=True)) for of_kind in spent]
    return 1e6 * statistics.median(bare), [
        (1e6 * statistics.median(of_kind), ratio) for of_kind, ratio in zip(spent, ratios, strict=True)
    ]


def parts(n: int, waves: list[Waveform]) -> list[Callable[[], object]]:
    """Give the parts of `measure` of all levels, transforms alone, block and figures, which contain them, and the whole."""
    plan = plan_for(n, FS_HZ, waves[0].band, None)
    assert plan.velocity is not None
    assert plan.envelope is not None
    counts = [wave.counts for wave in waves]
    block, rows = Block(counts, plan), len(waves)
    padded = rows + (-rows % LANES if rows > 2 else 0)  # as `Block` does
    count, m = 2 * rows, plan.envelope.m  # under a Hann window, and tapered
    wave = np.ones((count + (-count % LANES if count > 2 else 0), n), np.float32)
    together = rows < LANES and plan.velocity.m == m
    real = np.ones((rows if together else padded, 4 if together else 2, plan.velocity.m // 2 + 1), np.complex64)
    envelope = np.ones((padded, m), np.complex64)

    def transforms() -> None:
        scipy.fft.rfft(wave, axis=1)
        scipy.fft.irfft(real, plan.velocity.m if plan.velocity else None, axis=2)
        if not together:
            scipy.fft.ifft(envelope, axis=1)

    return [transforms, lambda: Block(counts, plan), block.figures, lambda: measure(waves)]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rounds", type=int, default=15)
    rounds = parser.parse_args().rounds
    print(
        f"{'samples':>8} {'levels':>9} {'batch':>14} {'rfft us':>8} {'levels us':>10} {'ratio':>6} "
        f"{'and spectra us':>15} {'ratio':>6}"
    )
    for n in LENGTHS:
        for (of, wanted), (name, count) in itertools.product(SETS.items(), BATCHES.items()):
            waves = captures(n, count, wanted)
            whole: list[Callable[[], object]] = [partial(measure, waves), partial(measure_with_spectra, waves)]
            bare, ((levels, ratio), (both, ratio_of_both)) = compare(n, waves, whole, rounds)
            print(f"{n:>8} {of:>9} {name:>14} {bare:>8.1f} {levels:>10.1f} {ratio:>6.2f} {both:>15.1f} {ratio_of_both:>6.2f}")
    print(
        "\nparts of the levels, as ratios\n"
        f"{'samples':>8} {'batch':>14} {'transforms':>11} {'block':>6} {'figures':>8} {'rest':>6}"
    )
    for n in LENGTHS:
        for name, count in BATCHES.items():
            waves = captures(n, count)
            _, ((_, alone), (_, block), (_, figures), (_, all_of_it)) = compare(n, waves, parts(n, waves), rounds)
            rest = all_of_it - block - figures
            print(f"{n:>8} {name:>14} {alone:>11.2f} {block:>6.2f} {figures:>8.2f} {rest:>6.2f}")


if __name__ == "__main__":
    main()
