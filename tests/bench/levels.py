"""What levels, and levels and both spectra, of a capture cost beside one bare Fourier transform of the same samples.

`python -m tests.bench.levels`

Processor time, measured in rounds in which the two take turns, so that whatever else the machine does meets both; the
median of the rounds' ratios is printed. Nothing here can fail: figures are for people.
"""

import argparse
import statistics
import time
from collections.abc import Callable

import numpy as np
import scipy.fft

from edgemon.analysis.measure import Waveform, measure, measure_with_spectra
from edgemon.model.level import Band

FS_HZ = 25600.0
BATCHES = {"one at a time": 1, "3 axes": 3, "8 captures": 8, "32 captures": 32}


def captures(n: int, count: int) -> list[Waveform]:
    rng = np.random.default_rng(n)
    t = np.arange(n) / FS_HZ
    signal = 2.0 * np.sin(2.0 * np.pi * 49.4 * t) + rng.normal(size=(count, n))
    counts = np.round(signal / 0.005).astype(np.int16)
    return [Waveform(row, 0.005, FS_HZ, Band(10.0, 1000.0), None, 156.0, False) for row in counts]


def cpu_s(work: Callable[[], object], repeats: int) -> float:
    start = time.process_time()
    for _ in range(repeats):
        work()
    return (time.process_time() - start) / repeats


def compare(n: int, count: int, rounds: int) -> tuple[float, list[float], list[float]]:
    """Give median microseconds of the bare transform and of levels, and of all, of one capture; and their ratios' medians."""
    waves = captures(n, count)
    samples = np.asarray(waves[0].counts, np.float32)
    kinds: list[Callable[[], object]] = [lambda: measure(waves), lambda: measure_with_spectra(waves)]
    for work in kinds:
        work()
    repeats = max(1, 100 * 4096 // n // count)
    bare: list[float] = []
    spent: list[list[float]] = [[], []]
    for _ in range(rounds):
        bare.append(cpu_s(lambda: scipy.fft.rfft(samples), 400 * 4096 // n))
        for of_kind, work in zip(spent, kinds, strict=True):
            of_kind.append(cpu_s(work, repeats) / count)
    ratios = [statistics.median(b / a for a, b in zip(bare, of_kind, strict=True)) for of_kind in spent]
    return 1e6 * statistics.median(bare), [1e6 * statistics.median(of_kind) for of_kind in spent], ratios


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rounds", type=int, default=15)
    rounds = parser.parse_args().rounds
    print(
        f"{'samples':>8} {'batch':>14} {'bare rfft us':>13} {'levels us':>10} {'ratio':>6} {'and spectra us':>15} {'ratio':>6}"
    )
    for n in (4096, 16384):
        for name, count in BATCHES.items():
            bare, (levels, both), (ratio, ratio_of_both) = compare(n, count, rounds)
            print(f"{n:>8} {name:>14} {bare:>13.1f} {levels:>10.1f} {ratio:>6.2f} {both:>14.1f} {ratio_of_both:>6.2f}")


if __name__ == "__main__":
    main()
