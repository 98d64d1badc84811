"""Several gateways as one plant: whichever way a plant is split, and in whatever order it is heard, it is the same plant."""

from dataclasses import replace
from functools import cache
from random import Random

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from edgemon.board.merging import Merging
from edgemon.board.picture import unknown
from edgemon.board.port import Lost
from edgemon.board.view.site import Part, SiteView, names
from edgemon.model.command import Person, Role
from edgemon.model.retention import KeepView
from edgemon.model.snapshot import AlarmView, Change, MachineView, Snapshot
from tests.support import sites

COUNT = 12
PLACES = st.tuples(*[st.integers(0, 3)] * COUNT)
CALM = settings(suppress_health_check=[HealthCheck.too_slow], deadline=None)
"""A machine under load draws slowly; that says nothing of the board."""


@cache
def machines() -> tuple[MachineView, ...]:
    return sites.many(COUNT)


def said(name: str, *shown: MachineView, **more: object) -> Snapshot:
    whole = sites.snapshot(shown)
    return replace(whole, gateway=replace(whole.gateway, gateway=name, **more))  # type: ignore[arg-type]


def merged(*each: tuple[str, tuple[MachineView, ...]]) -> tuple[Merging, Snapshot]:
    merging = Merging([f"unix:/run/{name}" for name, _ in each])
    found = [merging.take(place, said(name, *shown), 0.0) for place, (name, shown) in enumerate(each)]
    assert isinstance(found[-1], Snapshot)
    return merging, found[-1]


@CALM
@given(PLACES, st.integers(0, 1_000_000))
def test_any_split_of_a_plant_shows_the_machines_of_the_whole_in_whatever_order_it_is_heard(
    places: tuple[int, ...], seed: int
) -> None:
    """The whole is what one gateway with all the machines says; no sensor of these is at two of them."""
    parts = [tuple(one for one, at in zip(machines(), places, strict=True) if at == place) for place in range(4)]
    order = [0, 1, 2, 3]
    pictures = []
    for _ in range(2):
        merging = Merging(["a", "b", "c", "d"])
        found = [merging.take(place, said(f"gw-{place}", *parts[place]), 0.0) for place in order]
        pictures.append(found[-1])
        Random(seed).shuffle(order)
    first, second = pictures
    assert first == second
    assert isinstance(first, Snapshot)
    whole = said("one", *machines())
    assert {one.id: one for one in first.machines} == {one.id: one for one in whole.machines}
    assert {one.id: one for one in first.sensors} == {one.id: one for one in whole.sensors}
    assert first.areas == whole.areas


@CALM
@given(PLACES, st.lists(st.tuples(st.integers(0, COUNT - 1), st.sampled_from(["normal", "alert", "alarm"])), max_size=20))
def test_changes_one_by_one_come_to_what_a_snapshot_says(places: tuple[int, ...], moves: list[tuple[int, str]]) -> None:
    parts = [[one for one, at in zip(machines(), places, strict=True) if at == place] for place in range(4)]
    merging, begun = merged(*((f"gw-{place}", tuple(parts[place])) for place in range(4)))
    seen = {one.id: one for one in begun.machines}
    now = {one.id: one for one in machines()}
    for number, state in moves:
        one = replace(now[machines()[number].id], state=state)
        now[one.id] = one
        change = merging.take(places[number], Change(sites.gateway(gateway=f"gw-{places[number]}"), (one,)), 1.0)
        assert isinstance(change, Change)
        assert change.machines == (one,)
        assert change.machines[0] is one
        seen |= {one.id: one for one in change.machines}
    assert seen == now


def own_alarm() -> AlarmView:
    point = sites.machine(6).points[0]
    bare = sites.alarm(sites.machine(6), point, point.levels[0])
    return replace(
        bare, id="gateway/gateway/monitoring", machine="gateway", machine_name="Gateway", point="gateway", level="monitoring"
    )


def test_a_lost_gateway_keeps_its_machines_as_unknown_and_is_named_until_it_is_back() -> None:
    one, other = machines()[6], machines()[7]
    merging, _ = merged(("gw-1", (one,)), ("gw-2", (other,)))
    lost = merging.take(1, Lost("no daemon answers"), 1.0)
    again = merging.take(1, Lost("no daemon answers"), 2.0)
    missed = merging.take(1, Change(sites.gateway(), (other,)), 2.5)
    back = merging.take(1, said("gw-2", other), 3.0)
    assert isinstance(lost, Change)
    assert lost.machines == (unknown(other),)
    assert isinstance(lost.gateway, SiteView)
    assert lost.gateway.troubles == ("NO CONNECTION to gw-2: no daemon answers",)
    assert isinstance(again, Change)
    assert again.machines == ()
    assert missed is None
    assert isinstance(back, Snapshot)
    assert back.machines == (one, other)
    assert isinstance(back.gateway, SiteView)
    assert back.gateway.troubles == ()


def test_only_when_all_are_lost_the_plant_is_lost() -> None:
    merging, _ = merged(("gw-1", machines()[:1]), ("gw-2", machines()[1:2]))
    assert isinstance(merging.take(0, Lost("gone"), 1.0), Change)
    all_lost = merging.take(1, Lost("gone too"), 1.0)
    back = merging.take(1, said("gw-2", machines()[1]), 2.0)
    assert all_lost == Lost("gw-1: gone; gw-2: gone too")
    assert isinstance(back, Snapshot)
    assert [one.quality for one in back.machines] == ["stale", machines()[1].quality]


def test_a_gateway_that_falls_silent_is_lost_and_known_again_with_its_next_word() -> None:
    merging, _ = merged(("gw-1", machines()[:1]), ("gw-2", machines()[1:2]))
    merging.take(0, Change(sites.gateway(gateway="gw-1")), 4.0)
    assert merging.silent(4.0) == []
    (lost,) = merging.silent(4.5)
    assert isinstance(lost, Change)
    assert [(one.id, one.quality) for one in lost.machines] == [(machines()[1].id, "stale")]
    assert merging.silent(4.6) == []
    back = merging.take(1, Change(sites.gateway(gateway="gw-2")), 5.0)
    assert isinstance(back, Snapshot)
    assert back.machines == machines()[:2]


def test_one_machine_id_at_two_gateways_is_shown_twice_and_the_plain_id_means_neither() -> None:
    pump = sites.machine(12)
    merging, found = merged(("gw-1", (pump,)), ("gw-2", (replace(pump, state="normal"), sites.machine(0))))
    assert [(one.id, one.name) for one in found.machines] == [
        ("booster-3@gw-1", "Booster pump 3 @gw-1"),
        ("booster-3@gw-2", "Booster pump 3 @gw-2"),
        ("intake-pump-1", "Intake pump 1"),
    ]
    (alarm,) = (one for point in found.machines[0].points for one in point.alarms)
    assert (alarm.id, alarm.machine) == ("booster-3@gw-1/pump-de-h/velocity_rms", "booster-3@gw-1")
    assert merging.known.own(alarm.id) == (0, "booster-3/pump-de-h/velocity_rms")
    assert merging.known.own("booster-3@gw-2") == (1, "booster-3")
    assert merging.known.own("booster-3/pump-de-h/velocity_rms") is None
    sensors = {one.id: one.machine for one in found.sensors}
    assert {point.sensor: one.id for one in found.machines for point in one.points} == sensors
    assert isinstance(found.gateway, SiteView)
    assert found.gateway.troubles == ("SAME ID AT TWO GATEWAYS: booster-3",)


def test_the_gateways_own_alarms_are_told_apart() -> None:
    merging = Merging(["a", "b"])
    merging.take(0, said("gw-1", *machines()[:1], alarms=(own_alarm(),)), 0.0)
    found = merging.take(1, said("gw-2", *machines()[1:2], alarms=(own_alarm(),)), 0.0)
    assert isinstance(found, Snapshot)
    assert [(one.id, one.machine_name) for one in found.gateway.alarms] == [
        ("gateway@gw-1/gateway/monitoring", "Gateway gw-1"),
        ("gateway@gw-2/gateway/monitoring", "Gateway gw-2"),
    ]
    assert [merging.known.own(one.id) for one in found.gateway.alarms] == [
        (0, "gateway/gateway/monitoring"),
        (1, "gateway/gateway/monitoring"),
    ]


@given(st.lists(st.sampled_from(["", "gw", "gw-1", "gw-2", "gateway", None]), min_size=1, max_size=5))
def test_no_two_gateways_have_one_name(own: list[str | None]) -> None:
    parts = [Part(f"unix:/{at}", None if name is None else sites.gateway(gateway=name)) for at, name in enumerate(own)]
    found = names(parts)
    assert len(set(found)) == len(own)
    said = [None if mine is None else mine or "gateway" for mine in own]
    assert all(name == mine for name, mine in zip(found, said, strict=True) if mine and said.count(mine) == 1)


def test_who_may_what_is_each_gateways_own_say() -> None:
    merging = Merging(["a", "b"])
    merging.take(0, said("gw-1", sites.machine(0)), 0.0, Person("kim", Role.OPERATOR, "room"))
    found = merging.take(1, said("gw-2", sites.machine(1)), 0.0, Person("kim", Role.VIEWER, "room"))
    assert isinstance(found, Snapshot)
    assert isinstance(found.gateway, SiteView)
    assert found.gateway.person_at("intake-pump-1") == Person("kim", Role.OPERATOR, "room, gw-1")
    assert found.gateway.person_at("intake-pump-2") == Person("kim", Role.VIEWER, "room, gw-2")
    assert found.gateway.person_at("") == Person("kim", Role.OPERATOR, "room, gw-1")


def test_figures_of_the_gateways_add_up_and_a_store_that_fails_is_named() -> None:
    merging = Merging(["a", "b"])
    merging.take(0, said("gw-1", sites.machine(0), messages=3, sounding=False), 0.0)
    ill = {"store_ok": False, "store_detail": "disk full", "store_keeps": "nothing", "store_since": sites.NOW}
    found = merging.take(1, said("gw-2", sites.machine(1), messages=4, sounding=True, beacon="alert", **ill), 0.0)
    assert isinstance(found, Snapshot)
    gateway = found.gateway
    assert (gateway.messages, gateway.sounding, gateway.beacon) == (7, True, "alert")
    assert (gateway.store_ok, gateway.store_keeps, gateway.store_detail) == (False, "nothing", "gw-2: disk full")
    assert [one.name for one in gateway.links] == ["gw-1 broker", "gw-2 broker"]


def test_which_gateway_hears_no_sensor_is_said() -> None:
    merging = Merging(["a", "b"])
    merging.take(0, said("gw-1", sites.machine(0)), 0.0)
    found = merging.take(1, said("gw-2", sites.machine(1), deaf_since=sites.NOW), 0.0)
    assert isinstance(found, Snapshot)
    assert isinstance(found.gateway, SiteView)
    assert found.gateway.troubles == ("NO SENSOR HEARD at gw-2 since 06:30:00",)
    lost = merging.take(1, Lost("no daemon answers"), 1.0)
    assert isinstance(lost, Change)
    assert isinstance(lost.gateway, SiteView)
    assert lost.gateway.troubles == ("NO CONNECTION to gw-2: no daemon answers",), "of a lost one nobody knows"


def test_whose_store_is_over_its_budget_is_said() -> None:
    merging = Merging(["a", "b"])
    merging.take(0, said("gw-1", sites.machine(0), store_bytes=50_000_000, keep=KeepView(64_000_000)), 0.0)
    found = merging.take(1, said("gw-2", sites.machine(1), store_bytes=80_000_000, keep=KeepView(64_000_000)), 0.0)
    assert isinstance(found, Snapshot)
    assert isinstance(found.gateway, SiteView)
    assert found.gateway.troubles == ("store at 125 % of its budget at gw-2",)
    assert found.gateway.keep.percent(found.gateway.store_bytes) is None


def test_where_more_than_one_thing_is_wrong_the_words_leave_room_for_an_alarm() -> None:
    merging, _ = merged(("gw-1", (sites.machine(0),)), ("gw-2", (sites.machine(0),)), ("gw-2", (sites.machine(1),)))
    merging.take(0, Lost("no daemon answers"), 1.0)
    found = merging.take(1, Lost("no daemon answers"), 1.0)
    assert isinstance(found, Change)
    assert isinstance(found.gateway, SiteView)
    assert found.gateway.troubles == (
        "NO CONNECTION to gw-1, gw-2-2",
        "SAME ID AT TWO GATEWAYS: intake-pump-1",
        "SEVERAL GATEWAYS NAMED gw-2",
    )
    assert found.gateway.lost_at("intake-pump-1@gw-1") == "NO CONNECTION to gw-1: no daemon answers"
    assert found.gateway.lost_at("intake-pump-2") == ""


def test_clocks_that_are_apart_are_said_and_the_latest_counts() -> None:
    """Two gateways heard 2 s apart whose clocks say 62 s apart are 60 s apart."""
    merging = Merging(["a", "b"])
    merging.take(0, said("gw-1", sites.machine(0), now=100.0), 5.0)
    found = merging.take(1, said("gw-2", sites.machine(1), now=162.0), 7.0)
    well = merging.take(1, Change(sites.gateway(now=103.0, gateway="gw-2")), 8.0)
    assert isinstance(found, Snapshot)
    assert isinstance(well, Change)
    assert isinstance(found.gateway, SiteView)
    assert isinstance(well.gateway, SiteView)
    assert (found.gateway.now, found.gateway.troubles) == (162.0, ("CLOCKS OF GATEWAYS 60 s APART",))
    assert (well.gateway.now, well.gateway.troubles) == (103.0, ())
