"""Stretches of a trend: lossless is bit for bit, thinned loses no extreme, no count and no sum."""

import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from edgemon.errors import StoreCorrupt
from edgemon.store.chunk import (
    THIN_S,
    Thinned,
    Values,
    cut,
    decoded,
    encoded,
    merged,
    readings,
    thinned,
    thinned_with,
    values_of,
    weighed,
)

TIMES = st.one_of(
    st.floats(0.0, 4e9),
    st.integers(0, 4_000_000_000).map(float),
    st.integers(0, 4_000_000_000_000).map(lambda ms: ms / 1000),
    st.integers(1_800_000_000_000_000, 1_800_100_000_000_000).map(lambda us: us / 1_000_000),
)
FINITE = st.one_of(st.floats(allow_nan=False, allow_infinity=False), st.floats(width=32, allow_nan=False, allow_infinity=False))
ROWS = st.lists(st.tuples(TIMES, FINITE, st.booleans()), max_size=60, unique_by=lambda row: row[0]).map(sorted)
CLOSE = st.lists(
    st.tuples(st.floats(1.8e9, 1.8e9 + 20 * THIN_S), st.floats(-1e6, 1e6), st.booleans()),
    max_size=80,
    unique_by=lambda row: row[0],
).map(sorted)


def rows_of(values: Values) -> list[tuple[float, float, bool]]:
    return list(zip(values.t.tolist(), values.value.tolist(), values.fit.tolist(), strict=True))


@given(ROWS)
def test_lossless_is_bit_for_bit(rows: list[tuple[float, float, bool]]) -> None:
    back = decoded(encoded(values_of(rows)), "here")
    assert isinstance(back, Values)
    assert [(t.hex(), v.hex(), f) for t, v, f in rows_of(back)] == [(t.hex(), v.hex(), f) for t, v, f in rows]


@given(ROWS, ROWS)
def test_merging_keeps_one_of_each_time_and_the_fit_one(
    one: list[tuple[float, float, bool]], other: list[tuple[float, float, bool]]
) -> None:
    wanted: dict[float, tuple[float, bool]] = {}
    for t, value, fit in (*one, *other):
        if t not in wanted or (fit and not wanted[t][1]):
            wanted[t] = value, fit
    assert rows_of(merged(values_of(one), values_of(other))) == [(t, *wanted[t]) for t in sorted(wanted)]


@given(CLOSE, st.integers(1, 9))
def test_no_second_lies_in_two_pieces(rows: list[tuple[float, float, bool]], most: int) -> None:
    pieces = cut(values_of(rows), most)
    assert [row for piece in pieces for row in rows_of(piece)] == rows
    seconds = [set(np.floor(piece.t).tolist()) for piece in pieces]
    assert all(a.isdisjoint(b) for a, b in pairwise(seconds))
    assert all(len(piece) <= most or len(second) == 1 for piece, second in zip(pieces, seconds, strict=True))


def by_hour(rows: list[tuple[float, float, bool]]) -> dict[tuple[float, bool], list[tuple[float, float]]]:
    hours: dict[tuple[float, bool], list[tuple[float, float]]] = {}
    for t, value, fit in rows:
        hours.setdefault((math.floor(t / THIN_S), fit), []).append((t, value))
    return hours


@given(CLOSE)
def test_a_thinned_hour_keeps_extremes_with_their_times_mean_and_count(rows: list[tuple[float, float, bool]]) -> None:
    back = decoded(encoded(thinned(values_of(rows))), "here")
    assert isinstance(back, Thinned)
    hours = by_hour(rows)
    assert len(back) == len(hours)
    for k in range(len(back)):
        held = hours[math.floor(back.low_at[k] / THIN_S), bool(back.fit[k])]
        values = [value for _, value in held]
        assert (back.low[k], back.high[k], back.count[k]) == (min(values), max(values), len(values))
        assert (back.low_at[k], back.low[k]) in held
        assert (back.high_at[k], back.high[k]) in held
        assert back.mean[k] == pytest.approx(math.fsum(values) / len(values), abs=1e-6)


@given(CLOSE, CLOSE)
def test_what_comes_late_is_thinned_as_if_it_had_come_in_time(
    one: list[tuple[float, float, bool]], late: list[tuple[float, float, bool]]
) -> None:
    times = {row[0] for row in one}
    late = [row for row in late if row[0] not in times]
    together, whole = thinned_with(thinned(values_of(one)), values_of(late)), thinned(merged(values_of(one), values_of(late)))
    for name in ("low", "high", "count", "fit"):
        np.testing.assert_array_equal(getattr(together, name), getattr(whole, name))
    np.testing.assert_allclose(together.mean, whole.mean, atol=1e-6)


@given(CLOSE)
def test_sums_and_counts_of_what_is_weighed_are_those_of_all_fit_readings(rows: list[tuple[float, float, bool]]) -> None:
    fit = [value for _, value, is_fit in rows if is_fit]
    for stretch in (values_of(rows), thinned(values_of(rows))):
        _, value, weight = weighed(stretch)
        assert weight.sum() == len(fit)
        assert float((value * weight).sum()) == pytest.approx(math.fsum(fit), abs=1e-3)
        if fit:
            assert (value.min(), value.max()) == (min(fit), max(fit))


@given(CLOSE)
@example([(1.8e9, 0.0, True), (1.8e9 + 1.0, 0.0, True)])
def test_what_is_still_known_one_by_one_was_measured(rows: list[tuple[float, float, bool]]) -> None:
    known = rows_of(readings(thinned(values_of(rows))))
    assert set(known) <= set(rows)
    for held in by_hour(rows).values():
        if len(held) <= 2:
            assert set(held) <= {(t, value) for t, value, _ in known}


def test_steady_stamps_cost_nothing_and_short_values_four_bytes() -> None:
    rows = [(1.8e9 + 300.0 * k, float(np.float32(0.1 * k)), True) for k in range(2000)]
    assert len(encoded(values_of(rows))) < 4 * 2000 + 40


@pytest.mark.parametrize("body", [b"", b"\x07" * 30, encoded(values_of([(1.0, 2.0, 1)] * 1))[:-1]])
def test_damage_is_told(body: bytes) -> None:
    with pytest.raises(StoreCorrupt, match="stretch 7"):
        decoded(body, "stretch 7")
