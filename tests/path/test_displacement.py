"""A slow machine's displacement, judged by its severity class: 57 and 90 um r.m.s. are ISO 10816-3:2009 Table A.1, rigid."""

from pathlib import Path

import pytest

from edgemon.settings.load import load_all
from tests.settings.support import PLANT, write
from tests.support.captures import capture
from tests.support.rig import START, Rig, running

OWN = """[[machine.level]]
name = "displacement_rms"
quantity = "displacement"
low_hz = 2
high_hz = 1000
[[machine.limit]]
level = "displacement_rms"
unit = "um"
on_delay = 1
"""
SLOW = PLANT.replace("group2", "group1").replace("2975", "590").replace("[[machine.point]]", OWN + "[[machine.point]]")


# A sine of 50 Hz moves v / (2 pi 50) r.m.s.: 3.1831 um for each mm/s (closed form)
@pytest.mark.parametrize(("mm_s", "um", "state"), [(10.0, 31.83, "normal"), (20.0, 63.66, "alert"), (30.0, 95.49, "alarm")])
async def test_displacement_is_measured_and_judged_by_the_class(mm_s: float, um: float, state: str, tmp_path: Path) -> None:
    plant, _ = load_all(write(tmp_path, SLOW))
    async with running(Rig(plant)) as rig:
        await rig.send(capture(START, mm_s, rpm=590.0))
        level = rig.published(f"machine/{plant.machines[0].id}/{plant.machines[0].points[0].key.point}")["levels"][
            "displacement_rms"
        ]
    assert level["value"] == pytest.approx(um, rel=0.02)
    assert (level["unit"], level["state"], level["alert"], level["alarm"]) == ("um", state, 57.0, 90.0)
