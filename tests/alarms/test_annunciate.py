"""Horn, beacon and silence of the pure core.

The times are those of IMO resolution MSC.302(87), 7.3.3 to 7.3.8: sound until acknowledged, back 30 s after a silence, a new
alarm sounds at once, and silence leaves the alarm unacknowledged.
"""

from dataclasses import replace

from edgemon.alarms.annunciate import annunciation, silence
from edgemon.alarms.rules import Rules
from edgemon.model.alarm import AlarmState, PointState
from edgemon.model.annunciation import Annunciation
from edgemon.model.command import Acknowledge, Reset, Shelve
from edgemon.model.ids import MachineId
from edgemon.model.machine import Criticality
from edgemon.model.policy import AlarmPolicy
from edgemon.model.proof import Proof, ProofStarted
from tests.alarms.making import KEY, Bench, key, limit, rules

POLICY = AlarmPolicy()


class Plant(Bench):
    """A bench with two levels, its horn and its silence."""

    policy = POLICY

    def shown(self, now: float, simulated: bool = False, proof: Proof | None = None) -> Annunciation:
        return annunciation({KEY: self.rules}, (self.state,), self.policy, now, simulated, proof)

    def silence(self, now: float) -> int:
        self.state, quiet = silence(self.state, self.policy, now)
        return len(quiet)


def plant(**more: object) -> Plant:
    return Plant(rules(limit(), limit("acceleration_rms"), stale_after_s=1e6, **more))  # type: ignore[arg-type]


def test_the_timeline_of_two_alarms_and_two_silences() -> None:
    one = plant()
    one.measure(15.0, 8.0)
    assert one.shown(15.0).horn
    assert one.silence(16.0) == 1
    assert not one.shown(16.0).horn
    assert one.record().state is AlarmState.UNACK
    assert one.shown(16.0).beacon == "alarm"
    one.measure(20.0, acceleration_rms=8.0)
    assert one.shown(20.0).horn, "a new alarm sounds at once"
    assert one.silence(21.0) == 1
    assert not one.shown(45.9).horn
    assert one.shown(46.0).horn, "30 s after the silence of the first, which nobody acknowledged"
    one.command(Acknowledge(key(), 1), 47.0)
    assert not one.shown(47.0).horn
    assert one.shown(51.0).horn, "30 s after the silence of the second"
    one.command(Acknowledge(key("acceleration_rms"), 1), 52.0)
    assert one.shown(52.0) == Annunciation()


def test_nothing_sounds_where_all_is_well_and_a_silence_then_changes_nothing() -> None:
    one = plant()
    one.measure(0.0, 1.0)
    before = one.state
    assert one.shown(0.0) == Annunciation()
    assert one.silence(1.0) == 0
    assert one.state is before


def test_an_alert_is_silent_unless_the_site_promoted_it() -> None:
    for promoted in (False, True):
        one = Plant(rules(limit(promote_alert=promoted), stale_after_s=1e6))
        one.measure(0.0, 5.0)
        shown = one.shown(0.0)
        assert (shown.horn, shown.beacon) == ((True, "alert") if promoted else (False, "off"))


def test_the_horn_ends_with_the_condition_and_the_beacon_with_the_acknowledgement() -> None:
    one = plant()
    one.policy = AlarmPolicy(ringback_s=3.0)
    one.measure(0.0, 8.0)
    one.measure(1.0, 1.0)
    assert one.record().state is AlarmState.RTNUN
    shown = one.shown(2.0)
    assert (shown.horn, shown.beacon, shown.ringback) == (False, "alarm", True)
    assert not one.shown(4.0).ringback
    one.command(Acknowledge(key(), 1), 5.0)
    assert one.shown(5.0) == Annunciation()


def test_the_end_of_an_alarm_is_told_when_it_is_known_however_long_the_measurement_took_to_come() -> None:
    one = plant()
    one.policy = AlarmPolicy(ringback_s=3.0)
    one.measure(0.0, 8.0)
    one.measure(1.0, 1.0, now=40.0)
    assert one.shown(41.0).ringback
    assert not one.shown(43.0).ringback


def test_a_latched_alarm_sounds_on_although_its_condition_has_gone() -> None:
    one = Plant(rules(limit(latch_alarm=True), stale_after_s=1e6))
    one.measure(0.0, 8.0)
    one.silence(1.0)
    one.measure(2.0, 1.0)
    assert one.record().state is AlarmState.LATUN
    assert not one.shown(2.0).horn, "it was silenced"
    assert one.shown(31.0).horn
    one.command(Acknowledge(key(), 1), 32.0)
    assert one.shown(32.0) == Annunciation()
    one.command(Reset(key()), 33.0)
    assert one.record().silenced_at is None


def test_a_silence_is_over_with_its_occurrence() -> None:
    one = plant()
    one.measure(0.0, 8.0)
    one.silence(1.0)
    one.measure(2.0, 1.0)
    one.measure(3.0, 8.0)
    assert one.record().occurrence == 2
    assert one.shown(3.0).horn


def test_without_a_time_a_silence_holds_until_a_new_call() -> None:
    one = plant()
    one.policy = AlarmPolicy(silence_s=0.0)
    one.measure(0.0, 8.0)
    one.silence(1.0)
    assert not one.shown(1e5).horn
    assert one.shown(1e5).silenced_at == 1.0


def test_a_shelved_alarm_neither_sounds_nor_shines() -> None:
    one = plant()
    one.measure(0.0, 8.0)
    one.command(Shelve(key(), 60.0, "bracket is loose"), 1.0)
    assert one.shown(1.0) == Annunciation()


def test_lost_monitoring_of_a_critical_machine_shines_as_an_alarm() -> None:
    one = Plant(rules(limit(), stale_after_s=10.0, criticality=Criticality.CRITICAL))
    one.measure(0.0, 1.0)
    one.tick(10.0)
    assert (one.shown(10.0).horn, one.shown(10.0).beacon) == (True, "alarm")


def test_simulated_alarms_reach_the_horn_of_a_simulated_gateway_only() -> None:
    one = plant()
    one.state = PointState(KEY, sim=True)
    one.measure(0.0, 8.0)
    assert one.shown(0.0) == Annunciation()
    shown = one.shown(0.0, simulated=True)
    assert shown.horn
    assert shown.call is not None
    assert shown.call.sim
    assert shown.call.text.endswith("[simulated]")


def proof(until: float = 600.0, is_open: bool = True, machine: str = "") -> Proof:
    of = MachineId(machine or KEY.machine)
    return Proof(ProofStarted(0.0, until, "engineer", "control room", "first proof", machine=of), is_open)


def test_in_a_proof_simulated_alarms_call_as_a_test() -> None:
    one = plant()
    one.state = PointState(KEY, sim=True)
    one.measure(0.0, 8.0)
    shown = one.shown(1.0, proof=proof())
    assert (shown.horn, shown.beacon, shown.test) == (True, "alarm", True)
    assert shown.call is not None
    assert shown.call.text.startswith("PROOF, no real alarm: ")
    assert one.silence(2.0) == 1
    shown = one.shown(2.0, proof=proof())
    assert (shown.horn, shown.beacon, shown.test) == (False, "alarm", True)
    for quiet in (proof(is_open=False), proof(until=2.0), proof(machine="hp-pump-9")):
        shown = one.shown(40.0, proof=quiet)
        assert (shown.horn, shown.beacon, shown.test, shown.call) == (False, "off", False, None)
        assert shown.proof == str(quiet), "announced all the same"


def test_real_alarms_are_called_as_real_while_a_proof_is_on() -> None:
    one, tried = plant(), plant()
    tried.state = PointState(KEY, sim=True)
    one.measure(0.0, 8.0)
    tried.measure(5.0, 9.0)
    real = one.shown(6.0)

    def both() -> Annunciation:
        return annunciation({KEY: one.rules}, (one.state, tried.state), POLICY, 6.0, False, proof())

    assert replace(both(), proof="") == real, "the proof changes nothing of what a real alarm shows"
    assert one.silence(6.0) == 1
    shown = both()
    assert (shown.horn, shown.beacon, shown.test) == (True, "alarm", False), (
        "the beacon is a real alarm's: it must not be put out"
    )
    assert shown.call is not None
    assert shown.call.sim
    assert shown.call.text.startswith("PROOF, no real alarm: "), "what sounds now is the proof's"
    assert tried.silence(6.0) == 1
    shown = both()
    assert (shown.horn, shown.beacon, shown.test) == (False, "alarm", False), "the beacon is a real alarm's"


def test_a_simulated_alarm_lifts_no_real_beacon() -> None:
    one = plant()
    one.rules = rules(limit(promote_alert=True))
    tried = plant()
    tried.state = PointState(KEY, sim=True)
    one.measure(0.0, 5.0)
    real = one.shown(1.0)
    assert (real.horn, real.beacon) == (True, "alert")
    tried.measure(5.0, 9.0)
    assert tried.shown(6.0, proof=proof()).beacon == "alarm"
    for silenced in (False, True):
        if silenced:
            assert one.silence(6.0) == 1
        shown = annunciation({KEY: one.rules}, (one.state, tried.state), POLICY, 6.0, False, proof())
        assert (shown.horn, shown.beacon, shown.test) == (True, "alert", False)


def test_the_newest_alarm_is_told_in_words_that_are_safe() -> None:
    one = plant()
    evil = replace(one.rules.machine, name="Pump\x1b[2J\n1")
    one.rules = Rules(one.rules.point, evil)
    one.measure(0.0, 8.0)
    call = one.shown(0.0).call
    assert call is not None
    assert (call.id, call.occurrence, call.severity, call.priority) == ("hp-pump-1/pump-de-h/velocity_rms", 1, "alarm", "high")
    assert call.text.isprintable()


def test_the_longest_shelf_is_that_of_the_severity_and_a_limit_may_have_its_own() -> None:
    one = Plant(rules(limit(), limit("acceleration_rms", max_shelve_s=0.0), max_shelve_s=100.0, max_shelve_alarm_s=10.0))
    one.measure(0.0, 5.0, acceleration_rms=5.0)
    one.command(Shelve(key(), 100.0, "known"), 1.0)
    assert one.record().state is AlarmState.SHLVD
    one.measure(2.0, 8.0)
    one.command(Shelve(key(), 11.0, "known"), 3.0)
    assert one.record().state is AlarmState.UNACK, "an alarm may be shelved for 10 s only"
    one.command(Shelve(key(), 10.0, "known"), 4.0)
    assert one.record().state is AlarmState.SHLVD
    one.command(Shelve(key("acceleration_rms"), 1.0, "known"), 5.0)
    assert one.record("acceleration_rms").state is AlarmState.UNACK, "it may not be shelved"
