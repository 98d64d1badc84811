"""What is held back, on a clock driven by hand: never too short, hardly longer than the span, and in few entries."""

import math

import pytest

from edgemon.model.upstream import Source
from edgemon.upstream.overlap import SHARE, Held, Overlap


@pytest.mark.parametrize(("span_s", "every_s"), [(60.0, 0.2), (60.0, 7.0), (60.0, 0.6), (60.0, 0.02), (3.0, 100.0)])
def test_every_position_is_held_for_the_span_and_hardly_longer_however_often_something_comes(
    span_s: float, every_s: float
) -> None:
    held, longest, settled = Held(span_s), 0, 0
    count = int(2.5 * span_s / every_s) + 10
    for position in range(1, count + 1):
        now = position * every_s
        held.add(position, now)
        settled = max(settled, held.settle(now))
        longest = max(longest, len(held))
        assert now - (settled or 1) * every_s >= span_s or not settled  # of the last one that is settled
        waits = now - (settled + 1) * every_s  # of the first one that is not
        assert waits <= span_s * (1.0 + 1.0 / SHARE) + every_s
    assert longest <= min(SHARE, math.ceil(span_s / every_s)) + 2
    assert held.last == count
    assert held.settle(count * every_s + span_s) == count
    assert (len(held), held.last) == (0, 0)


def test_without_a_span_everything_is_settled_at_once() -> None:
    held = Held(0.0)
    for position in (1, 2, 5):
        held.add(position, 7.0)
        assert held.settle(6.0) == position  # asked before it was confirmed


def test_what_is_due_is_named_and_what_is_forgotten_is_told() -> None:
    overlap = Overlap(60.0)
    assert not overlap.forget()
    overlap.of(Source.JOURNAL).add(7, 0.0)
    overlap.of(Source.CAPTURES).add(3, 50.0)
    overlap.retried.add(1, 55.0)
    assert overlap.confirmed == {Source.JOURNAL: 7, Source.CAPTURES: 3}
    assert [(overlap.due(at), overlap.is_due(at)) for at in (59.0, 60.0, 110.0)] == [
        ((), False),
        ((Source.JOURNAL,), True),
        ((Source.JOURNAL, Source.CAPTURES), True),
    ]
    assert overlap.of(Source.JOURNAL).settle(60.0) == 7
    assert overlap.confirmed == {Source.CAPTURES: 3}
    assert overlap.of(Source.CAPTURES).settle(110.0) == 3
    assert (overlap.due(115.0), overlap.is_due(114.0), overlap.is_due(115.0)) == ((), False, True)
    assert (overlap.forget(), overlap.is_due(1e9), overlap.confirmed) == (True, False, {})
