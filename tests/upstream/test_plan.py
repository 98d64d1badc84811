"""Waits, rates and turns of an upstream. Common practice, no source: exponential back-off with full jitter."""

import pytest

from edgemon.upstream.plan import LONGEST_DELAY_S, back_off, rest, turns


def test_waits_double_to_a_ceiling_and_chance_spreads_them_over_all_of_it() -> None:
    assert [back_off(failures, 1.0) for failures in (1, 2, 3, 4, 5, 6, 7, 10_000)] == [1, 2, 4, 8, 16, 30, 30, LONGEST_DELAY_S]
    assert back_off(5, 0.0) == 0.0
    assert back_off(5, 0.25) == 4.0


def test_a_batch_is_followed_by_a_rest_that_keeps_to_the_rate() -> None:
    assert rest(200, 0.05, 1000.0) == pytest.approx(0.15)
    assert rest(200, 1.0, 1000.0) == 0.0


def test_nobody_starves() -> None:
    assert turns("abc", None) == ("a", "b", "c")
    assert turns("abc", "a") == ("b", "c", "a")
    assert turns("abc", "c") == ("a", "b", "c")
    assert turns("abc", "x") == ("a", "b", "c")
