"""Sign-offs through the path: given for what is there, kept over a restart, withdrawn where the plant file says otherwise."""

from collections.abc import Callable
from dataclasses import replace

import pytest

from edgemon.errors import StoreError, StoreFull
from edgemon.model.commission import SignView
from edgemon.model.ids import PointId, SensorId
from edgemon.model.level import Band
from edgemon.model.machine import Mounting, Plant, Point, Sensor
from edgemon.store.memory import MemoryStore
from tests.path.test_commissioning import Commissioned
from tests.path.test_proofs import ENGINEER, proving
from tests.support.captures import capture
from tests.support.plants import DRIVE_END, plant
from tests.support.rig import START

OPEN = ("response text", "bearing", "alarm proven")
SIGNED_FOR = (
    "sensor: s-0001",
    "range: 160 m/s2",
    "axis: x",
    "velocity band: 10-1000 Hz",
    "limit velocity_rms: alert 2.8 mm/s (on-delay 1 readings), alarm 4.5 mm/s (on-delay 1 readings), "
    "deadband 0.28 mm/s, off-delay 1 readings",
)


async def heard(rig: object) -> Commissioned:
    assert isinstance(rig, Commissioned)
    await rig.send(capture(START, 1.0, rssi=-71.0, battery=97.0, rpm=2968.0))
    return rig


async def sign(rig: Commissioned, remark: str = "tapped: the right sensor", seen: tuple[str, ...] = OPEN) -> str:
    outcome = await rig.commissioning.sign_off(DRIVE_END, remark, seen, ENGINEER)
    await rig.settle()
    return ("" if outcome.done else "not: ") + outcome.why


async def sign_of(rig: Commissioned) -> SignView | None:
    return (await rig.row()).sign


def told(rig: Commissioned, kind: str) -> list[dict[str, object]]:
    return [one for one in rig.journal() if one["kind"] == kind]


def changed(of: Callable[[Point], Point]) -> Plant:
    """The plant with another drive end; whatever sensor that has exists."""
    whole = plant()
    (machine,) = whole.machines
    points = tuple(of(point) if point.key == DRIVE_END else point for point in machine.points)
    sensors = {**whole.sensors, SensorId("s-0009"): Sensor(SensorId("s-0009"), range_si=160.0)}
    return Plant(whole.site, whole.name, whole.areas, (replace(machine, points=points),), sensors)


def mounted(mounting: Mounting) -> Plant:
    """The plant with the sensor of the drive end held so."""
    whole = plant()
    one = whole.sensors[whole.points[DRIVE_END].sensor]
    return Plant(
        whole.site, whole.name, whole.areas, whole.machines, {**whole.sensors, one.id: replace(one, mounting=mounting)}
    )


def without_it() -> Plant:
    whole = plant()
    (machine,) = whole.machines
    points = tuple(point for point in machine.points if point.key != DRIVE_END)
    return Plant(whole.site, whole.name, whole.areas, (replace(machine, points=points),), whole.sensors)


async def test_it_stands_with_name_time_remark_what_was_open_and_what_it_is_for() -> None:
    async with proving(Commissioned()) as bench:
        rig = await heard(bench)
        assert await sign(rig) == (
            f"hp-pump-1/pump-de-h: signed off by {ENGINEER.name}, left open: {', '.join(OPEN)}: tapped: the right sensor"
        )
        assert await sign_of(rig) == SignView(
            START, ENGINEER.name, ENGINEER.station, "tapped: the right sensor", OPEN, SIGNED_FOR
        )
        assert (await rig.commissioning.view()).signed == 1
        (entry,) = told(rig, "point-signed-off")
        assert (entry["machine"], entry["point"], entry["by"]) == (*DRIVE_END, ENGINEER.name)
        assert (
            await sign(rig)
            == f"not: it is signed off already, by {ENGINEER.name} at 2025-10-09T08:53:20.000Z (withdraw that first)"
        )


async def test_nothing_is_signed_that_nobody_heard_explained_or_saw() -> None:
    async with proving(Commissioned()) as rig:
        assert isinstance(rig, Commissioned)
        await rig.send(capture(START, 1.0, sim=True))
        assert "there is nothing to sign for" in await sign(rig)
        await heard(rig)
        assert await sign(rig, remark=" ") == (
            f"not: open at hp-pump-1/pump-de-h: {', '.join(OPEN)} (say in a remark why that may be)"
        )
        assert await sign(rig, seen=("bearing",)) == "not: open meanwhile: response text, alarm proven; look again"
        no_such = DRIVE_END._replace(point=PointId("nowhere"))
        assert "no such point" in (await rig.commissioning.sign_off(no_such, "x", (), ENGINEER)).why
        assert await sign_of(rig) is None
        assert not told(rig, "point-signed-off")


async def test_an_engineer_takes_it_back_with_a_reason_and_it_can_be_given_again() -> None:
    async with proving(Commissioned()) as bench:
        rig = await heard(bench)
        withdraw = rig.commissioning.withdraw
        assert "is not signed off" in (await withdraw(DRIVE_END, "wrong one", ENGINEER)).why
        await sign(rig)
        assert "say why" in (await withdraw(DRIVE_END, " ", ENGINEER)).why
        await rig.pass_time(60.0, every=10.0)
        outcome = await withdraw(DRIVE_END, "wrong one", ENGINEER)
        await rig.settle()
        assert outcome.done
        assert outcome.why.endswith(f"of {ENGINEER.name} at 2025-10-09T08:53:20.000Z withdrawn by {ENGINEER.name}: wrong one")
        taken = SignView(
            START, ENGINEER.name, withdrawn_at=START + 60.0, withdrawn_by=ENGINEER.name, withdrawn_because="wrong one"
        )
        assert await sign_of(rig) == taken
        assert (await rig.commissioning.view()).signed == 0
        await rig.send(capture(START + 60.0, 1.0, rssi=-71.0, battery=97.0, rpm=2968.0))
        assert not (await sign(rig)).startswith("not")
        assert (await rig.row()).is_signed


async def test_a_restart_keeps_it_where_nothing_it_was_given_for_changed() -> None:
    async with proving(Commissioned()) as bench:
        await sign(await heard(bench))
    other_name = changed(lambda point: replace(point, name="Drive end, as painted anew", stale_after_s=900.0))
    async with proving(Commissioned(other_name, MemoryStore(before=bench.store), START + 60.0)) as second:
        assert isinstance(second, Commissioned)
        assert (await second.row()).is_signed
        assert not told(second, "sign-off-withdrawn")


def another_alert(point: Point) -> Point:
    return replace(point, limits=tuple(replace(limit, alert=0.0031) for limit in point.limits))


WAS = SIGNED_FOR[4].partition(": ")[2]
ALERT = WAS.partition(", ")[0]
"""Of a limit only what is another is told: the whole of three would be cut off on the board."""
OTHERS = [
    (mounted(Mounting.MAGNET), "mounting magnet, signed for none"),
    (changed(lambda point: replace(point, sensor=SensorId("s-0009"))), "sensor s-0009, signed for s-0001"),
    (changed(lambda point: replace(point, axis="z")), "axis z, signed for x"),
    (changed(lambda point: replace(point, direction="vertical")), "direction vertical, signed for none"),
    (changed(lambda point: replace(point, band=Band(2.0, 1000.0))), "velocity band 2-1000 Hz, signed for 10-1000 Hz"),
    (changed(another_alert), f"limit velocity_rms {ALERT.replace('2.8', '3.1')}, signed for {ALERT}"),
    (changed(lambda point: replace(point, limits=())), f"limit velocity_rms none, signed for {WAS}"),
]


@pytest.mark.parametrize(("other", "why"), OTHERS, ids=["mounting", "sensor", "axis", "direction", "band", "limit", "no limit"])
async def test_what_the_plant_file_says_otherwise_later_takes_it_back_once_and_says_why(other: Plant, why: str) -> None:
    async with proving(Commissioned()) as bench:
        await sign(await heard(bench))
    expected = f"the plant file has changed: {why}"
    async with proving(Commissioned(other, MemoryStore(before=bench.store), START + 60.0)) as second:
        assert isinstance(second, Commissioned)
        sign_now = await sign_of(second)
        assert sign_now == SignView(START, ENGINEER.name, withdrawn_at=START + 60.0, withdrawn_because=expected)
        (entry,) = told(second, "sign-off-withdrawn")
        assert (entry["reason"], entry["by"], entry["signed_by"]) == (expected, "", ENGINEER.name)
        assert entry["signed_at"] == "2025-10-09T08:53:20.000Z"
    async with proving(Commissioned(plant(), MemoryStore(before=second.store), START + 120.0)) as third:
        assert isinstance(third, Commissioned)
        assert await sign_of(third) == sign_now, "what is as it was again must be signed again"
        assert not told(third, "sign-off-withdrawn")


async def test_a_point_that_is_gone_is_signed_for_no_more_when_it_comes_back() -> None:
    async with proving(Commissioned()) as bench:
        await sign(await heard(bench))
    async with proving(Commissioned(without_it(), MemoryStore(before=bench.store), START + 60.0)) as second:
        assert isinstance(second, Commissioned)
        (entry,) = told(second, "sign-off-withdrawn")
        assert entry["reason"] == "the plant file no longer has the point"
    async with proving(Commissioned(plant(), MemoryStore(before=second.store), START + 120.0)) as third:
        assert isinstance(third, Commissioned)
        assert not (await third.row()).is_signed


async def test_nothing_is_signed_while_the_store_fails() -> None:
    async with proving(Commissioned()) as bench:
        rig = await heard(bench)
        rig.store.failing = StoreFull("no space left")
        await rig.send(capture(START + 1.0, 1.0, rssi=-71.0, battery=97.0, rpm=2968.0))
        with pytest.raises(StoreError, match="while the store fails"):
            await sign(rig)
        rig.store.failing = None
        await rig.pass_time(2.0)
        assert await sign_of(rig) is None
