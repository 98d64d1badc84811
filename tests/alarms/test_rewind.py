"""Instants that lie ahead after the clock was set back."""

from edgemon.alarms.firstout import mark
from edgemon.alarms.rewind import rewind
from edgemon.model.command import Shelve
from edgemon.model.limit import Delay
from tests.alarms.making import Bench, key, limit, rules


def shelved() -> Bench:
    bench = Bench(rules(limit(on_delay_alarm=Delay(3))))
    bench.measure(10_000.0, 5.0)
    bench.measure(10_010.0, 8.0)
    bench.command(Shelve(key(), 600.0, "bearing is ordered"), 10_015.0)
    return bench


def test_what_lies_ahead_is_of_now_and_what_does_not_is_left_alone() -> None:
    bench = shelved()
    after = rewind(bench.state, 10_005.0)
    assert (after.taken_at, after.fit_at, after.heard_at, after.level_at["velocity_rms"]) == (10_005.0,) * 4
    record = after.alarms["velocity_rms"]
    assert record.raised_at == 10_000.0
    assert (record.alarm.pending is not None, record.since) == (True, 10_005.0)
    assert all(one.alarm.pending.since <= 10_005.0 for one in after.alarms.values() if one.alarm.pending)


def test_a_shelf_lasts_as_long_as_it_was_meant_to() -> None:
    shelf = rewind(shelved().state, 5_000.0).alarms["velocity_rms"].shelf
    assert shelf is not None
    assert (shelf.since, shelf.until) == (5_000.0, 5_600.0)


def test_a_sensors_clock_may_be_a_little_ahead() -> None:
    state = shelved().state
    assert rewind(state, 9_990.0, ahead_s=60.0) is state
    assert rewind(state, 10_015.0) is state


def test_what_came_first_stays_the_first() -> None:
    bench = Bench(rules(limit(), limit("kurtosis", 5.0, 8.0)))
    bench.measure(10_000.0, 8.0, kurtosis=3.0)
    bench.state = rewind(bench.state, 6_000.0)
    bench.measure(6_010.0, 8.0, kurtosis=9.0)
    marked = mark(bench.state.alarms.values(), lambda _: 1.0)
    assert [record.key.level for record in marked if record.first_out is not None] == ["velocity_rms"]
