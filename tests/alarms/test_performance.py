"""Alarm performance: hand-made journals with results worked out by hand, and a second, plain way of counting.

Definitions and targets: ANSI/ISA-18.2-2016 16.4 and EEMUA 191, as told in secondary texts; HSE Chemicals Information Sheet 6.
"""

from collections.abc import Iterable
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from edgemon.alarms.performance import performance
from edgemon.alarms.tally import ANNOUNCING
from edgemon.errors import ParameterError
from edgemon.model.alarm import AlarmState, Priority
from edgemon.model.event import AlarmChanged, Event, JournalEntry
from edgemon.model.gateway_event import GatewayStarted, GatewayStopped
from edgemon.model.ids import AlarmKey, MachineId, PointId
from edgemon.model.limit import Severity
from edgemon.model.performance import Figure, Performance

T0 = 1_767_225_600.0
"""2026-01-01T00:00:00Z: begin of a day, an hour and ten minutes."""
DAY, MINUTE = 86_400.0, 60.0
S = AlarmState


def key(number: int = 1, sim: bool = False) -> AlarmKey:
    return AlarmKey(MachineId(f"hp-pump-{number}"), PointId("motor-de-h"), "velocity_rms", sim)


def changed(at: float, change: str, to: AlarmState, alarm: AlarmKey | None = None, **more: object) -> AlarmChanged:
    event = AlarmChanged(at, alarm or key(), change, S.NORM, to, Severity.ALARM, 1, Priority.HIGH, True)
    return replace(event, **more)  # type: ignore[arg-type]


def raised(at: float, number: int = 1, **more: object) -> AlarmChanged:
    return changed(at, "RAISED", S.UNACK, key(number), **more)


def cleared(at: float, number: int = 1) -> AlarmChanged:
    return changed(at, "CLEARED", S.RTNUN, key(number), annunciates=False)


def journal(events: Iterable[Event]) -> list[JournalEntry]:
    return [JournalEntry(seq, event.at, event) for seq, event in enumerate(events, 1)]


def judged(events: Iterable[Event], lasts: float = DAY, since: float = T0, sim: bool = False) -> Performance:
    return performance(journal(sorted(events, key=lambda event: event.at)), since, since + lasts, sim)


def figure(found: Performance, name: str) -> Figure:
    (one,) = [one for one in found.figures if one.name == name]
    return one


def value(found: Performance, name: str) -> float | None:
    return figure(found, name).value


def test_only_what_calls_the_operator_anew_is_counted() -> None:
    """By the table of transitions: entries to UNACK by these six changes, each of which announces."""
    assert {"RAISED", "LEVEL_UP", "REALARM", "UNSHELVED", "UNSUPPRESSED", "RTS"} == ANNOUNCING
    events = [changed(T0 + 1000.0 * k, change, S.UNACK) for k, change in enumerate(sorted(ANNOUNCING))]
    others: list[Event] = [
        changed(T0 + 10_001.0, "ACK", S.ACKED),
        changed(T0 + 10_002.0, "CLEARED", S.NORM),
        changed(T0 + 10_003.0, "LEVEL_DOWN", S.UNACK),
        changed(T0 + 10_004.0, "UNSHELVED", S.NORM),
        changed(T0 + 10_005.0, "RAISED", S.UNACK, annunciates=False, severity=Severity.ALERT),
        changed(T0 + 10_006.0, "RAISED", S.ACKED, annunciates=False, severity=Severity.ALERT),
        GatewayStopped(T0 + 10_007.0, "told to"),
    ]
    found = judged([*events, *others])
    assert (found.annunciations, found.not_announced, found.other, found.after_restart) == (6, 2, 0, 0)


def test_rates_of_a_day_worked_out_by_hand() -> None:
    """A day with 12 in 00:00-00:10, 8 in 00:10-00:20, 4 in 00:20-00:30, 25 in 12:00-12:10 and one at 23:59:59."""
    first = [raised(T0 + 49.0 * k, 1 + k) for k in range(12)]
    second = [raised(T0 + 600.0 + 70.0 * k, 20 + k) for k in range(8)]
    third = [raised(T0 + 1200.0 + 140.0 * k, 30 + k) for k in range(4)]
    noon = [raised(T0 + DAY / 2 + 20.0 * k, 40 + k) for k in range(25)]
    found = judged([*first, *second, *third, *noon, raised(T0 + DAY - 1.0, 99)])
    assert found.annunciations == 50
    assert value(found, "per_10_min") == pytest.approx(50 / 144)  # 144 times ten minutes in a day
    assert value(found, "per_hour") == pytest.approx(50 / 24)
    assert value(found, "per_day") == 50.0
    assert value(found, "most_per_10_min") == 25.0
    assert value(found, "most_per_hour") == 25.0
    assert value(found, "most_per_day") == 50.0
    assert value(found, "share_above_10") == pytest.approx(100 * 2 / 144)
    assert value(found, "share_above_30") == 0.0
    # the first flood lasts through the bin of 8 and ends with the bin of 4; the second ends with the empty bin after it
    assert [(one.begin, one.end, one.count, one.most) for one in found.floods] == [
        (T0, T0 + 1200.0, 20, 12),
        (T0 + DAY / 2, T0 + DAY / 2 + 600.0, 25, 25),
    ]
    assert value(found, "time_in_flood") == pytest.approx(100 * 1800 / 86_400)
    verdicts = {one.name: one.verdict for one in found.figures}
    assert verdicts["per_10_min"] == verdicts["share_above_30"] == verdicts["per_day"] == "met"
    assert verdicts["most_per_10_min"] == verdicts["share_above_10"] == verdicts["time_in_flood"] == "missed"
    assert verdicts["most_per_hour"] == verdicts["high_share"] == ""
    assert any("very likely to be acceptable" in remark for remark in found.remarks)
    assert any("30 days" in remark for remark in found.remarks)


@pytest.mark.parametrize(("count", "floods"), [(10, 0), (11, 1)])
def test_a_flood_takes_more_than_ten(count: int, floods: int) -> None:
    assert len(judged(raised(T0 + k, k) for k in range(count)).floods) == floods


@pytest.mark.parametrize(("count", "lasts"), [(4, 600.0), (5, 1200.0)])
def test_a_flood_ends_below_five(count: int, lasts: float) -> None:
    found = judged([*(raised(T0 + k, k) for k in range(11)), *(raised(T0 + 600.0 + k, k) for k in range(count))])
    assert [one.end - one.begin for one in found.floods] == [lasts]


def test_bins_are_aligned_to_the_clock_not_to_the_first_alarm() -> None:
    """Twelve within ten minutes, six on either side of 00:10: no bin has more than ten."""
    assert value(judged(raised(T0 + 570.0 + 5.0 * k, k) for k in range(12)), "most_per_10_min") == 6.0


def test_a_flood_that_reaches_over_the_period_counts_within_it_only() -> None:
    found = judged((raised(T0 + 300.0 + k, k) for k in range(20)), lasts=300.0, since=T0 + 300.0)
    assert value(found, "time_in_flood") == 100.0
    assert value(found, "per_10_min") is None  # too short to say
    assert value(judged([], lasts=600.0), "per_10_min") == 0.0


def test_tolerable_lies_between_target_and_most() -> None:
    for count, verdict in ((144, "met"), (145, "tolerable"), (288, "tolerable"), (289, "missed")):
        times = [T0 + k * DAY / count for k in range(count)]
        assert figure(judged(raised(at, k) for k, at in enumerate(times)), "per_10_min").verdict == verdict


@pytest.mark.parametrize(
    ("offsets", "belong"),
    [((0, 30, 60), 3), ((0, 30, 60.5), 0), ((0, 10), 0), ((0, 50, 60, 70, 200), 4), ((0, 10, 20, 100, 110, 120), 6)],
)
def test_chatter_is_three_within_a_minute(offsets: tuple[float, ...], belong: int) -> None:
    found = judged([raised(T0 + at) for at in offsets] + [raised(T0 + at, 2) for at in (5.0, 25.0)])
    assert [one.count for one in found.chattering] == ([belong] if belong else [])
    assert value(found, "chattering") == float(bool(belong))


def test_what_a_person_brought_about_is_no_chatter() -> None:
    by_hand = changed(T0 + 20.0, "UNSHELVED", S.UNACK, by="operator on shift")
    found = judged([raised(T0), by_hand, raised(T0 + 40.0)])
    assert (found.annunciations, found.chattering) == (3, ())


@pytest.mark.parametrize(
    ("events", "fleeting"),
    [
        ([raised(T0), cleared(T0 + 9.9)], 1),
        ([raised(T0), cleared(T0 + 10.0)], 0),
        ([raised(T0), cleared(T0 + 5.0), raised(T0 + 60.0), cleared(T0 + 300.0)], 0),  # repeated
        ([raised(T0), cleared(T0 + 5.0), raised(T0 + 61.0), cleared(T0 + 300.0)], 1),
        ([raised(T0), raised(T0 + 5.0, 2), cleared(T0 + 6.0)], 1),  # another alarm is no repetition
        ([raised(T0), changed(T0 + 2.0, "ACK", S.ACKED), changed(T0 + 4.0, "CLEARED", S.NORM)], 1),
    ],
)
def test_fleeting_is_short_and_not_repeated(events: list[AlarmChanged], fleeting: int) -> None:
    assert value(judged(events), "fleeting") == fleeting


def test_an_alarm_that_was_closed_with_its_limit_was_not_fleeting() -> None:
    closed = replace(cleared(T0 + 5.0), to_state=S.NORM, reason="no limit is set any more")
    assert value(judged([raised(T0), closed]), "fleeting") == 0


def test_stale_is_more_than_a_day_without_a_break() -> None:
    """Pump 1 stands 24 h (not stale), 2 a second more, 3 to the end, 4 from before the period, 5 was hidden in between."""
    events = [
        changed(T0 - 3 * DAY, "RAISED", S.UNACK, key(4)),
        changed(T0 - 2 * DAY, "ACK", S.ACKED, key(4)),
        *(raised(T0 + 10.0, number) for number in (1, 2, 3, 5)),
        changed(T0 + 60.0, "ACK", S.ACKED, key(3)),
        changed(T0 + DAY / 2, "SHELVED", S.SHLVD, key(5)),
        changed(T0 + DAY / 2 + 60.0, "UNSHELVED", S.UNACK, key(5)),
        cleared(T0 + DAY + 10.0, 1),
        cleared(T0 + DAY + 11.0, 2),
        cleared(T0 + 1.4 * DAY, 5),
        cleared(T0 + 1.5 * DAY, 4),
    ]
    found = judged(events, lasts=3 * DAY)
    assert [(one.alarm.split("/")[0], one.since, one.until) for one in found.stale] == [
        ("hp-pump-4", T0 - 3 * DAY, T0 + 1.5 * DAY),
        ("hp-pump-2", T0 + 10.0, T0 + DAY + 11.0),
        ("hp-pump-3", T0 + 10.0, None),
    ]
    assert value(found, "stale") == 3.0  # on the second day: 4, 2 and 3
    assert found.annunciations == 5  # what came before the period is not counted
    assert value(judged(events, lasts=DAY), "stale") == 1.0


def test_what_a_start_says_again_and_what_is_simulated_stay_apart() -> None:
    again = T0 + 1000.0
    events: list[Event] = [
        raised(T0 + 10.0),
        GatewayStarted(again, "0.1.0", "x"),
        raised(again),
        raised(again, 2),
        raised(again + 1.0, 3),
        changed(T0 + 2000.0, "RAISED", S.UNACK, key(1, sim=True)),
    ]
    real, simulated = judged(events), judged(events, sim=True)
    assert (real.annunciations, real.after_restart, real.other) == (2, 2, 1)
    assert (simulated.annunciations, simulated.after_restart, simulated.other) == (1, 0, 4)
    assert [one.name for one in simulated.contributors] == ["hp-pump-1/motor-de-h/velocity_rms/sim"]


def test_shares_by_priority_severity_and_alarm() -> None:
    """Twelve alarms: number k is announced k times, 78 in all; 1 to 4 high (10), 5 to 8 medium (26), 9 to 12 low (42)."""
    events: list[Event] = []
    for number in range(1, 13):
        priority = (Priority.HIGH, Priority.MEDIUM, Priority.LOW)[(number - 1) // 4]
        severity = Severity.ALERT if number > 8 else Severity.ALARM
        times = [T0 + 3600.0 * k + 5.0 * number for k in range(number)]
        events += [raised(at, number, priority=priority, severity=severity) for at in times]
    found = judged(events)
    assert [(one.name, one.count, one.share) for one in found.priorities] == [
        ("high", 10, 10 / 78),
        ("medium", 26, 26 / 78),
        ("low", 42, 42 / 78),
    ]
    assert [(one.name, one.count) for one in found.severities] == [("alarm", 36), ("alert", 42)]
    assert [one.count for one in found.contributors] == [12, 11, 10, 9, 8, 7, 6, 5, 4, 3]
    assert value(found, "top_10_share") == pytest.approx(100 * 75 / 78)
    assert value(found, "low_share") == pytest.approx(100 * 42 / 78)


def test_nothing_announced_is_no_share_and_an_empty_period_is_an_error() -> None:
    found = judged([], lasts=40 * DAY)
    assert value(found, "top_10_share") is None
    assert (value(found, "per_day"), found.floods, found.contributors) == (0.0, (), ())
    assert not any("30 days" in remark for remark in found.remarks)
    with pytest.raises(ParameterError, match="empty"):
        performance([], T0, T0)


def test_the_time_is_when_the_operator_was_called() -> None:
    """A gateway that was cut off for hours hears twelve old alarms at once: that is a flood now, not in the past."""
    late = [JournalEntry(k, T0 + 7200.0, raised(T0 + 600.0 * k, k)) for k in range(12)]
    found = performance(late, T0, T0 + DAY)
    assert value(found, "most_per_10_min") == 12.0


Announced = tuple[int, int]


@given(
    st.lists(st.tuples(st.integers(0, 3), st.integers(0, 14_399)), max_size=150), st.integers(0, 3000), st.integers(600, 11_000)
)
def test_a_second_plain_way_of_counting_agrees(announced: list[Announced], begin: int, lasts: int) -> None:
    since, until = T0 + begin, T0 + begin + lasts
    ordered = sorted(announced, key=lambda one: one[1])
    found = performance(journal(raised(T0 + at, number) for number, at in ordered), since, until)
    inside = [(number, at) for number, at in ordered if begin <= at < begin + lasts]
    bins = [sum(1 for _, at in inside if 600 * k <= at < 600 * (k + 1)) for k in range(24)]
    touched = [k for k in range(24) if 600 * k < begin + lasts and 600 * (k + 1) > begin]
    assert found.annunciations == len(inside)
    assert value(found, "most_per_10_min") == max(bins)
    assert value(found, "share_above_10") == pytest.approx(100 * sum(count > 10 for count in bins) / len(touched))
    flooded, is_flood = set(), False
    for k in touched:
        is_flood = bins[k] >= 5 if is_flood else bins[k] > 10
        flooded |= {second for second in range(600 * k, 600 * k + 600) if is_flood and begin <= second < begin + lasts}
    assert value(found, "time_in_flood") == pytest.approx(100 * len(flooded) / lasts)
    for number in range(4):
        times = [at for one, at in inside if one == number]
        near = [[j for j in range(len(times)) if 0 <= times[j] - start <= 60] for start in times]
        belongs = {j for window in near if len(window) >= 3 for j in window}
        told = {one.name: one.count for one in found.chattering}
        assert told.get(str(key(number)), 0) == len(belongs)
