"""What rows of a block share, against direct sums and closed forms in float64."""

import numpy as np
import pytest

from edgemon.analysis.block import Block
from edgemon.analysis.prepare import plan_for
from edgemon.model.level import Band


@pytest.mark.parametrize("n", [16, 63, 64])
def test_hann_amplitudes_against_direct_sums(n: int) -> None:
    """The defining sum of every line, less the constant that leaves nothing at 0 Hz; that at half the rate has no twin."""
    rng = np.random.default_rng(n)
    signal = rng.normal(size=(3, n)) + 2.0 * (-1.0) ** np.arange(n) + np.linspace(-3.0, 3.0, n) + 5.0
    rows = np.round(1000.0 * signal).astype(np.int16)
    k, i = np.arange(n // 2 + 1), np.arange(n)
    shape = 0.5 - 0.5 * np.cos(2.0 * np.pi * i / n)
    about = rows - ((rows * shape).sum(axis=1) / shape.sum())[:, None]
    lines = (about * shape) @ np.exp(-2j * np.pi * np.outer(i, k) / n)
    twins = 1.0 + ((k > 0) & (2 * k < n))
    expected = np.sqrt(twins * np.abs(lines) ** 2) / shape.sum()
    found = Block(list(rows), plan_for(n, 25600.0, Band(10.0, 1000.0), None)).spectrum()
    np.testing.assert_allclose(found, expected, rtol=1e-5, atol=1e-3)


@pytest.mark.parametrize(("low", "high"), [(-400, 400), (-32768, 32767), (-32768, -32000), (32000, 32767), (0, 4), (-1, 3)])
def test_samples_near_the_extremes_are_counted_as_by_hand(low: int, high: int) -> None:
    """Two comparisons in wide integers, up to both ends of int16."""
    counts = np.random.default_rng(7).integers(low, high, 512, endpoint=True).astype(np.int16)
    counts[:7] = low, low + 1, low + 2, high, high - 1, high - 2, high
    wide = counts.astype(np.int64)
    by_hand = int(np.sum((wide >= wide.max() - 1) | (wide <= wide.min() + 1)))
    rows = Block([counts, counts[::-1].copy()], plan_for(512, 25600.0, Band(10.0, 1000.0), None)).figures()
    assert [row.at_extremes for row in rows] == [by_hand, by_hand]


def test_moments_of_a_block_against_float64() -> None:
    """Second and fourth moment about the mean; of a constant nothing is left."""
    rng = np.random.default_rng(1)
    counts = (3000.0 + 200.0 * rng.normal(size=(5, 4096))).astype(np.int16)
    counts[4] = 12345
    rows = Block(list(counts), plan_for(4096, 25600.0, Band(10.0, 1000.0), None)).figures()
    about = counts - counts.mean(axis=1, keepdims=True)
    for row, wave in zip(rows[:4], about, strict=False):
        assert row.second == pytest.approx(np.mean(wave**2), rel=2e-6)
        assert row.fourth == pytest.approx(np.mean(wave**4), rel=2e-6)
    assert rows[4].second == 0.0


@pytest.mark.parametrize("n", [64, 65, 66, 67])
def test_sixteen_equal_samples_are_looked_into_wherever_they_lie(n: int) -> None:
    """Every place by hand; and of samples that never repeat, none."""
    moving = np.arange(n, dtype=np.int16)
    plan = plan_for(n, 2560.0, Band(100.0, 1000.0), None)
    assert not Block([moving], plan).figures()[0].may_hold
    for start in range(n - 15):
        held = moving.copy()
        held[start : start + 16] = held[start]
        assert Block([held], plan).figures()[0].may_hold
