"""Titles and units of levels: the plant file's own as it says, the usual ones as everywhere."""

from edgemon.model.level import Detector, LevelSpec
from edgemon.report.view.words import level_title, level_unit
from edgemon.units import Quantity


def test_a_level_of_ones_own_is_called_and_measured_as_the_plant_file_says() -> None:
    kind = LevelSpec("velocity_1x", Quantity.VELOCITY, Detector.RMS, 0.8, 1.2, True, "velocity at 1 x").kind
    assert (level_title("velocity_1x", kind), level_unit("velocity_1x", None, kind)) == ("velocity at 1 x", "mm/s")
    assert (level_title("velocity_rms"), level_unit("velocity_rms", None)) == ("velocity r.m.s.", "mm/s")
