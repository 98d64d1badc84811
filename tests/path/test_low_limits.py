"""Low limits through the path: raised, published, journalled, back; beside the upper limit of the same value."""

import json
from dataclasses import replace

import pytest

from edgemon.api.view import words
from edgemon.model.derived import DerivedSpec, Rule
from edgemon.model.event import AlarmChanged
from edgemon.model.level import LEVEL_KINDS
from edgemon.model.limit import Delay, Limit, Side
from edgemon.model.machine import Plant
from edgemon.units import Quantity
from tests.support.captures import capture
from tests.support.learning import class_plant
from tests.support.rig import READING, START, Rig, running

NOW = Delay(1)
HOT = Limit("temperature", Quantity.TEMPERATURE, "Cel", 80.0, 95.0, 2.0, NOW, NOW, NOW)
COLD = Limit("cold", Quantity.TEMPERATURE, "Cel", 15.0, 5.0, 2.0, NOW, NOW, NOW, side=Side.BELOW)
SAME = DerivedSpec("cold", Rule.SAME, LEVEL_KINDS["temperature"], title="temperature, cold side")
SHAKE = Limit("velocity_rms", Quantity.VELOCITY, "mm/s", 6e-3, 4e-3, 0.3e-3, NOW, NOW, NOW, side=Side.BELOW)


def plant_with(*limits: Limit, derived: tuple[DerivedSpec, ...] = ()) -> Plant:
    one = class_plant()
    (machine,) = one.machines
    first = replace(machine.points[0], limits=limits, derived=derived)
    return replace(one, machines=(replace(machine, points=(first, replace(machine.points[1], limits=()))),))


async def test_a_screen_that_shakes_too_little_alarms_and_is_published_as_such() -> None:
    rig = Rig(plant_with(SHAKE))
    async with running(rig):
        await rig.send(capture(START, 8.0, rpm=3000.0))
        assert rig.point().state == "normal"
        await rig.send(capture(START + 20, 3.0, rpm=3000.0))
        assert rig.machine().state == "alarm"
        level = rig.published()["levels"]["velocity_rms"]
        assert (level["state"], level["side"], level["alert"], level["alarm"]) == ("alarm", "below", 6.0, 4.0)
        # by hand: good end 4 + (6 - 4) / 0.375 = 9.33 mm/s; (9.33 - 3) / (9.33 - 4) = 1.1875
        assert rig.published("machine/hp-pump-1")["worst"]["ratio"] == pytest.approx(1.1875, abs=0.02)
        raised = [entry for entry in await rig.store.journal(50) if isinstance(entry.event, AlarmChanged)]
        assert "(low limit 4)" in words(raised[0].event)
        assert next(entry for entry in rig.journal() if entry["kind"] == "alarm-changed")["side"] == "below"
        await rig.send(capture(START + 40, 8.0, rpm=3000.0))
        assert rig.point().state == "normal"
        assert "side" not in rig.published("machine/hp-pump-1/pump-de-a")["levels"]["velocity_rms"]


async def test_a_temperature_has_limits_on_both_sides() -> None:
    rig = Rig(plant_with(HOT, COLD, derived=(SAME,)))
    async with running(rig):
        for k, (value, hot, cold) in enumerate(
            [(60.0, "normal", "normal"), (97.0, "alarm", "normal"), (10.0, "normal", "alert"), (17.0, "normal", "alert")]
        ):
            pack = [{"n": "temperature", "u": "Cel", "v": value, "t": START + 20.0 * k}]
            await rig.send(json.dumps(pack).encode(), READING)
            levels = {level.name: level for level in rig.point().levels}
            assert (levels["temperature"].state, levels["cold"].state) == (hot, cold), value  # 17 is the edge of the deadband
            assert levels["cold"].value == levels["temperature"].value
            await rig.clock.advance(20.0)
