import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from simulators.traffic import Traffic

shares = st.floats(0.0, 1.0)


def rng(seed: int = 0) -> np.random.Generator:
    return np.random.default_rng(seed)


@given(st.integers(0, 2**32 - 1), shares, shares, st.floats(0.0, 1e6))
def test_without_loss_on_the_radio_every_message_arrives(seed: int, repeat: float, late: float, sent_s: float) -> None:
    chance = rng(seed)
    traffic = Traffic(repeat_share=repeat, late_share=late)
    for _ in range(20):
        arrivals = traffic.arrivals(sent_s, 0.0, chance)
        assert 1 <= len(arrivals) <= 2
        assert all(arrival >= sent_s for arrival in arrivals)
        assert list(arrivals) == sorted(arrivals)


def test_a_dead_radio_loses_all() -> None:
    assert all(Traffic().arrivals(0.0, 1.0, rng(seed)) == () for seed in range(200))


def test_shares_are_kept() -> None:
    chance = rng(4)
    fates = [Traffic(repeat_share=0.05, late_share=0.1, late_by_s=10.0).arrivals(0.0, 0.2, chance) for _ in range(20_000)]
    heard = [fate for fate in fates if fate]
    # Three standard errors of a share p of n: 3 sqrt(p (1 - p) / n) < 0.01.
    assert 1.0 - len(heard) / len(fates) == pytest.approx(0.2, abs=0.01)
    assert np.mean([len(fate) == 2 for fate in heard]) == pytest.approx(0.05, abs=0.01)
    assert np.mean([fate[0] > 1.0 for fate in heard]) == pytest.approx(0.1, abs=0.01)


def test_late_messages_come_after_later_ones() -> None:
    chance = rng(1)
    traffic = Traffic(late_share=0.1, late_by_s=5.0)
    order = sorted(range(500), key=lambda k: traffic.arrivals(float(k), 0.0, chance)[0])
    assert order != list(range(500))
    assert sorted(order) == list(range(500))


def test_one_fate_does_not_shift_the_next() -> None:
    lossy, clean = rng(9), rng(9)
    for _ in range(50):
        first = Traffic().arrivals(1.0, 0.5, lossy)
        second = Traffic().arrivals(1.0, 0.0, clean)
        assert first in ((), second)
