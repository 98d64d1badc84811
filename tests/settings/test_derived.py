"""Masks, derived levels, the time after a start and speed ranges of limits: what is read, and what is doubted."""

from pathlib import Path

import pytest

from edgemon.model.derived import Rule
from edgemon.model.machine import Startup, point_key
from edgemon.units import Quantity
from tests.settings.support import MACHINE, PLANT, POINT, SITE, found, line_of, loaded

BAND = "low_hz = 10\nhigh_hz = 1000\nline_hz = 2.5\n"
LEARNT = '[[machine.point.mask]]\nname = "v_mask"\nquantity = "velocity"\nunit = "mm/s"\nfloor = 0.1\n' + BAND
WRITTEN = LEARNT.replace("floor = 0.1", "lines = [[10, 2.8], [1000, 0.7]]")
CHANGE = '[[machine.point.derived]]\nname = "v_change"\nof = "velocity_rms"\nrule = "change"\n'
RATE = '[[machine.point.derived]]\nname = "warming"\nof = "temperature"\nrule = "rate"\nover_s = 3600\n'
RISE = '[[machine.point.derived]]\nname = "hotter"\nof = "temperature"\nrule = "rise"\nabove = "motor-de-h"\n'


def test_masks_and_derived_levels_become_specs_in_si_with_limits(tmp_path: Path) -> None:
    limits = '[[machine.point.limit]]\nlevel = "v_mask"\nalert = 2\nalarm = 4\nlow_rpm = 2900\n'
    limits += '[[machine.point.limit]]\nlevel = "warming"\nunit = "K"\nalert = 5\n'
    plant, _ = loaded(tmp_path, PLANT + LEARNT + CHANGE + RATE + RISE + limits)
    (point,) = plant.points.values()
    (mask,) = point.masks
    assert (mask.low, mask.high, mask.width, mask.floor, mask.quantity) == (10.0, 1000.0, 2.5, 1e-4, Quantity.VELOCITY)
    change, rate, rise = point.derived
    assert (change.rule, rate.over_s, rise.reference) == (Rule.CHANGE, 3600.0, point_key("hp-pump-1", "motor-de-h"))
    by_mask, by_rate = point.limit_of("v_mask"), point.limit_of("warming")
    assert by_mask is not None
    assert (by_mask.alert, by_mask.alarm, by_mask.holds_at(1500.0), by_mask.holds_at(None)) == (2.0, 4.0, False, True)
    assert "judged from 2900 r/min" in by_mask.origin
    assert by_rate is not None
    assert (by_rate.alert, by_rate.unit) == (5.0, "Cel")  # a difference of 5 K is one of 5 degrees Celsius


def test_a_written_mask_and_the_time_after_a_start(tmp_path: Path) -> None:
    plant, _ = loaded(tmp_path, SITE + MACHINE + "startup = { factor = 2.0, seconds = 120 }\n" + POINT + WRITTEN)
    (point,) = plant.points.values()
    assert [at for at, _ in point.masks[0].given] == [10.0, 1000.0]
    assert [limit for _, limit in point.masks[0].given] == pytest.approx([2.8e-3, 0.7e-3])
    assert plant.machines[0].startup == Startup(2.0, 120.0)


@pytest.mark.parametrize(
    ("text", "place", "says"),
    [
        (WRITTEN.replace("[10, 2.8], [1000, 0.7]", "[1000, 0.7], [10, 2.8]"), "lines", "frequencies must rise"),
        (WRITTEN.replace("[1000, 0.7]", "[2000, 0.7]"), "lines", "outside the band"),
        (WRITTEN.replace("0.7", "0"), "lines", "must be above zero"),
        (WRITTEN.replace("[1000, 0.7]", "[1000]"), "lines", "[frequency, limit]"),
        (LEARNT.replace("floor = 0.1\n", ""), "[[machine.point.mask]]", "is missing"),
        (LEARNT.replace("mm/s", "g"), "unit", "no unit of velocity"),
        (LEARNT.replace("line_hz = 2.5", "line_hz = 0.01"), "line_hz", "too many"),
        (LEARNT.replace("low_hz = 10", "low_hz = 1"), "low_hz", "at least one line"),
        (LEARNT.replace("high_hz = 1000", "high_order = 8"), "high_order", "in Hz and in orders"),
        (LEARNT + CHANGE.replace("v_change", "v_mask"), 'name = "v_mask"\nof', "is there twice"),
        (CHANGE.replace("velocity_rms", "temperature"), "of = ", "zero is a convention"),
        (CHANGE.replace("velocity_rms", "loudness"), "of = ", "is not a level"),
        (CHANGE + "over_s = 3\n", "over_s", 'for rule = "rate"'),
        (
            RATE + '[[machine.point.limit]]\nlevel = "warming"\nunit = "degF"\nalert = 9\n',
            'unit = "degF"',
            "a difference of temperatures is limited in Cel or K",
        ),
        (RATE.replace("over_s = 3600\n", ""), "[[machine.point.derived]]", "is missing"),
        (RISE.replace("motor-de-h", "nowhere"), "above", "no point is called"),
        (RISE.replace('"temperature"', '"velocity_rms"'), "of = ", "one of temperature"),
    ],
)
def test_what_is_doubtful_is_said_with_its_line(tmp_path: Path, text: str, place: str, says: str) -> None:
    (problem,) = found(tmp_path, PLANT + text)
    assert says in problem.what
    assert problem.line == line_of(PLANT + text, place)


def test_a_start_and_a_speed_range_that_make_no_sense(tmp_path: Path) -> None:
    broken = SITE + MACHINE + "startup = { factor = 0.5, seconds = 120 }\n" + POINT
    broken += '[[machine.point.limit]]\nlevel = "velocity_rms"\nunit = "mm/s"\nlow_rpm = 3000\nhigh_rpm = 1000\n'
    factor, speeds = found(tmp_path, broken)
    assert "must be 1 to 10" in factor.what
    assert "no speed lies between" in speeds.what
