"""The commissioning state through the path: each check opens and closes for what really happened, and for nothing simulated."""

from dataclasses import replace

import cbor2

from edgemon.daemon.commissioning import Commissioning
from edgemon.model.command import Acknowledge
from edgemon.model.commission import CommissionRow, Stand
from edgemon.model.ids import AlarmKey
from edgemon.model.limit import Severity
from edgemon.model.machine import Bearing, Machine, Plant
from edgemon.model.proof import LEAD_S
from edgemon.model.response import Response
from edgemon.model.upstream import UpstreamView
from edgemon.store.memory import MemoryStore
from tests.path.test_proofs import ENGINEER, SCOPE, SIMULATED, Bench, proving
from tests.support.captures import FS_HZ, SCALE, capture, tone_counts
from tests.support.plants import DRIVE_END, plant
from tests.support.rig import START

BEARING = Bearing(9, 7.94e-3, 39.04e-3, 0.0)


class Commissioned(Bench):
    """A rig that answers how far its points are."""

    upstreams: tuple[UpstreamView, ...] = ()

    def __init__(self, of_plant: Plant | None = None, store: MemoryStore | None = None, now: float = START) -> None:
        super().__init__(store, now, of_plant=of_plant)
        self.commissioning = Commissioning(
            self.store,
            self.clock,
            self.proving,
            lambda: self.path.setting,
            lambda: self.hub.memory,
            lambda: self.upstreams,
            self.path.command,
        )

    async def row(self) -> CommissionRow:
        view = await self.commissioning.view()
        return next(row for row in view.rows if row.point == DRIVE_END.point)

    async def check(self, name: str) -> tuple[Stand, str]:
        (found,) = (one for one in (await self.row()).checks if one.name == name)
        return found.stand, found.words


def written() -> Plant:
    """The plant with everything the plant file can say of its drive end."""
    whole = plant()
    (machine,) = whole.machines
    told = {("velocity_rms", one): Response(action="look at the coupling") for one in (Severity.ALERT, Severity.ALARM)}
    points = tuple(replace(point, bearing=BEARING, responses=told) for point in machine.points)
    machines: tuple[Machine, ...] = (replace(machine, points=points),)
    return Plant(whole.site, whole.name, whole.areas, machines, whole.sensors)


async def test_nothing_is_known_of_a_point_that_was_never_heard() -> None:
    async with proving(Commissioned()) as rig:
        assert isinstance(rig, Commissioned)
        row = await rig.row()
        assert {one.name for one in row.missing} == {
            *("sensor heard", "data quality", "levels sent", "signal", "battery", "response text", "bearing", "alarm proven")
        }
        assert await rig.check("sensor heard") == (Stand.OPEN, "s-0001: never")
        assert await rig.check("limits set") == (Stand.DONE, "velocity_rms from plant file")
        assert await rig.check("baseline") == (Stand.NOT_NEEDED, "no limit follows from one")
        assert await rig.check("speed") == (Stand.DONE, "2975 r/min, from the plant file")
        assert await rig.check("upstream") == (Stand.NOT_NEEDED, "none is set up")
        stands = [one.stand for one in row.checks]
        assert stands == sorted(stands, key=list(Stand).index), "what is missing comes first"


async def test_simulated_data_closes_nothing() -> None:
    async with proving(Commissioned()) as rig:
        assert isinstance(rig, Commissioned)
        before = await rig.row()
        await rig.send(capture(START, 1.0, sim=True, rssi=-60.0, battery=90.0, rpm=2970.0))
        after = await rig.row()
        assert {one.name for one in after.missing} == {one.name for one in before.missing}
        assert await rig.check("sensor heard") == (Stand.OPEN, "s-0001: simulated data only")


async def test_simulated_data_says_nothing_of_a_sensor_that_was_really_heard() -> None:
    async with proving(Commissioned()) as rig:
        assert isinstance(rig, Commissioned)
        await rig.send(capture(START, 1.0, sim=True, rssi=-60.0, battery=90.0))
        await rig.send(capture(START + 1.0, 1.0))
        for name in ("signal", "battery"):
            assert await rig.check(name) == (Stand.OPEN, "not told"), "of simulated data alone"
        await rig.send(capture(START + 2.0, 1.0, rssi=-100.0, battery=3.0))
        before = await rig.row()
        assert {"signal", "battery"} < {one.name for one in before.missing}
        await rig.send(capture(START + 3.0, 1.0, sim=True, rssi=-60.0, battery=90.0, rpm=2970.0))
        assert await rig.row() == before
        await rig.send(capture(START + 4.0, 1.0, rssi=-71.0, battery=97.0))
        await rig.send(capture(START + 5.0, 1.0, sim=True, rssi=-100.0, battery=3.0))
        assert await rig.check("signal") == (Stand.DONE, "-71 dBm, 19 dB above weak")
        assert await rig.check("battery") == (Stand.DONE, "97 %"), "nor is anything opened again by it"


async def test_every_check_closes_for_what_really_came() -> None:
    async with proving(Commissioned(written())) as rig:
        assert isinstance(rig, Commissioned)
        await rig.send(capture(START, 1.0, rssi=-71.0, battery=97.0, rpm=2968.0))
        # START is 2025-10-09T08:53:20Z by `date -u -d @1760000000`
        assert await rig.check("sensor heard") == (Stand.DONE, "s-0001 since 2025-10-09T08:53:20.000Z")
        assert await rig.check("data quality") == (Stand.DONE, "good")
        assert await rig.check("levels sent") == (Stand.DONE, "s-0001 axis x: all 1 levels with a limit")
        assert await rig.check("signal") == (Stand.DONE, "-71 dBm, 19 dB above weak")
        assert await rig.check("battery") == (Stand.DONE, "97 %")
        assert await rig.check("response text") == (Stand.DONE, "2 alarms")
        assert await rig.check("speed") == (Stand.DONE, "2968 r/min, measured")
        assert await rig.check("bearing") == (Stand.DONE, "9 rolling elements")
        assert [one.name for one in (await rig.row()).missing] == ["alarm proven"]
        await rig.opened(scope=SCOPE)
        at = START + LEAD_S + 1.0
        await rig.send(capture(at, 3.5, sim=True))
        await rig.send(capture(at + 1.0, 5.0, sim=True))
        await rig.horn_is_told()
        assert (await rig.command(Acknowledge(SIMULATED, 2))).done
        stand, words = await rig.check("alarm proven")
        assert stand is Stand.DONE
        assert words == f"2025-10-09T08:53:25.000Z by {ENGINEER.name}, acknowledged by operator on shift"
        assert (await rig.row()).missing == ()
        assert (await rig.commissioning.view()).summary == "1 of 2 points complete, 0 signed off"
        await rig.pass_time(70.0, every=10.0)
        assert await rig.check("data quality") == (Stand.OPEN, "stale: no-data"), "what was good is not so for ever"
        assert (await rig.command(Acknowledge(AlarmKey(*DRIVE_END, "monitoring"), 1))).done


async def test_what_is_weak_or_of_the_wrong_axis_stays_open_and_says_so() -> None:
    async with proving(Commissioned()) as rig:
        assert isinstance(rig, Commissioned)
        only_z = {"id": "c", "t": START, "fs": FS_HZ, "u": "m/s2", "scale": SCALE, "axes": {"z": tone_counts(1.0).tobytes()}}
        await rig.send(cbor2.dumps(only_z | {"rssi": -95.0, "battery": 12.0}))
        assert await rig.check("sensor heard") == (Stand.OPEN, "s-0001: never")
        await rig.send(capture(START + 1.0, 1.0, rssi=-95.0, battery=12.0))
        assert await rig.check("signal") == (Stand.OPEN, "-95 dBm, 5 dB below weak")
        assert await rig.check("battery") == (Stand.OPEN, "12 %")


async def test_an_upstream_that_waits_has_not_got_it() -> None:
    async with proving(Commissioned()) as rig:
        assert isinstance(rig, Commissioned)
        rig.upstreams = (UpstreamView("historian", "postgresql", True, "connected"),)
        assert await rig.check("upstream") == (Stand.OPEN, "nothing to send yet")
        await rig.send(capture(START, 1.0))
        assert await rig.check("upstream") == (Stand.DONE, "delivered to historian")
        rig.upstreams = (replace(rig.upstreams[0], waiting=3, oldest_unsent=START - 5.0, up=False),)
        assert await rig.check("upstream") == (Stand.OPEN, "historian is away")
        rig.upstreams = (replace(rig.upstreams[0], waiting=3, oldest_unsent=START + 5.0, up=True),)
        assert await rig.check("upstream") == (Stand.DONE, "delivered to historian"), "what waits came after it"
