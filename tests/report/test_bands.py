"""Levels of a plant's own in a report: quantity, detector and band are named; masks that nobody approved say so."""

from dataclasses import replace

from edgemon.model.derived import MaskSpec
from edgemon.model.level import Detector, LevelSpec
from edgemon.model.limit import Limit
from edgemon.model.outlook import BaselineView
from edgemon.model.sends import Sends
from edgemon.report.port import LevelMaterial, Material, PointMaterial
from edgemon.units import Quantity
from tests.report import making
from tests.report.test_view import said

TWICE = LevelSpec("band_2x", Quantity.VELOCITY, Detector.RMS, 1.8, 2.2, in_orders=True, title="2x")
HIGH = LevelSpec("band_high", Quantity.ACCELERATION, Detector.PEAK, 1000.0, 2000.0, title="high band")
MASK = MaskSpec("mask_v", Quantity.VELOCITY, 10.0, 1000.0, 5.0, title="velocity mask")
LIMIT = Limit("band_2x", Quantity.VELOCITY, "in/s", 0.00127, 0.00254, 1e-4, origin="plant file")
RATIO = Limit("mask_v", Quantity.RATIO, "1", 2.0, 4.0, 0.1, origin="plant file")


def made(*levels: LevelMaterial, **point: object) -> Material:
    of = replace(making.point(), **point)  # type: ignore[arg-type]
    whole = making.material()
    return replace(whole, machine=making.machine(of), points=(PointMaterial(of, levels, None, None),))


def test_bands_in_orders_and_in_hz_are_named_with_quantity_and_detector() -> None:
    values = making.values(0.001)
    levels = (
        LevelMaterial("band_2x", LIMIT, values, kind=TWICE.kind),
        LevelMaterial("band_high", None, values, kind=HIGH.kind),
    )
    page = said(made(*levels, levels=(TWICE, HIGH))).replace("\N{NO-BREAK SPACE}", " ")
    assert "2x, velocity, 1.8-2.2 x speed | 0.039 in/s" in page
    assert "[2x over time] Detector r.m.s., velocity, 1.8-2.2 x speed, 100 values; limits: plant file." in page
    assert "high band, acceleration, 1000-2000 Hz |" in page


def test_a_mask_says_what_its_ratio_is_of_and_whether_it_is_in_force() -> None:
    level = LevelMaterial("mask_v", RATIO, (), kind=MASK.kind)
    page = said(made(level, masks=(MASK,))).replace("\N{NO-BREAK SPACE}", " ")
    assert (
        "velocity mask, worst ratio of a line to the mask, velocity, 10-1000 Hz | – | – | 2 | 4 | mask not approved |" in page
    )
    known = BaselineView("hp-pump-1", "pump-de-h", "mask_v", "velocity mask", "1", "approved", 20, 20, 1.0)
    assert "| 2 | 4 | no data |" in said(made(replace(level, baseline=known), masks=(MASK,)))
    assert "| 2 | 4 | no data |" in said(made(level, masks=(replace(MASK, given=((10.0, 1e-3), (1e3, 1e-4))),)))


def test_the_band_of_a_velocity_level_is_told_without_a_capture_too() -> None:
    level = LevelMaterial("velocity_rms", making.VELOCITY, making.values(0.001))
    page = said(made(level)).replace("\N{NO-BREAK SPACE}", " ")
    assert "Detector r.m.s., band 10-1000 Hz, 100 values" in page
    assert "velocity r.m.s., 10-1000 Hz |" in page
    own = said(made(level, sends=Sends.LEVELS)).replace("\N{NO-BREAK SPACE}", " ")
    assert "Detector r.m.s., band as the sensor has it, 100 values" in own
