"""A start after a kill: states, delays and counters as they were; a delay spans no silence."""

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from edgemon.alarms.judge import point_word
from edgemon.model.command import RemoveFromService
from edgemon.model.event import AlarmChanged, CommandRefused, QualityChanged
from edgemon.model.limit import Delay
from edgemon.model.machine import Criticality
from edgemon.model.quality import Quality
from tests.alarms.making import Bench, changes, key, limit, rules


@pytest.mark.parametrize("delay", [Delay(3), Delay(seconds=20.0)])
def test_a_pending_delay_goes_on_over_a_short_outage(delay: Delay) -> None:
    bench = Bench(rules(limit(on_delay_alert=delay)))
    bench.measure(0.0, 5.0)
    bench.measure(10.0, 5.0)
    assert bench.restart(15.0) == ()
    bench.measure(20.0, 5.0)
    assert bench.alarm == "UNACK"


@pytest.mark.parametrize("delay", [Delay(3), Delay(seconds=20.0)])
def test_a_pending_delay_does_not_span_a_long_silence(delay: Delay) -> None:
    bench = Bench(rules(limit(on_delay_alert=delay)))
    bench.measure(0.0, 5.0)
    bench.measure(10.0, 5.0)
    bench.restart(85.0)
    bench.measure(90.0, 5.0)
    bench.measure(100.0, 5.0)
    assert bench.alarm == "NORM"
    bench.measure(110.0, 5.0)
    assert bench.alarm == "UNACK"


@pytest.mark.parametrize("delay", [Delay(3), Delay(seconds=20.0)])
def test_a_backlog_after_the_outage_proves_there_was_no_silence(delay: Delay) -> None:
    bench = Bench(rules(limit(on_delay_alert=delay)))
    bench.measure(0.0, 5.0)
    bench.restart(100.0)
    for t in (10.0, 20.0):
        bench.measure(t, 5.0, now=100.0)
    assert (bench.alarm, bench.record().raised_at) == ("UNACK", 20.0)


@given(
    values=st.lists(st.sampled_from([3.0, 5.0, 8.0]), min_size=1, max_size=20),
    kills=st.sets(st.integers(0, 19)),
    delay=st.sampled_from([Delay(1), Delay(2), Delay(3), Delay(seconds=15.0)]),
)
def test_kills_change_nothing_where_the_data_goes_on(values: list[float], kills: set[int], delay: Delay) -> None:
    one = limit(on_delay_alert=delay, on_delay_alarm=delay, off_delay=delay, latch_alarm=True)
    steady, killed = Bench(rules(one)), Bench(rules(one))
    for number, value in enumerate(values):
        steady.measure(10.0 * number, value)
        killed.measure(10.0 * number, value)
        if number in kills:
            assert killed.restart(10.0 * number + 5.0) == ()
    assert killed.state == steady.state
    assert killed.events == steady.events


def test_a_fresh_point_keeps_its_word() -> None:
    bench = Bench(rules())
    bench.measure(0.0, 3.0)
    bench.restart(20.0)
    assert (bench.quality(), point_word(bench.rules, bench.state, 20.0)) == (Quality.GOOD, "normal")


def test_after_a_long_outage_the_point_waits_before_it_is_called_lost() -> None:
    bench = Bench(rules())
    bench.measure(0.0, 8.0)
    events = bench.restart(100.0)
    assert [(event.quality, event.reasons) for event in events if isinstance(event, QualityChanged)] == [
        ("stale", ("waiting-for-first-data",))
    ]
    assert (bench.loss, point_word(bench.rules, bench.state, 100.0)) == ("NORM", "alarm")
    bench.measure(40.0, 8.0, now=110.0)
    assert bench.state.reasons == ("waiting-for-first-data",), "a backlog does not make it fresh"
    assert bench.tick(129.0) == ()
    bench.tick(130.0)
    assert (bench.loss, bench.state.reasons) == ("UNACK", ("no-data",))


def test_a_loss_already_told_stays_told() -> None:
    bench = Bench(rules())
    bench.measure(0.0, 3.0)
    bench.tick(30.0)
    before = bench.state
    assert bench.restart(100.0) == ()
    assert bench.state == before
    assert bench.tick(200.0) == ()
    bench.measure(201.0, 3.0)
    assert bench.loss == "RTNUN"


def test_unfit_before_and_silent_after_is_told_once() -> None:
    bench = Bench(rules())
    bench.measure(0.0, 3.0)
    bench.measure(5.0, 3.0, fit=False)
    events = bench.restart(100.0)
    assert [(event.quality, event.reasons) for event in events if isinstance(event, QualityChanged)] == [
        ("stale", ("no-data",))
    ]
    assert (len(events), bench.loss) == (1, "UNACK")


def test_restart_twice_is_patient_twice_but_not_for_ever() -> None:
    bench = Bench(rules())
    bench.tick(0.0)
    bench.restart(20.0)
    bench.tick(45.0)
    assert bench.loss == "NORM"
    bench.tick(50.0)
    assert bench.loss == "UNACK"


def test_a_record_without_its_limit_is_closed() -> None:
    before = Bench(rules(limit(), limit("kurtosis", 5.0, 8.0)))
    before.measure(0.0, 3.0, kurtosis=9.0)
    after = Bench(rules(limit()), before.state)
    events = after.restart(10.0)
    assert changes(events, "kurtosis") == [("CLEARED", "UNACK", "NORM")]
    assert after.restart(11.0) == ()
    before_order = after.state
    refused = after.command(RemoveFromService(key("kurtosis"), "nothing is watched there"), 12.0)
    assert [event.why for event in refused if isinstance(event, CommandRefused)] == ["no such alarm"]
    assert after.state is before_order
    again = Bench(before.rules, after.state)
    assert again.restart(13.0) == ()
    again.measure(14.0, 3.0, kurtosis=9.0)
    assert (again.record("kurtosis").state, again.record("kurtosis").occurrence) == ("UNACK", 2), "never taken for the first"


def test_a_flaw_of_what_has_no_limit_any_more_is_forgotten() -> None:
    before = Bench(rules(limit(), limit("kurtosis", 5.0, 8.0)))
    before.measure(0.0, 3.0, fit=False, kurtosis=3.0)
    after = Bench(rules(limit()), before.state)
    after.restart(1.0)
    after.measure(2.0, 3.0)  # the kurtosis may never come again
    assert after.quality() == Quality.GOOD


def test_a_limit_changed_while_down_is_judged_on_the_next_measurement() -> None:
    """Raising a limit does not clear by itself; the next value does, by its off-delay."""
    before = Bench(rules(limit(alert=4.5, deadband=0.3)))
    before.measure(0.0, 4.8)
    after = Bench(rules(limit(alert=5.5, deadband=0.3)), before.state)
    assert after.restart(5.0) == ()
    after.measure(10.0, 4.8)
    assert after.alarm == "RTNUN"


def test_the_journal_has_no_gap_over_a_restart() -> None:
    bench = Bench(rules())
    for t, value in ((0.0, 5.0), (10.0, 3.0), (20.0, 8.0)):
        bench.measure(t, value)
        bench.restart(t + 1.0)
    chain = [event for event in bench.events if isinstance(event, AlarmChanged) and event.alarm.level == "velocity_rms"]
    assert len(chain) == 3
    assert all(one.to_state == other.from_state for one, other in pairwise(chain))


def test_a_loss_that_stands_calls_where_the_machine_has_become_critical() -> None:
    before = Bench(rules(criticality=Criticality.GENERAL))
    before.measure(0.0, 3.0)
    before.tick(30.0)
    assert not before.record("monitoring").annunciates
    after = Bench(rules(criticality=Criticality.CRITICAL), before.state)
    assert changes(after.restart(40.0), "monitoring") == [("LEVEL_UP", "UNACK", "UNACK")]
    assert after.record("monitoring").annunciates
    assert after.restart(50.0) == ()
    again = Bench(before.rules, after.state)
    assert changes(again.restart(60.0), "monitoring") == [("LEVEL_DOWN", "UNACK", "UNACK")]
