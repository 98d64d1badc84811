"""What all levels of a capture cost beside one bare Fourier transform of the same samples: `python -m tests.bench.levels`.

Processor time, measured in rounds in which the two take turns, so that whatever else the machine does meets both; the
median of the rounds' ratios is printed. Nothing here can fail: figures are for people.
"""

import argparse
import statistics
import time
from collections.abc import Callable

import numpy as np
import scipy.fft

from edgemon.analysis.measure import Waveform, measure
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


def compare(n: int, count: int, rounds: int) -> tuple[float, float, float]:
    """Give median microseconds of the bare transform, of all levels of one capture, and the median of their ratios."""
    waves = captures(n, count)
    samples = np.asarray(waves[0].counts, np.float32)
    measure(waves)
    repeats = max(1, 100 * 4096 // n // count)
    bare, levels = [], []
    for _ in range(rounds):
        bare.append(cpu_s(lambda: scipy.fft.rfft(samples), 400 * 4096 // n))
        levels.append(cpu_s(lambda: measure(waves), repeats) / count)
    ratio = statistics.median(b / a for a, b in zip(bare, levels, strict=True))
    return 1e6 * statistics.median(bare), 1e6 * statistics.median(levels), ratio


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rounds", type=int, default=15)
    rounds = parser.parse_args().rounds
    print(f"{'samples':>8} {'batch':>14} {'bare rfft us':>13} {'levels us':>10} {'ratio':>6}")
    for n in (4096, 16384):
        for name, count in BATCHES.items():
            bare, levels, ratio = compare(n, count, rounds)
            print(f"{n:>8} {name:>14} {bare:>13.1f} {levels:>10.1f} {ratio:>6.2f}")


if __name__ == "__main__":
    main()
