"""What the settings mean: units, classes, precedence, and what is filled in where the file is silent."""

import math
from pathlib import Path

import pytest

from edgemon.model.ids import SensorId
from edgemon.model.level import COMPUTED, LEVEL_KINDS, Band
from edgemon.model.limit import Delay, Limit
from edgemon.model.machine import Criticality, Machine, Point
from edgemon.units import units_of
from tests.settings.support import LIMIT, MACHINE, PLANT, POINT, SITE, loaded

CLASS_ORIGIN = "ISO 20816-3:2022 group 2, rigid: zone boundaries B/C and C/D"


def the_machine(tmp_path: Path, plant: str) -> Machine:
    return loaded(tmp_path, plant)[0].machines[0]


def the_point(tmp_path: Path, plant: str) -> Point:
    return the_machine(tmp_path, plant).points[0]


def the_limit(tmp_path: Path, plant: str, level: str = "velocity_rms") -> Limit:
    limit = the_point(tmp_path, plant).limit_of(level)
    assert limit is not None
    return limit


def test_a_class_fills_the_velocity_limits_with_band_and_origin(tmp_path: Path) -> None:
    point = the_point(tmp_path, PLANT)
    (limit,) = point.limits
    # ISO 20816-3:2022 group 2 rigid: B/C 2.8, C/D 4.5 mm/s; deadband 10 % of the lower one
    assert (limit.level, limit.unit, limit.origin) == ("velocity_rms", "mm/s", CLASS_ORIGIN)
    assert (limit.alert, limit.alarm, limit.deadband) == pytest.approx((0.0028, 0.0045, 0.00028))
    assert (limit.on_delay_alert, limit.on_delay_alarm, limit.off_delay) == (Delay(2), Delay(2), Delay(2))
    assert point.band == Band(10.0, 1000.0)


def test_every_level_is_computed_unless_the_file_names_some(tmp_path: Path) -> None:
    assert the_point(tmp_path, PLANT).computes == COMPUTED


def test_a_point_computes_what_it_or_its_machine_names(tmp_path: Path) -> None:
    of_machine = MACHINE + 'compute = ["kurtosis", "acceleration_rms"]\n'
    limited = {"velocity_rms"}  # the class sets a limit on it
    assert the_point(tmp_path, SITE + of_machine + POINT).computes == {"kurtosis", "acceleration_rms"} | limited
    assert the_point(tmp_path, SITE + of_machine + POINT + "compute = []\n").computes == limited


@pytest.mark.parametrize(
    ("of_machine", "of_point", "level"),
    [
        ("", LIMIT.replace("velocity_rms", "displacement_pp").replace("mm/s", "um") + "alert = 50\n", "displacement_pp"),
        ('standstill = { level = "envelope_rms", below = 0.1, unit = "m/s2" }\n', "", "envelope_rms"),
        ("", '[[machine.point.derived]]\nname = "peak_change"\nrule = "change"\nof = "velocity_peak"\n', "velocity_peak"),
        (
            "",
            '[[machine.point.mask]]\nname = "e"\nquantity = "envelope"\nlow_hz = 10\nhigh_hz = 90\nline_hz = 2\n'
            'floor = 0.1\nunit = "m/s2"\n',
            "envelope_rms",
        ),
    ],
    ids=["limit", "standstill", "derived", "mask"],
)
def test_what_something_rests_on_is_computed_in_any_case(of_machine: str, of_point: str, level: str, tmp_path: Path) -> None:
    text = SITE + MACHINE + of_machine + POINT + 'compute = ["acceleration_rms"]\n' + of_point
    assert the_point(tmp_path, text).computes == {"acceleration_rms", "velocity_rms", level}


@pytest.mark.parametrize(("rpm", "low_hz"), [(599.9, 2.0), (600.0, 10.0), (2975.0, 10.0)])
def test_slow_machines_have_the_wide_band(rpm: float, low_hz: float, tmp_path: Path) -> None:
    # ISO 20816-3:2022: 2 to 1000 Hz where the speed is below 600 r/min
    assert the_point(tmp_path, PLANT.replace("2975", str(rpm))).band == Band(low_hz, 1000.0)


@pytest.mark.parametrize(
    ("text", "alert_mm_s", "alarm_mm_s", "origin"),
    [
        ("alert = 2\nalarm = 3\n", 2.0, 3.0, "plant file"),
        ("alert = 2\n", 2.0, 4.5, "plant file; alarm: ISO 20816-3:2022 group 2, rigid, zone boundary C/D"),
        ("alarm = 4\n", 2.8, 4.0, "plant file; alert: ISO 20816-3:2022 group 2, rigid, zone boundary B/C"),
        ("on_delay = 5\n", 2.8, 4.5, CLASS_ORIGIN),
    ],
)
def test_what_the_file_says_comes_first_and_the_class_fills_the_rest(
    text: str, alert_mm_s: float, alarm_mm_s: float, origin: str, tmp_path: Path
) -> None:
    limit = the_limit(tmp_path, PLANT + LIMIT + text)
    assert (limit.alert, limit.alarm) == pytest.approx((alert_mm_s / 1000.0, alarm_mm_s / 1000.0))
    assert limit.origin == origin


def test_the_points_limit_comes_before_the_machines_and_that_before_the_classs(tmp_path: Path) -> None:
    of_machine = '[[machine.limit]]\nlevel = "velocity_rms"\nunit = "mm/s"\nalert = 1\nalarm = 2\n'
    second = POINT.replace("motor-de-h", "motor-de-v").replace('"x"', '"y"')
    plant = SITE + MACHINE + of_machine + POINT + LIMIT + "alert = 3\nalarm = 4\n" + second
    first, other = the_machine(tmp_path, plant).points
    own, inherited = first.limit_of("velocity_rms"), other.limit_of("velocity_rms")
    assert own is not None
    assert inherited is not None
    assert (own.alert, inherited.alert) == pytest.approx((0.003, 0.001))


def test_a_machines_limit_is_at_all_its_points(tmp_path: Path) -> None:
    of_machine = '[[machine.limit]]\nlevel = "temperature"\nunit = "degF"\nalert = 176\nalarm = 203\n'
    limit = the_limit(tmp_path, SITE + MACHINE + of_machine + POINT, "temperature")
    assert (limit.alert, limit.alarm) == pytest.approx((80.0, 95.0))  # (F - 32) / 1.8
    assert (limit.unit, limit.deadband) == ("degF", 2.0)


@pytest.mark.parametrize(
    ("level", "unit", "alert", "si"),
    [
        ("velocity_rms", "in/s", 0.1, 0.00254),
        ("acceleration_rms", "g", 1.0, 9.80665),
        ("displacement_pp", "µm", 50.0, 50e-6),
        ("envelope_rms", "m/s²", 5.0, 5.0),
        ("temperature", "°C", 80.0, 80.0),
        ("crest_factor", "", 6.0, 6.0),
        ("kurtosis", "1", 4.0, 4.0),
    ],
)
def test_units_are_honoured(level: str, unit: str, alert: float, si: float, tmp_path: Path) -> None:
    line = f'unit = "{unit}"\n' if unit else ""
    limit = the_limit(
        tmp_path, f'{PLANT}[[machine.point.limit]]\nlevel = "{level}"\n{line}alert = {alert}\nalarm = {alert * 2}\n', level
    )
    assert limit.alert == pytest.approx(si)


# one of each unit in SI, typed from the definitions of the units: 1 in = 25.4 mm, g = 9.80665 m/s2 (3rd CGPM, 1901)
EVERY_UNIT = {
    "velocity_rms": {"m/s": 1.0, "mm/s": 1e-3, "in/s": 0.0254},
    "velocity_peak": {"m/s": 1.0, "mm/s": 1e-3, "in/s": 0.0254},
    "displacement_pp": {"m": 1.0, "mm": 1e-3, "um": 1e-6, "mil": 25.4e-6},
    "acceleration_rms": {"m/s2": 1.0, "mm/s2": 1e-3, "g": 9.80665, "mg": 9.80665e-3},
    "acceleration_peak": {"m/s2": 1.0, "mm/s2": 1e-3, "g": 9.80665, "mg": 9.80665e-3},
    "envelope_rms": {"m/s2": 1.0, "mm/s2": 1e-3, "g": 9.80665, "mg": 9.80665e-3},
    "envelope_peak": {"m/s2": 1.0, "mm/s2": 1e-3, "g": 9.80665, "mg": 9.80665e-3},
}


@pytest.mark.parametrize(("level", "unit"), [(level, unit) for level, known in EVERY_UNIT.items() for unit in known])
def test_every_unit_of_vibration_can_be_asked_for(level: str, unit: str, tmp_path: Path) -> None:
    text = f'[[machine.point.limit]]\nlevel = "{level}"\nunit = "{unit}"\nalert = 3\nalarm = 7\ndeadband = 0.5\n'
    limit, one = the_limit(tmp_path, PLANT + text, level), EVERY_UNIT[level][unit]
    assert (limit.alert, limit.alarm, limit.deadband) == pytest.approx((3.0 * one, 7.0 * one, 0.5 * one))
    assert limit.unit == unit
    assert set(EVERY_UNIT[level]) == set(units_of(LEVEL_KINDS[level].quantity))


def test_a_deadband_is_a_difference_to_which_no_offset_applies(tmp_path: Path) -> None:
    text = '[[machine.point.limit]]\nlevel = "temperature"\nunit = "degF"\nalarm = 203\ndeadband = 9\n'
    assert the_limit(tmp_path, PLANT + text, "temperature").deadband == pytest.approx(5.0)


def test_the_deadband_where_none_is_written_is_a_tenth_of_the_lowest_limit_set(tmp_path: Path) -> None:
    text = '[[machine.point.limit]]\nlevel = "acceleration_peak"\nunit = "g"\nalarm = 2\n'
    limit = the_limit(tmp_path, PLANT + text, "acceleration_peak")
    assert limit.alert is None
    assert limit.deadband == pytest.approx(0.2 * 9.80665)


@pytest.mark.parametrize(
    ("text", "alert", "alarm", "off"),
    [
        ("on_delay = 3\noff_delay = 4\n", Delay(3), Delay(3), Delay(4)),
        ("on_delay = { alert = 3, alarm = 1 }\n", Delay(3), Delay(1), Delay(2)),
        ("on_delay = { alarm = 1 }\n", Delay(2), Delay(1), Delay(2)),
        ("on_delay_s = 30\noff_delay_s = 60.5\n", Delay(seconds=30.0), Delay(seconds=30.0), Delay(seconds=60.5)),
        ("on_delay_s = { alert = 30, alarm = 3 }\n", Delay(seconds=30.0), Delay(seconds=3.0), Delay(2)),
    ],
)
def test_delays_in_readings_or_seconds(text: str, alert: Delay, alarm: Delay, off: Delay, tmp_path: Path) -> None:
    limit = the_limit(tmp_path, PLANT + LIMIT + text)
    assert (limit.on_delay_alert, limit.on_delay_alarm, limit.off_delay) == (alert, alarm, off)


def test_latch_and_promotion(tmp_path: Path) -> None:
    limit = the_limit(tmp_path, PLANT + LIMIT + 'latch = ["alarm"]\npromote_alert = true\n')
    assert (limit.latch_alert, limit.latch_alarm, limit.promote_alert) == (False, True, True)


def test_a_point_is_stale_after_three_intervals_unless_it_says_otherwise(tmp_path: Path) -> None:
    assert the_point(tmp_path, PLANT).stale_after_s == 900.0
    assert the_point(tmp_path, PLANT + '[[sensor]]\nid = "s-0001"\ninterval_s = 60\n').stale_after_s == 180.0
    assert the_point(tmp_path, PLANT + "stale_after_s = 777\n").stale_after_s == 777.0


def test_standstill(tmp_path: Path) -> None:
    assert the_machine(tmp_path, PLANT).standstill_rpm == pytest.approx(0.05 * 2975)
    assert the_machine(tmp_path, PLANT.replace("rpm = 2975", "")).standstill_rpm is None
    text = MACHINE + 'standstill_rpm = 10\nstandstill = { level = "velocity_rms", below = 0.3, unit = "mm/s" }\n'
    machine = the_machine(tmp_path, SITE + text + POINT)
    assert machine.standstill_rpm == 10.0
    assert machine.standstill is not None
    assert machine.standstill.level == "velocity_rms"
    assert machine.standstill.below == pytest.approx(0.0003)


def test_a_sensor_in_si(tmp_path: Path) -> None:
    text = '[[sensor]]\nid = "s-0001"\ninterval_s = 60\nrange_g = 16\nsensitivity_mv_per_g = 100\nclock = false\n'
    sensor = loaded(tmp_path, PLANT + text)[0].sensors[SensorId("s-0001")]
    assert (sensor.interval_s, sensor.clock) == (60.0, False)
    assert sensor.range_si == pytest.approx(16 * 9.80665)
    assert sensor.sensitivity_v_per_si == pytest.approx(0.1 / 9.80665)


def test_a_sensor_that_is_only_named_has_the_usual_settings(tmp_path: Path) -> None:
    sensor = loaded(tmp_path, PLANT)[0].sensors[SensorId("s-0001")]
    assert (sensor.interval_s, sensor.clock, sensor.range_si, sensor.sensitivity_v_per_si) == (300.0, True, None, None)


def test_names_areas_and_words(tmp_path: Path) -> None:
    area = '[[area]]\nid = "intake"\nname = "Intake"\n[[area]]\nid = "ro-hall"\n'
    text = MACHINE + 'name = "Pump"\nkind = "high-pressure pump"\ncriticality = "critical"\n' + POINT
    point = 'direction = "axial"\nname = "DE"\nenvelope_band = { low_hz = 500, high_hz = 2000.5 }\n'
    plant, _ = loaded(tmp_path, SITE + text + point + area)
    assert [(area.id, area.name) for area in plant.areas] == [("intake", "Intake"), ("ro-hall", "ro-hall")]
    machine = plant.machines[0]
    assert (machine.name, machine.kind, machine.criticality) == ("Pump", "high-pressure pump", Criticality.CRITICAL)
    assert (machine.points[0].name, machine.points[0].direction) == ("DE", "axial")
    assert machine.points[0].envelope_band == Band(500.0, 2000.5)


def test_without_names_ids_stand_and_without_area_the_plant(tmp_path: Path) -> None:
    plant, _ = loaded(tmp_path, PLANT.replace('area = "ro-hall"\n', ""))
    machine = plant.machines[0]
    assert (plant.name, machine.name, machine.points[0].name, machine.area) == ("saltmarsh", "hp-pump-1", "motor-de-h", "plant")
    assert machine.criticality is Criticality.ESSENTIAL


def test_a_contact_angle_in_radians(tmp_path: Path) -> None:
    text = "bearing = { rolling_elements = 14, ball_diameter_mm = 18, pitch_diameter_mm = 85.1, contact_angle_deg = 40 }\n"
    bearing = the_point(tmp_path, PLANT + text).bearing
    assert bearing is not None
    assert bearing.contact_angle_rad == pytest.approx(40.0 * math.pi / 180.0)


def test_a_machines_temperature_limit_is_watched_once_for_each_sensor(tmp_path: Path) -> None:
    text = """
[site]
id = "saltmarsh"
name = "Saltmarsh Desalination Works"
[[machine]]
id = "hp-pump-1"
rpm = 2975
[[machine.limit]]
level = "temperature"
unit = "Cel"
alert = 90
alarm = 105
[[machine.point]]
id = "de-h"
sensor = "s-1"
axis = "x"
[[machine.point]]
id = "de-v"
sensor = "s-1"
axis = "y"
[[machine.point]]
id = "nde-h"
sensor = "s-2"
axis = "x"
"""
    points = the_machine(tmp_path, text).points
    assert [bool(point.limit_of("temperature")) for point in points] == [True, False, True]
