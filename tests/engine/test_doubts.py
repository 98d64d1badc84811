"""Baselines that should not be the measure, and names in what a report says of a diagnosis."""

from dataclasses import replace

import pytest

from edgemon.cli.evidence import renamed
from edgemon.engine.baseline_views import doubt_of
from edgemon.model.baseline import Baseline
from edgemon.model.limit import Limit, Side, Zones
from edgemon.model.machine import point_key
from edgemon.units import Quantity

# ISO 20816-3 group 2, rigid: 1.4, 2.8, 4.5 mm/s
ZONES = Zones(0.0028, 0.0045, "ISO 20816-3:2022 group 2, rigid", 0.0014)
LIMIT = Limit("velocity_rms", Quantity.VELOCITY, "mm/s", 0.0028, 0.0045, 0.0001, zones=ZONES)


def learnt(median: float) -> Baseline:
    point = point_key("booster-3", "motor-de-h")
    return Baseline(point, "velocity_rms", Quantity.VELOCITY, 20, 0.0, 60.0, median, median, median / 50.0, 2960.0, None, 61.0)


@pytest.mark.parametrize(("median", "zone"), [(0.0013, ""), (0.0028, ""), (0.0029, "C"), (0.0045, "C"), (0.0099, "D")])
def test_a_baseline_beyond_zone_b_is_doubted(median: float, zone: str) -> None:
    doubt = doubt_of(LIMIT, learnt(median))
    assert bool(doubt) is bool(zone)
    assert f"zone {zone}:" in doubt or not zone


def test_nothing_is_doubted_where_no_zones_tell() -> None:
    assert doubt_of(None, learnt(0.0099)) == ""
    assert doubt_of(replace(LIMIT, zones=None), learnt(0.0099)) == ""
    assert doubt_of(replace(LIMIT, side=Side.BELOW), learnt(0.0099)) == ""


def test_ids_become_names_where_they_stand_alone() -> None:
    names = {"motor-de-h": "Motor DE horizontal", "axis y": "axis y of sensor s-0020", "m": "Motor"}
    assert renamed("the same line at motor-de-h (driver drive end)", names) == (
        "the same line at Motor DE horizontal (driver drive end)"
    )
    assert renamed("compared with axis y, axis z", names) == "compared with axis y of sensor s-0020, axis z"
    assert renamed("motor-de-h2 and s-motor-de-h stay, as do 3 m/s2", names) == (
        "motor-de-h2 and s-motor-de-h stay, as do 3 m/s2"
    )
