"""Joining parts: any order, repeats, restarts and bounds give the capture that was cut up, or say what is missing."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from edgemon.decode.assemble import HELD_MESSAGES, REMEMBERED, Added, Assembly, add, expire, restore
from edgemon.errors import DecodeError, OutOfRange, TooLarge
from edgemon.model.gateway import InputBorders
from edgemon.model.ids import CaptureId, SensorId
from edgemon.model.reading import Capture, CapturePart, Counts
from tests.decode.samples import BORDERS, NOW, capture_part

WAIT = BORDERS.part_wait_s


def counts(*values: int) -> Counts:
    return np.array(values, dtype=np.int16)


def cut(whole: dict[str, Counts], at: list[int], **fields: Any) -> list[CapturePart]:
    """Cut a waveform at the given samples and number the pieces."""
    pieces = {axis: np.split(samples, at) for axis, samples in whole.items()}
    count = len(at) + 1
    return [capture_part({axis: pieces[axis][k] for axis in whole}, number=k + 1, count=count, **fields) for k in range(count)]


def same(one: Capture, other: Capture) -> bool:
    fields = [name for name in Capture.__slots__ if name != "axes"]
    return all(getattr(one, name) == getattr(other, name) for name in fields) and (
        one.axes.keys() == other.axes.keys() and all(one.axes[axis].tolist() == other.axes[axis].tolist() for axis in one.axes)
    )


def run(parts: list[CapturePart], borders: InputBorders = BORDERS) -> tuple[Assembly, list[Capture], list[bool]]:
    assembly = Assembly()
    captures: list[Capture] = []
    repeats: list[bool] = []
    for part in parts:
        added = add(assembly, part, borders)
        assembly = added.assembly
        captures.extend(added.captures)
        repeats.append(added.is_repeat)
    return assembly, captures, repeats


@st.composite
def mixed(draw: st.DrawFn) -> tuple[list[CapturePart], list[CapturePart]]:
    """Draw the parts of a capture in order, and the same in any order with some of them again."""
    size = draw(st.integers(2, 30))
    whole = {axis: np.frombuffer(draw(st.binary(min_size=2 * size, max_size=2 * size)), dtype="<i2") for axis in "xy"}
    parts = cut(whole, sorted(draw(st.sets(st.integers(1, size - 1), min_size=1, max_size=8))))
    again = draw(st.lists(st.sampled_from(parts), max_size=4))
    return parts, draw(st.permutations([*parts, *again]))


@given(mixed())
def test_any_order_with_repeats_gives_the_whole(case: tuple[list[CapturePart], list[CapturePart]]) -> None:
    parts, sent = case
    assembly, captures, repeats = run(sent)
    (found,) = captures
    for axis in ("x", "y"):
        assert found.axes[axis].tolist() == [value for part in parts for value in part.axes[axis].tolist()]
        assert found.axes[axis].dtype == np.int16
    assert found.missing_parts == ()
    assert sum(repeats) == len(sent) - len(parts)
    assert not assembly.open
    assert assembly.held_bytes == 0


@given(mixed(), st.data())
def test_a_restart_before_it_is_whole_changes_nothing(
    case: tuple[list[CapturePart], list[CapturePart]], data: st.DataObject
) -> None:
    parts, _ = case
    _, captures, _ = run(parts)
    stop = data.draw(st.integers(0, len(parts) - 1))
    before, _, _ = run(parts[:stop])
    restored = restore(parts[:stop])
    assert restored.held_bytes == before.held_bytes
    assert [dict(one.parts) for one in restored.open.values()] == [dict(one.parts) for one in before.open.values()]
    again: list[Capture] = []
    for part in parts[stop:]:
        added = add(restored, part, BORDERS)
        restored = added.assembly
        again.extend(added.captures)
    assert len(again) == 1
    assert same(again[0], captures[0])


def test_a_capture_sent_whole_goes_straight_through() -> None:
    part = capture_part({"x": counts(1, 2, 3)}, rpm=2970.0)
    added = add(Assembly(), part, BORDERS)
    assert not added.assembly.open
    assert not added.assembly.closed
    (found,) = added.captures
    assert found.key == part.key
    assert found.axes["x"] is part.axes["x"]
    assert (found.rpm, found.missing_parts) == (2970.0, ())


def test_an_assembly_is_a_value() -> None:
    first, second = cut({"x": counts(1, 2, 3, 4)}, [2])
    empty = Assembly()
    one = add(empty, first, BORDERS).assembly
    two = add(one, second, BORDERS).assembly
    expire(one, NOW + 2 * WAIT, BORDERS)
    assert (len(empty.open), len(one.open), len(two.open)) == (0, 1, 0)
    assert add(one, second, BORDERS).captures[0].axes["x"].tolist() == [1, 2, 3, 4]


def test_what_only_one_part_says_belongs_to_the_capture() -> None:
    first, second = cut({"x": counts(1, 2, 3, 4)}, [2])
    _, captures, _ = run([replace(second, rpm=2971.0, received_at=NOW + 5), replace(first, battery_pct=80.0)])
    assert (captures[0].rpm, captures[0].battery_pct, captures[0].temperature_c) == (2971.0, 80.0, None)
    assert captures[0].received_at == NOW + 5


@pytest.mark.parametrize(
    ("change", "where"),
    [
        ({"fs_hz": 12_800.0}, "fs"),
        ({"unit": "g"}, "u"),
        ({"scale": 0.02}, "scale"),
        ({"count": 3}, "part"),
        ({"axes": {"y": counts(3, 4)}}, "axes"),
    ],
)
def test_a_part_that_contradicts_the_first_is_refused_and_changes_nothing(change: dict[str, Any], where: str) -> None:
    first, second = cut({"x": counts(1, 2, 3, 4)}, [2])
    assembly = add(Assembly(), first, BORDERS).assembly
    with pytest.raises(OutOfRange, match="part 2 of capture c-17 contradicts part 1") as caught:
        add(assembly, replace(second, **change), BORDERS)
    assert caught.value.where == where
    assert len(add(assembly, second, BORDERS).captures) == 1


def test_the_same_part_with_other_samples_is_refused() -> None:
    first, _ = cut({"x": counts(1, 2, 3, 4)}, [2])
    assembly = add(Assembly(), first, BORDERS).assembly
    with pytest.raises(OutOfRange, match="other samples"):
        add(assembly, replace(first, axes={"x": counts(1, 3)}), BORDERS)


def test_simulated_parts_never_mix_with_real_ones() -> None:
    first, second = cut({"x": counts(1, 2, 3, 4)}, [2])
    assembly, captures, _ = run([first, replace(second, sim=True)])
    assert not captures
    assert len(assembly.open) == 2


def test_the_same_id_at_another_time_is_another_capture() -> None:
    first, second = cut({"x": counts(1, 2, 3, 4)}, [2])
    assembly, captures, _ = run([first, replace(second, taken_at=second.taken_at + 60)])
    assert not captures
    assert len(assembly.open) == 2


def close(parts: list[CapturePart], borders: InputBorders = BORDERS) -> Capture:
    assembly, captures, _ = run(parts, borders)
    assert not captures
    untouched, none = expire(assembly, NOW + WAIT - 0.001, borders)
    assert none == ()
    assert untouched is assembly
    closed, (found,) = expire(assembly, NOW + WAIT, borders)
    assert not closed.open
    assert closed.held_bytes == 0
    return found


def test_missing_parts_in_the_middle_are_zeros_so_that_the_rest_keeps_its_place() -> None:
    parts = cut({"x": counts(1, 2, 3, 4, 5, 6, 7)}, [2, 4, 6])
    found = close([parts[3], parts[0]])
    assert found.axes["x"].tolist() == [1, 2, 0, 0, 0, 0, 7]
    assert found.missing_parts == (2, 3)


def test_a_missing_last_part_is_left_out() -> None:
    parts = cut({"x": counts(1, 2, 3, 4, 5)}, [2, 4])
    found = close([parts[1]])
    assert found.axes["x"].tolist() == [0, 0, 3, 4]
    assert found.missing_parts == (1, 3)


@pytest.mark.parametrize(
    ("cuts", "came", "expected"),
    [
        ([2, 4], [3], [5]),  # only the last came: it tells nothing of the others
        ([2, 5, 7], [1, 2], [1, 2, 3, 4, 5]),  # the others differ
        ([1, 2], [1, 3], [1, 3, 4, 5]),  # the last is longer than the others: they are not of one length
    ],
)
def test_a_missing_part_whose_length_cannot_be_told_is_left_out(cuts: list[int], came: list[int], expected: list[int]) -> None:
    size = 5 if len(cuts) == 2 else 9
    parts = cut({"x": counts(*range(1, size + 1))}, cuts)
    assert close([parts[number - 1] for number in came]).axes["x"].tolist() == expected


def test_zeros_are_not_filled_in_beyond_the_bound() -> None:
    part = capture_part({"x": counts(*range(100))}, number=1, count=1024)
    found = close([part], replace(BORDERS, samples=1000))
    assert found.axes["x"].tolist() == list(range(100))
    assert len(found.missing_parts) == 1023


def test_every_part_that_comes_starts_the_wait_anew() -> None:
    parts = cut({"x": counts(1, 2, 3)}, [1, 2])
    late = replace(parts[1], received_at=NOW + WAIT - 1)
    assembly, _, _ = run([parts[0], late])
    assert expire(assembly, NOW + WAIT + 1, BORDERS)[1] == ()
    assert len(expire(assembly, NOW + 2 * WAIT - 1, BORDERS)[1]) == 1


def test_parts_after_closing() -> None:
    parts = cut({"x": counts(1, 2, 3)}, [1, 2])
    assembly, _ = expire(run(parts[:2])[0], NOW + WAIT, BORDERS)
    assert add(assembly, parts[0], BORDERS).is_repeat
    with pytest.raises(OutOfRange, match="closed without it"):
        add(assembly, parts[2], BORDERS)
    whole, captures, _ = run(parts)
    assert len(captures) == 1
    assert [add(whole, part, BORDERS).is_repeat for part in parts] == [True, True, True]


def test_too_many_samples_are_refused() -> None:
    parts = cut({"x": counts(*range(12))}, [4, 8])
    assembly, _, _ = run(parts[:2], replace(BORDERS, samples=11))
    with pytest.raises(TooLarge, match="11 samples"):
        add(assembly, parts[2], replace(BORDERS, samples=11))


def opened(number: int, size: int = 2, **fields: Any) -> CapturePart:
    return capture_part({"x": np.full(size, number, dtype=np.int16)}, id=CaptureId(f"c-{number}"), number=1, count=2, **fields)


def test_open_captures_are_bounded_and_the_first_opened_is_closed() -> None:
    borders = replace(BORDERS, open_captures=3)
    assembly, captures, _ = run([opened(number) for number in range(5)], borders)
    assert len(assembly.open) == 3
    assert [capture.id for capture in captures] == ["c-0", "c-1"]
    assert [capture.missing_parts for capture in captures] == [(2,), (2,)]
    assert len(run([opened(number) for number in range(40)], borders)[0].closed) == REMEMBERED * 3


def test_held_bytes_are_bounded() -> None:
    borders = replace(BORDERS, message_bytes=1000)
    assembly, captures, _ = run([opened(number, size=500) for number in range(20)], borders)
    assert assembly.held_bytes == HELD_MESSAGES * 1000
    assert [capture.id for capture in captures] == ["c-0", "c-1", "c-2", "c-3"]


def test_restoring_closes_nothing_and_the_next_expiry_closes_what_is_over_or_whole() -> None:
    parts = [opened(number) for number in range(4)]
    second = replace(parts[0], number=2)
    assembly = restore([*parts, second, parts[1], replace(parts[2], number=2, fs_hz=1.0)])
    assert len(assembly.open) == 4
    after, captures = expire(assembly, NOW, replace(BORDERS, open_captures=2))
    assert [(capture.id, capture.missing_parts) for capture in captures] == [("c-0", ()), ("c-1", (2,))]
    assert len(after.open) == 2


def clockless(parts: list[CapturePart], at: float) -> list[CapturePart]:
    """Stamp parts as they are where only the time of arrival is known: each with its own."""
    return [replace(part, taken_at=at + k, received_at=at + k) for k, part in enumerate(parts)]


def test_parts_of_a_sensor_without_a_clock_are_joined_under_the_time_of_the_first() -> None:
    parts = clockless(cut({"x": counts(1, 2, 3)}, [1, 2]), NOW)
    added: list[Added] = []
    assembly = Assembly()
    for part in [parts[0], parts[1], replace(parts[1], taken_at=NOW + 9, received_at=NOW + 9), parts[2]]:
        added.append(add(assembly, part, BORDERS))
        assembly = added[-1].assembly
    assert [one.is_repeat for one in added] == [False, False, True, False]
    (found,) = added[-1].captures
    assert found.axes["x"].tolist() == [1, 2, 3]
    assert found.taken_at == NOW
    assert {one.part.key for one in added} == {found.key}
    restored = restore([one.part for one in added[:2]])
    assert add(restored, parts[2], BORDERS).captures[0].axes["x"].tolist() == [1, 2, 3]


def test_a_sensor_without_a_clock_may_use_one_id_for_ever() -> None:
    one = clockless(cut({"x": counts(1, 2, 3, 4)}, [2]), NOW)
    other = clockless(cut({"x": counts(5, 6, 7, 8)}, [2]), NOW + 300)
    assembly, captures, _ = run([one[0], *other])
    assert [capture.axes["x"].tolist() for capture in captures] == [[5, 6, 7, 8]]
    assert expire(assembly, NOW + WAIT, BORDERS)[1][0].missing_parts == (2,)


ANY_PART = st.builds(
    lambda sensor, at, part, size, fs, sim: capture_part(
        {"x": np.full(size, part[0], dtype=np.int16)},
        sensor=SensorId(sensor),
        taken_at=NOW + at,
        number=part[0],
        count=part[1],
        fs_hz=fs,
        sim=sim,
    ),
    st.sampled_from(["s-0001", "s-0002"]),
    st.sampled_from([-1.0, 0.0]),
    st.sampled_from([(k, n) for n in range(1, 4) for k in range(1, n + 1)]),
    st.integers(1, 3),
    st.sampled_from([100.0, 100.0, 200.0]),
    st.booleans(),
)


@given(st.lists(st.tuples(ANY_PART, st.booleans()), max_size=25))
def test_every_sample_is_waiting_delivered_repeated_or_refused(steps: list[tuple[CapturePart, bool]]) -> None:
    """No sample as sent is zero here, so that those filled in do not count."""
    borders = InputBorders(open_captures=3, message_bytes=1, samples=8)
    assembly, accounted = Assembly(), 0
    for part, is_late in steps:
        size = len(part.axes["x"])
        try:
            added = add(assembly, part, borders)
        except DecodeError:
            accounted += size
            continue
        assembly, captures = added.assembly, list(added.captures)
        accounted += size if added.is_repeat else 0
        if is_late:
            assembly, closed = expire(assembly, NOW + WAIT, borders)
            captures.extend(closed)
        accounted += sum(int(np.count_nonzero(capture.axes["x"])) for capture in captures)
        assert len(assembly.open) <= 3
        assert assembly.held_bytes <= HELD_MESSAGES
        assert assembly.held_bytes == sum(p.axes["x"].nbytes for one in assembly.open.values() for p in one.parts.values())
    assert sum(len(part.axes["x"]) for part, _ in steps) == accounted + assembly.held_bytes // 2
