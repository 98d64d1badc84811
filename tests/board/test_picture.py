from dataclasses import replace

from edgemon.board.picture import Picture
from edgemon.board.port import Lost
from edgemon.model.snapshot import Change
from tests.support import sites


def heard() -> Picture:
    picture = Picture()
    picture.take(sites.snapshot(), 0.0)
    picture.drain(0.0)
    return picture


def shown_ratio(picture: Picture) -> float:
    machine = picture.machine("hp-pump-1")
    assert machine is not None
    assert machine.worst is not None
    return machine.worst.ratio


def ratio(to: float) -> Change:
    machine = sites.machine(6)
    assert machine.worst is not None
    return Change(
        sites.gateway(),
        (replace(machine, sim=True, points=sites.machine(6, True).points, worst=replace(machine.worst, ratio=to)),),
    )


def test_numbers_wait_for_their_two_seconds() -> None:
    picture = heard()
    before = shown_ratio(picture)
    picture.take(ratio(0.9), 0.5)
    assert not picture.drain(0.5)
    assert not picture.drain(1.5)
    assert shown_ratio(picture) == before
    assert picture.drain(2.0)
    assert shown_ratio(picture) == 0.9


def test_a_change_of_state_is_adopted_at_once() -> None:
    picture = heard()
    picture.take(Change(sites.gateway(), (replace(sites.machine(6, True), state="alert"),)), 0.2)
    assert picture.drain(0.5)
    machine = picture.machine("hp-pump-1")
    assert machine is not None
    assert machine.state == "alert"


def test_of_many_changes_only_the_newest_is_shown() -> None:
    picture = heard()
    for number in range(100):
        picture.take(ratio(number / 100), 0.01 * number)
    picture.drain(2.5)
    assert shown_ratio(picture) == 0.99


def test_a_silent_daemon_leaves_nothing_that_reads_as_normal() -> None:
    picture = heard()
    picture.drain(4.0)
    in_time = picture.lost
    assert picture.drain(4.5)
    assert (in_time, picture.lost) == (None, "the daemon has been silent for more than 4 s")
    assert {machine.state for machine in picture.machines} == {"unknown", "alert", "alarm"}
    assert {machine.quality for machine in picture.machines} == {"stale"}
    assert not {"normal", "not-running"} & {point.state for machine in picture.machines for point in machine.points}


def test_an_alarm_stays_an_alarm_when_the_daemon_is_lost() -> None:
    picture = heard()
    picture.take(Lost("connection refused"), 1.0)
    machine = picture.machine("booster-3")
    assert machine is not None
    assert (machine.state, machine.quality, machine.unacknowledged) == ("alarm", "stale", True)


def test_only_a_snapshot_makes_a_lost_daemon_known_again() -> None:
    picture = heard()
    picture.take(Lost("gone"), 1.0)
    picture.take(Change(sites.gateway()), 1.5)
    still_lost = picture.lost
    picture.take(sites.snapshot(), 2.0)
    assert (still_lost, picture.lost) == ("gone", None)
    assert picture.machine("hp-pump-1") == sites.machine(6, True)


def test_every_word_from_the_daemon_puts_silence_off() -> None:
    picture = heard()
    for second in range(1, 20):
        picture.take(Change(sites.gateway()), float(second))
        picture.drain(float(second))
    assert picture.lost is None


def test_data_grows_older_while_the_daemon_is_silent() -> None:
    picture = heard()
    for second in range(1, 61):
        picture.drain(float(second))
    assert picture.now - sites.NOW == 60.0


def test_a_state_that_came_and_went_between_two_beats_is_no_reason_to_hurry() -> None:
    picture = Picture()
    well = sites.machine(0)
    picture.take(sites.snapshot([well]), 0.0)
    picture.drain(0.5)
    picture.take(Change(sites.gateway(), (replace(well, state="alert"),)), 0.6)
    picture.take(Change(sites.gateway(), (replace(well, trend=(0.1,)),)), 0.7)
    picture.drain(1.0)
    assert picture.machine(well.id) is well
    picture.drain(2.5)
    shown = picture.machine(well.id)
    assert shown is not None
    assert shown.trend == (0.1,)
