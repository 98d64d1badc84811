"""A rhythm on a multiple of shaft speed, against rows of lines of known size, and in a made record."""

import numpy as np
import pytest
from numpy.typing import NDArray

from edgemon.diagnosis import Channel, MachineFacts, Record, diagnose
from edgemon.diagnosis.accents import accent
from edgemon.model.finding import Conclusion, Fault
from edgemon.model.machine import Bearing

A_TURN = 40.0
"""Lines."""


def lines(sizes: dict[int, float]) -> NDArray[np.float64]:
    depth = np.full((2, 800), 0.01)
    for turn, size in sizes.items():
        depth[:, round(turn * A_TURN)] = size
    return depth


def test_a_multiple_that_stands_above_the_others_is_a_stress() -> None:
    """0.8 at 3x over 0.2 at 1x, the largest other one: four times."""
    found = accent(lines({1: 0.2, 2: 0.1, 3: 0.8, 4: 0.1, 6: 0.4}), A_TURN, 3)
    assert found is not None
    assert [found.depth, found.dominance] == pytest.approx([0.8, 4.0])


def test_the_weaker_of_two_spectra_counts() -> None:
    depth = lines({1: 0.2, 3: 0.8, 6: 0.4})
    depth[1] *= np.where(np.arange(800) == 120, 0.5, 1.0)
    found = accent(depth, A_TURN, 3)
    assert found is not None
    assert [found.depth, found.dominance] == pytest.approx([0.4, 2.0])


@pytest.mark.parametrize(
    "sizes",
    [
        {turn: 1.0 / turn for turn in range(1, 12)},  # a blow at each turn
        {3: 0.8},  # one line: a load, no row of pulses
        {3: 0.8, 5: 0.9, 6: 0.4},
        {},
    ],
)
def test_an_even_fall_or_a_single_line_is_none(sizes: dict[int, float]) -> None:
    assert accent(lines(sizes), A_TURN, 3) is None


@pytest.mark.parametrize(("order", "a_turn"), [(2, A_TURN), (12, A_TURN), (3, 3.0)])
def test_a_multiple_without_neighbours_or_beyond_the_spectrum_is_none(order: int, a_turn: float) -> None:
    assert accent(lines({3: 0.8, 6: 0.4}), a_turn, order) is None


def test_a_defect_whose_rhythm_is_the_shafts_third_multiple_is_named_and_says_so() -> None:
    """Eight elements on a pitch four times their size: BPFO = 4 (1 - 1/4) = 3 times shaft speed exactly."""
    fs_hz, shaft_hz, n = 20_000.0, 20.0, 40_000
    bearing = Bearing(8, 0.01, 0.04, 0.0)
    rng = np.random.default_rng(3)
    blows, ring = np.zeros(n), np.arange(200) / fs_hz
    steps = rng.normal(1.0, 0.015, 115)  # elements slip; what keeps step exactly is no bearing's
    at = np.cumsum(steps / steps.mean()) / (3.0 * shaft_hz)
    blows[(at * fs_hz).astype(int)] = 6.0
    wave = np.convolve(blows, np.exp(-700.0 * ring) * np.sin(2.0 * np.pi * 4000.0 * ring))[:n] + rng.standard_normal(n)
    facts = MachineFacts(speed_hz=shaft_hz, bearings=(("", bearing),))
    found = diagnose(Record(wave[None, :], fs_hz, (Channel("a"),)), facts)
    assert (found.verdict, found.findings[0].fault) == (Conclusion.FAULT, Fault.OUTER_RACE)
    assert any("multiple of shaft speed, which it stresses" in note.text for note in found.findings[0].evidence)
    quiet = diagnose(Record(rng.standard_normal((1, n)), fs_hz, (Channel("a"),)), facts)
    assert quiet.verdict is not Conclusion.FAULT
