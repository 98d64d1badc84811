"""What an upstream decides without asking anybody: when to try again, how long to rest, whose turn it is."""

from collections.abc import Sequence
from typing import TypeVar

from edgemon.model.instant import Duration

FIRST_DELAY_S: Duration = 1.0
LONGEST_DELAY_S: Duration = 30.0
"""Ceilings of the first wait and of every later one. Common practice, no source."""
OVERTAKEN_BATCHES = 5
"""So many batches waiting are a backlog, which newer items may overtake where that is asked for. House choice."""
T = TypeVar("T")


def back_off(failures: int, chance: float) -> Duration:
    """Give the wait after so many failures in a row: doubling, with full jitter.

    Many gateways that lost one server at the same instant must not come back at the same instant. Common practice, no source.
    """
    ceiling = min(LONGEST_DELAY_S, FIRST_DELAY_S * 2.0 ** min(max(failures - 1, 0), 16))
    return ceiling * chance


def rest(sent: int, took: Duration, per_second: float) -> Duration:
    """Give the rest after a batch that keeps to a rate."""
    return max(0.0, sent / per_second - took)


def turns(sources: Sequence[T], last: T | None) -> tuple[T, ...]:
    """Give the order in which sources are asked: each gets its turn, so that none starves another."""
    if last is None or last not in sources:
        return tuple(sources)
    cut = sources.index(last) + 1
    return (*sources[cut:], *sources[:cut])
