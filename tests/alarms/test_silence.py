"""Silence never reads as normal: IMO MSC/Circ.982 5.4.1.4 and 5.4.1.7; OPC 10000-9 for waiting for the first data."""

from edgemon.alarms.judge import next_due, point_word
from edgemon.model.command import Shelve
from edgemon.model.event import QualityChanged
from edgemon.model.machine import Criticality
from edgemon.model.quality import Quality
from tests.alarms.making import Bench, changes, key, limit, rules


def word(bench: Bench, now: float) -> str:
    return point_word(bench.rules, bench.state, now)


def test_never_heard_is_unknown_and_lost_after_its_patience() -> None:
    bench = Bench(rules())
    assert word(bench, 100.0) == "unknown"
    bench.tick(100.0)
    assert bench.state.reasons == ("waiting-for-first-data",)
    assert bench.loss == "NORM"
    assert next_due(bench.rules, bench.state) == 130.0
    bench.tick(129.9)
    assert bench.loss == "NORM"
    bench.tick(130.0)
    assert bench.loss == "UNACK"
    assert bench.state.reasons == ("waiting-for-first-data",)
    assert bench.record("monitoring").annunciates
    assert next_due(bench.rules, bench.state) is None


def test_normal_goes_unknown_and_alert_stays() -> None:
    calm, bad = Bench(rules()), Bench(rules())
    calm.measure(0.0, 3.0)
    bad.measure(0.0, 5.0)
    assert (word(calm, 29.0), word(bad, 29.0)) == ("normal", "alert")
    for bench in (calm, bad):
        bench.tick(30.0)
        assert (bench.quality(), bench.state.reasons, bench.loss) == (Quality.STALE, ("no-data",), "UNACK")
    assert (word(calm, 30.0), word(bad, 30.0)) == ("unknown", "alert")
    assert bad.alarm == "UNACK"


def test_a_word_never_waits_for_the_tick() -> None:
    bench = Bench(rules())
    bench.measure(0.0, 3.0)
    assert word(bench, 30.0) == "unknown"


def test_loss_on_a_machine_that_is_not_critical_calls_nobody() -> None:
    bench = Bench(rules(criticality=Criticality.ESSENTIAL))
    bench.measure(0.0, 3.0)
    bench.tick(31.0)
    record = bench.record("monitoring")
    assert (record.state, record.severity.word, record.annunciates) == ("UNACK", "alert", False)


def test_backlog_moves_the_alarm_but_does_not_make_fresh() -> None:
    bench = Bench(rules())
    bench.measure(0.0, 3.0)
    bench.tick(30.0)
    bench.measure(10.0, 8.0, now=100.0)
    assert bench.alarm == "UNACK"
    assert bench.record().raised_at == 10.0
    assert (bench.quality(), bench.loss) == (Quality.STALE, "UNACK")
    bench.measure(95.0, 8.0, now=101.0)
    assert bench.quality() is Quality.GOOD
    assert bench.loss == "RTNUN"


def test_first_data_that_is_old_makes_nothing_fresh() -> None:
    bench = Bench(rules())
    bench.tick(1000.0)
    bench.measure(10.0, 3.0, now=1001.0)
    assert bench.quality() is Quality.STALE
    assert word(bench, 1001.0) == "unknown"
    bench.tick(1030.0)
    assert bench.loss == "UNACK"


def test_a_clock_that_runs_ahead_keeps_nothing_fresh() -> None:
    bench = Bench(rules())
    bench.measure(10_000.0, 3.0, now=0.0)
    assert bench.quality() is Quality.GOOD
    bench.tick(30.0)
    assert bench.quality() is Quality.STALE


def test_temperature_does_not_speak_for_vibration() -> None:
    bench = Bench(rules(limit(), limit("temperature", 80.0, 95.0)))
    bench.measure(0.0, 3.0, temperature=40.0)
    for t in (10.0, 20.0, 30.0):
        bench.measure(t, temperature=40.0)
    bench.tick(30.0)
    assert (bench.quality(), bench.loss) == (Quality.STALE, "UNACK")
    bench.measure(31.0, 3.0)
    assert bench.quality() is Quality.GOOD


def test_a_point_with_temperature_limits_only_rests_on_temperature() -> None:
    bench = Bench(rules(limit("temperature", 80.0, 95.0)))
    bench.measure(0.0, temperature=40.0)
    assert bench.quality() is Quality.GOOD
    bench.tick(30.0)
    assert bench.loss == "UNACK"


def test_vibration_that_has_a_limit_and_was_never_heard_is_missed() -> None:
    bench = Bench(rules(limit(), limit("temperature", 80.0, 95.0)))
    for t in (0.0, 10.0, 20.0, 30.0):
        bench.measure(t, temperature=40.0)
        bench.tick(t)
    assert (word(bench, 30.0), bench.loss) == ("unknown", "UNACK")


def test_temperature_that_falls_silent_does_not_call_vibration_lost() -> None:
    bench = Bench(rules(limit(), limit("temperature", 80.0, 95.0)))
    bench.measure(0.0, 3.0, temperature=40.0)
    for t in (10.0, 20.0, 30.0, 40.0):
        bench.measure(t, 3.0)
        bench.tick(t)
    assert bench.quality() is Quality.GOOD


def test_unfit_is_bad_at_once_and_moves_nothing_else() -> None:
    bench = Bench(rules())
    bench.measure(0.0, 5.0)
    before = bench.record()
    events = bench.measure(5.0, 0.0, fit=False, rpm=0.0)
    assert bench.record() == before
    assert (bench.quality(), bench.state.reasons, bench.loss) == (Quality.BAD, ("clipped",), "UNACK")
    assert isinstance(events[0], QualityChanged)
    assert bench.state.running is None
    assert bench.state.fit_at == 0.0
    assert bench.state.levels[0].value == 5.0
    assert bench.measure(6.0, 9.0, fit=False) == ()
    bench.measure(7.0, 5.0)
    assert (bench.quality(), bench.state.reasons, bench.loss) == (Quality.GOOD, (), "RTNUN")


def test_a_number_that_is_none_is_not_fit() -> None:
    for value in (float("nan"), float("inf")):
        bench = Bench(rules())
        bench.measure(0.0, 3.0)
        bench.measure(5.0, value)
        assert (bench.quality(), bench.state.reasons) == (Quality.BAD, ("implausible",))
        assert bench.state.levels[0].value == 3.0


def test_a_number_that_is_none_without_a_limit_is_passed_over() -> None:
    bench = Bench(rules())
    bench.measure(0.0, 3.0, kurtosis=float("nan"))
    assert bench.quality() is Quality.GOOD
    assert [level.name for level in bench.state.levels] == ["velocity_rms"]


def test_a_good_temperature_does_not_heal_a_flawed_waveform() -> None:
    bench = Bench(rules(limit(), limit("temperature", 80.0, 95.0)))
    bench.measure(0.0, 3.0, temperature=40.0)
    bench.measure(5.0, 0.0, fit=False)
    for t in (6.0, 7.0):
        assert bench.measure(t, temperature=40.0) == ()
        assert bench.quality() is Quality.BAD
    bench.measure(8.0, 3.0)
    assert bench.quality() is Quality.GOOD
    assert changes(tuple(bench.events), "monitoring") == [("RAISED", "NORM", "UNACK"), ("CLEARED", "UNACK", "RTNUN")]


def test_a_flaw_outlives_the_silence_after_it() -> None:
    bench = Bench(rules(limit(), limit("acceleration_rms", 20.0, 40.0)))
    bench.measure(0.0, 3.0, acceleration_rms=5.0)
    bench.measure(5.0, 3.0, acceleration_rms=5.0, fit=False)
    bench.tick(35.0)
    assert bench.quality() is Quality.STALE
    bench.measure(40.0, 3.0)
    assert bench.quality() is Quality.STALE, "acceleration has not been fit since"
    bench.measure(41.0, acceleration_rms=5.0)
    assert bench.quality() is Quality.GOOD


def test_a_temperature_that_came_with_a_flawed_capture_need_not_come_again() -> None:
    bench = Bench(rules(limit(), limit("temperature", 80.0, 95.0)))
    bench.measure(0.0, 3.0, temperature=40.0)
    bench.measure(5.0, 3.0, fit=False, temperature=40.0)
    bench.measure(10.0, 3.0)
    assert bench.quality() is Quality.GOOD


def test_an_older_measurement_does_not_heal() -> None:
    bench = Bench(rules(limit(), limit("acceleration_rms", 20.0, 40.0)))
    bench.measure(0.0, 3.0)
    bench.measure(10.0, fit=False)
    bench.measure(8.0, 3.0, now=11.0, acceleration_rms=5.0)
    assert bench.quality() is Quality.BAD
    bench.measure(12.0, 3.0, acceleration_rms=5.0)
    assert bench.quality() is Quality.GOOD


def test_only_unfit_data_for_long_is_unknown_then_silence_is_stale() -> None:
    bench = Bench(rules())
    bench.measure(0.0, 3.0)
    for t in (10.0, 20.0, 30.0, 40.0):
        bench.measure(t, 3.0, fit=False)
        bench.tick(t)
    assert bench.quality() is Quality.BAD
    assert word(bench, 20.0) == "normal"
    assert word(bench, 40.0) == "unknown"
    bench.tick(70.0)
    assert (bench.quality(), bench.state.reasons) == (Quality.STALE, ("no-data",))
    assert changes(tuple(bench.events), "monitoring") == [("RAISED", "NORM", "UNACK")]


def test_unfit_without_any_levels_heals_by_the_next_fit_capture() -> None:
    bench = Bench(rules())
    bench.measure(0.0, 3.0)
    bench.measure(5.0, fit=False)
    assert bench.quality() is Quality.BAD
    bench.measure(10.0, 3.0)
    assert bench.quality() is Quality.GOOD


def test_loss_can_be_shelved_and_comes_back() -> None:
    bench = Bench(rules())
    bench.measure(0.0, 3.0)
    bench.tick(30.0)
    bench.command(Shelve(key("monitoring"), 60.0, "battery change"), 31.0)
    assert bench.loss == "SHLVD"
    bench.tick(91.0)
    assert bench.loss == "UNACK"
    assert bench.record("monitoring").occurrence == 2
