"""Limits on both sides of one level through the path: two alarms with ids and lives of their own, one nearness."""

from pathlib import Path

import pytest

from edgemon.model.machine import Plant
from tests.settings.support import loaded
from tests.support.captures import capture
from tests.support.rig import START, Rig, running

PLANT = """
[site]
id = "saltmarsh"
[[machine]]
id = "hp-pump-1"
rpm = 3000
criticality = "critical"
[[machine.point]]
id = "pump-de-h"
sensor = "s-0001"
axis = "x"
stale_after_s = 600
  [[machine.point.limit]]
  level = "velocity_rms"
  unit = "mm/s"
  alert = 6
  alarm = 9
  on_delay = 1
  off_delay = 1
  [[machine.point.limit]]
  level = "velocity_rms"
  unit = "mm/s"
  side = "below"
  alert = 3
  alarm = 2
  on_delay = 1
  off_delay = 1
"""
ID = "hp-pump-1/pump-de-h/velocity_rms"


def plant(tmp_path: Path) -> Plant:
    return loaded(tmp_path, PLANT)[0]


async def test_each_side_has_an_alarm_of_its_own_and_the_nearer_one_is_the_machines(tmp_path: Path) -> None:
    rig = Rig(plant(tmp_path))
    async with running(rig):
        for k, (value, upper, low, level, ratio) in enumerate(
            [
                (3.2, "normal", "normal", "velocity_rms_below", (4.667 - 3.2) / 2.667),  # good end 2 + 1 / 0.375 = 4.667
                (5.5, "normal", "normal", "velocity_rms", 5.5 / 9.0),
                (9.5, "alarm", "normal", "velocity_rms", 9.5 / 9.0),
                (1.5, "normal", "alarm", "velocity_rms_below", (4.667 - 1.5) / 2.667),
            ]
        ):
            await rig.send(capture(START + 20.0 * k, value, rpm=3000.0))
            levels = rig.published()["levels"]
            assert (levels["velocity_rms"]["state"], levels["velocity_rms_below"]["state"]) == (upper, low), value
            worst = rig.published("machine/hp-pump-1")["worst"]
            assert worst["level"] == level, value
            assert worst["ratio"] == pytest.approx(ratio, abs=0.03)
        levels = rig.published()["levels"]
        assert "side" not in levels["velocity_rms"]
        assert (levels["velocity_rms"]["alert"], levels["velocity_rms"]["alarm"]) == (6.0, 9.0)
        below = levels["velocity_rms_below"]
        assert (below["side"], below["alert"], below["alarm"], below["unit"]) == ("below", 3.0, 2.0, "mm/s")
        alarms = {one["id"]: one["alarm_state"] for one in rig.published()["alarms"]}
        assert alarms == {ID: "RTNUN", f"{ID}_below": "UNACK"}
        assert rig.point().state == "alarm"
        titles = {level.name: level.title for level in rig.point().levels}
        assert titles["velocity_rms_below"] == "velocity r.m.s., low"
