"""Commands of people: who may, what is refused, what a shelf covers (shelving mechanics: OPC 10000-9, 5.8.17)."""

from dataclasses import replace
from math import inf, nan

import pytest

from edgemon.alarms.judge import next_due
from edgemon.model.alarm import Priority
from edgemon.model.command import (
    Acknowledge,
    Command,
    Person,
    RemoveFromService,
    Reset,
    ReturnToService,
    Role,
    Shelve,
    Unshelve,
)
from edgemon.model.event import AlarmChanged, CommandRefused
from edgemon.model.ids import AlarmKey
from edgemon.model.machine import point_key
from tests.alarms.making import ENGINEER, OPERATOR, Bench, changes, key, limit, rules

OTHER_POINT, OTHER_MACHINE = point_key("hp-pump-1", "motor-de-h"), point_key("hp-pump-2", "pump-de-h")
VIEWER = Person("visitor", Role.VIEWER, "lobby")
ALL: tuple[Command, ...] = (
    Acknowledge(key(), 1), Reset(key()), Shelve(key(), 60.0, "bracket"), Unshelve(key()),
    RemoveFromService(key(), "swap"), ReturnToService(key()),
)  # fmt: skip


def raised(value: float = 5.0, **more: object) -> Bench:
    bench = Bench(rules(limit(), **more))  # type: ignore[arg-type]
    bench.measure(0.0, value)
    return bench


def why(bench: Bench, command: Command, person: Person = OPERATOR) -> str:
    before = bench.state
    (event,) = bench.command(command, 1.0, person)
    assert isinstance(event, CommandRefused)
    assert bench.state is before
    assert (event.by, event.station, event.command) == (person.name, person.station, type(command).__name__)
    return event.why


@pytest.mark.parametrize("command", ALL, ids=lambda command: type(command).__name__)
def test_a_viewer_may_nothing(command: Command) -> None:
    assert why(raised(), command, VIEWER) == "not permitted to the role viewer"


def test_out_of_service_is_for_engineers() -> None:
    assert "operator" in why(raised(), RemoveFromService(key(), "swap"))
    assert raised().command(RemoveFromService(key(), "swap"), 1.0, ENGINEER)[0].to_state == "OOSRV"  # type: ignore[union-attr]


def test_who_did_it_is_in_the_journal() -> None:
    bench = raised()
    (event,) = bench.command(Shelve(key(), 60.0, " loose bracket ", True), 1.0, OPERATOR)
    assert isinstance(event, AlarmChanged)
    assert (event.by, event.station, event.reason, event.until) == (OPERATOR.name, "control room", "loose bracket", 61.0)
    shelf = bench.record().shelf
    assert shelf is not None
    assert (shelf.by, shelf.reason, shelf.since, shelf.until, shelf.one_shot) == (
        OPERATOR.name,
        "loose bracket",
        1.0,
        61.0,
        True,
    )


@pytest.mark.parametrize("duration", [0.0, -5.0, nan, inf, 28800.1])
def test_a_shelf_has_a_sensible_length(duration: float) -> None:
    assert why(raised(), Shelve(key(), duration, "bracket"))


def test_the_longest_shelf_is_allowed() -> None:
    assert changes(raised().command(Shelve(key(), 28800.0, "bracket"), 1.0, OPERATOR)) == [("SHELVED", "UNACK", "SHLVD")]
    assert why(raised(max_shelve_s=0.0), Shelve(key(), 1.0, "bracket"))


@pytest.mark.parametrize("reason", ["", "  ", "\t"])
def test_hiding_needs_a_reason_and_a_name(reason: str) -> None:
    assert "reason" in why(raised(), Shelve(key(), 60.0, reason))
    assert "reason" in why(raised(), RemoveFromService(key(), reason), ENGINEER)
    assert "name" in why(raised(), Shelve(key(), 60.0, "bracket"), replace(OPERATOR, name=" "))


def test_unknown_alarms_are_refused() -> None:
    for wrong in (
        key("kurtosis"),
        AlarmKey(*OTHER_POINT, "velocity_rms"),
        AlarmKey(*OTHER_MACHINE, "velocity_rms"),
        key(sim=True),
    ):
        assert why(raised(), Acknowledge(wrong, 1)) == "no such alarm"


def test_a_normal_alarm_can_be_shelved_before_any_data() -> None:
    bench = Bench(rules())
    bench.command(Shelve(key(), 60.0, "grinding nearby"), 0.0)
    bench.measure(10.0, 5.0)
    assert bench.alarm == "SHLVD", "the shelf covers the lowest severity the record can have"
    bench.measure(20.0, 8.0)
    assert bench.alarm == "UNACK", "and not more"


def test_a_record_with_an_alarm_limit_only_can_be_shelved_while_normal() -> None:
    bench = Bench(rules(limit(alert=None)))
    bench.command(Shelve(key(), 60.0, "grinding nearby"), 0.0)
    bench.measure(10.0, 8.0)
    assert bench.alarm == "SHLVD"


def test_shelving_again_needs_a_new_reason_and_moves_the_end() -> None:
    bench = raised()
    bench.command(Shelve(key(), 60.0, "bracket"), 1.0)
    bench.command(Shelve(key(), 60.0, "part not here yet"), 50.0)
    assert next_due(bench.rules, bench.state) == 30.0
    bench.measure(60.0, 5.0)
    bench.tick(70.0)
    assert bench.alarm == "SHLVD"
    bench.measure(105.0, 5.0)
    (event,) = bench.tick(112.0)
    assert isinstance(event, AlarmChanged)
    assert (event.change, event.at, event.until, event.reason) == ("UNSHELVED", 110.0, 110.0, "shelf expired")


def test_coming_out_of_a_shelf_is_a_new_occurrence_with_its_own_priority() -> None:
    bench = raised(8.0)
    bench.command(Acknowledge(key(), 1), 1.0, OPERATOR)
    bench.command(Shelve(key(), 10.0, "bracket"), 2.0, OPERATOR)
    bench.measure(5.0, 5.0)
    bench.tick(12.0)
    record = bench.record()
    assert (record.state, record.occurrence, record.severity.word, record.peak_severity.word) == ("UNACK", 2, "alert", "alert")
    assert (record.priority, record.annunciates) == (Priority.MEDIUM, False)


def test_an_expired_shelf_under_suppression_is_only_journalled() -> None:
    bench = raised()
    bench.command(Shelve(key(), 60.0, "bracket"), 1.0)
    bench.measure(10.0, 0.1, rpm=0.0)
    assert bench.alarm == "DSUPR"
    assert changes(bench.tick(61.0)) == [("UNSHELVED", "DSUPR", "DSUPR")]
    bench.measure(65.0, 5.0, rpm=2975.0)
    assert bench.alarm == "UNACK"


def test_a_shelf_that_still_holds_shows_again_after_the_stop() -> None:
    bench = raised()
    bench.command(Shelve(key(), 60.0, "bracket"), 1.0)
    bench.measure(10.0, 0.1, rpm=0.0)
    assert changes(bench.measure(20.0, 5.0, rpm=2975.0)) == [("UNSUPPRESSED", "DSUPR", "SHLVD")]


def test_realarm_only_where_the_site_asks() -> None:
    for realarm_s, expected in ((None, "ACKED"), (100.0, "UNACK")):
        bench = raised(8.0, realarm_s=realarm_s, stale_after_s=1000.0)
        bench.command(Acknowledge(key(), 1), 1.0, OPERATOR)
        bench.tick(100.9)
        assert bench.alarm == "ACKED"
        bench.tick(101.0)
        assert bench.alarm == expected


def test_what_needs_no_acknowledgement_never_calls_for_one() -> None:
    bench = raised(5.0, realarm_s=100.0, alert_needs_ack=False, stale_after_s=1000.0)
    bench.tick(200.0)
    assert bench.alarm == "ACKED"
    assert next_due(bench.rules, bench.state) == 1000.0, "only silence is due"


def test_alerts_without_acknowledgement_go_straight_through() -> None:
    bench = Bench(rules(limit(latch_alert=False), alert_needs_ack=False))
    assert changes(bench.measure(0.0, 5.0)) == [("RAISED", "NORM", "ACKED")]
    assert changes(bench.measure(5.0, 8.0)) == [("LEVEL_UP", "ACKED", "UNACK")]
    bench.command(Acknowledge(key(), bench.record().occurrence), 6.0, OPERATOR)
    assert changes(bench.measure(7.0, 5.0)) == [("LEVEL_DOWN", "ACKED", "ACKED")]
    assert changes(bench.measure(8.0, 3.0)) == [("CLEARED", "ACKED", "NORM")]
