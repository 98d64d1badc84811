"""Every doubt about `plant.toml`: one broken file each, with the file, line, field, sentence and hint it must give."""

from pathlib import Path
from typing import NamedTuple

import pytest

from tests.settings.support import LIMIT, MACHINE, PLANT, POINT, SITE, found, line_of, only


class Broken(NamedTuple):
    """A broken file and what must be said of it."""

    plant: str
    at: str
    """Text that stands first on the line to be named."""
    field: str
    what: str
    hint: str
    is_error: bool = True


M, P = "machine[hp-pump-1]", "machine[hp-pump-1].point[motor-de-h]"
L = f"{P}.limit[velocity_rms]"
OWN = SITE + MACHINE.replace('severity_class = "iso20816-3/group2/rigid"\n', "") + POINT
BEARING = "bearing = {{ rolling_elements = {}, ball_diameter_mm = {}, pitch_diameter_mm = {}, contact_angle_deg = {} }}\n"


def limit(text: str) -> str:
    return PLANT + LIMIT + text


def machine(text: str) -> str:
    return SITE + MACHINE + text + POINT


def classed(name: str, text: str = "") -> str:
    return SITE + MACHINE.replace("iso20816-3/group2/rigid", name) + text + POINT


def bearing(*values: object) -> str:
    return PLANT + BEARING.format(*values)


SHAPE = {
    "unknown key, nearest named": Broken(
        PLANT.replace("severity_class", "severty_class") + LIMIT + "alert = 1\nalarm = 2\n",
        "severty_class",
        f"{M}.severty_class",
        'unknown key "severty_class"',
        'did you mean "severity_class"?',
    ),
    "unknown key of a point": Broken(
        PLANT.replace("sensor =", "sesnor ="), "sesnor", f"{P}.sesnor", "unknown key", 'did you mean "sensor"?'
    ),
    "unknown key without a likeness": Broken(
        machine("colour = 1\n"), "colour", f"{M}.colour", 'unknown key "colour"', "keys here: id, name"
    ),
    "unknown table": Broken(PLANT + "[sitte]\n", "[sitte]", "sitte", "unknown key", 'did you mean "site"?'),
    "unknown key of an inline table": Broken(
        PLANT + "band = { low_hz = 10, high_hz = 1000, mid_hz = 3 }\n",
        "band",
        f"{P}.band.mid_hz",
        "unknown key",
        "low_hz, high_hz",
    ),
    "text for a number": Broken(
        PLANT.replace("rpm = 2975", 'rpm = "2975"'),
        "rpm",
        f"{M}.rpm",
        'must be a number, not the text "2975"',
        "without quotes",
    ),
    "truth for a number": Broken(PLANT.replace("2975", "true"), "rpm", f"{M}.rpm", "must be a number, not true", ""),
    "number for text": Broken(machine("kind = 3\n"), "kind", f"{M}.kind", "must be text in quotes, not 3", 'kind = "..."'),
    "not a number": Broken(PLANT.replace("2975", "nan"), "rpm", f"{M}.rpm", "must be a finite number", ""),
    "date for text": Broken(machine("name = 2020-01-01\n"), "name", f"{M}.name", "not a date or time", "name ="),
    "more than 64 bits": Broken(PLANT.replace("2975", "9" * 400), "rpm", f"{M}.rpm", "larger than any whole number", "64 bits"),
    "table for an array of tables": Broken(
        SITE + "[machine]\nid = 'a'\n", "[machine]", "machine", "must be a list, not a table", "[[machine]] in double brackets"
    ),
    "a criticality that is none": Broken(
        machine('criticality = "critcal"\n'), "criticality", f"{M}.criticality", '"critcal"', 'did you mean "critical"?'
    ),
    "a direction that is none": Broken(
        PLANT + 'direction = "sideways"\n', "direction", f"{P}.direction", '"sideways"', "one of: horizontal, vertical, axial"
    ),
    "a severity to latch that is none": Broken(
        limit('alert = 1\nalarm = 2\nlatch = ["alarm", "alarms"]\n'),
        "latch",
        f"{L}.latch[#2]",
        '"alarms"',
        'did you mean "alarm"?',
    ),
    "a delay that is neither number nor table": Broken(
        limit('alert = 1\nalarm = 2\non_delay = "two"\n'), "on_delay", f"{L}.on_delay", "a number, or a table { alert", ""
    ),
}
IDS = {
    "no site id": Broken(PLANT.replace('id = "saltmarsh"\n', ""), "[site]", "site.id", "missing", 'id = "..."'),
    "bad identifier": Broken(
        PLANT.replace('"hp-pump-1"', '"HP pump 1"'), 'id = "HP', "machine[HP pump 1].id", "is not an identifier", '"hp-pump-1"'
    ),
    "no machine": Broken(SITE, "[site]", "machine", "there is no machine", "[[machine]]"),
    "no point": Broken(SITE + MACHINE, "[[machine]]", f"{M}.point", "has no point", "[[machine.point]]"),
    "no sensor": Broken(PLANT.replace('sensor = "s-0001"\n', ""), "[[machine.point]]", f"{P}.sensor", "missing", "sensor ="),
    "no axis": Broken(PLANT.replace('axis = "x"\n', ""), "[[machine.point]]", f"{P}.axis", "missing", 'axis = "x"'),
    "an axis that cannot be": Broken(
        PLANT.replace('"x"', '"x/y"'), "axis", f"{P}.axis", "cannot be an axis", "letters, digits"
    ),
    "two machines of one id": Broken(
        PLANT + MACHINE.replace('-1"', '-1" # 2') + POINT.replace("s-0001", "s-0002"),
        'id = "hp-pump-1" # 2',
        f"{M}.id",
        "there twice",
        "in line 4",
    ),
    "two points of one id": Broken(
        PLANT + POINT.replace("s-0001", "s-0002"), 'id = "motor-de-h"\nsensor = "s-0002"', f"{P}.id", "there twice", "in line 9"
    ),
    "two areas of one id": Broken(
        PLANT + '[[area]]\nid = "ro-hall"\n[[area]]\nid = "ro-hall" # 2\n',
        'id = "ro-hall" # 2',
        "area[ro-hall].id",
        "twice",
        "line 13",
    ),
    "two sensors of one id": Broken(
        PLANT + '[[sensor]]\nid = "s-0001"\n[[sensor]]\nid = "s-0001" # 2\n',
        'id = "s-0001" # 2',
        "sensor[s-0001].id",
        "twice",
        "line 13",
    ),
    "a sensor axis used twice": Broken(
        PLANT + POINT.replace("motor-de-h", "motor-de-v").replace("axis", "axis "),
        "axis  =",
        "machine[hp-pump-1].point[motor-de-v].axis",
        'axis x of sensor "s-0001" is used twice',
        "in line 8",
    ),
    "unknown area": Broken(
        PLANT + '[[area]]\nid = "ro-hal"\n', "area =", f"{M}.area", 'called "ro-hall"', 'did you mean "ro-hal"?', is_error=False
    ),
    "a sensor on two machines": Broken(
        PLANT + MACHINE.replace("hp-pump-1", "hp-pump-2") + POINT.replace('"x"', '"y"').replace("sensor =", "sensor  ="),
        "sensor  =",
        "machine[hp-pump-2].point[motor-de-h].sensor",
        "cannot sit on two machines",
        "in line 8",
        is_error=False,
    ),
    "a sensor listed but unused": Broken(
        PLANT + '[[sensor]]\nid = "s-0001"\n[[sensor]]\nid = "s-0009"\n',
        'id = "s-0009"',
        "sensor[s-0009].id",
        "no point uses",
        "remove",
        is_error=False,
    ),
    "a sensor used but not listed": Broken(
        PLANT + POINT.replace("motor-de-h", "p2").replace("s-0001", "s-00001") + '[[sensor]]\nid = "s-0001"\n',
        'sensor = "s-00001"',
        "machine[hp-pump-1].point[p2].sensor",
        "no [[sensor]]",
        'did you mean "s-0001"?',
        is_error=False,
    ),
}
MACHINES = {
    "unknown class": Broken(
        classed("iso20816-3/group2/rigit"),
        "severity_class",
        f"{M}.severity_class",
        "not a severity class",
        '"iso20816-3/group2/rigid"?',
    ),
    "class of no standard": Broken(
        classed("mine"), "severity_class", f"{M}.severity_class", "not a severity", "iso10816-7/category1"
    ),
    "withdrawn class": Broken(
        classed("iso10816-1/class2"), "severity_class", f"{M}.severity_class", "is withdrawn", "old limits", is_error=False
    ),
    "too slow for its class": Broken(
        PLANT.replace("2975", "119"), "rpm", f"{M}.rpm", "119 r/min is outside the scope of ISO 20816-3", "120 to 30000 r/min"
    ),
    "too fast for its class": Broken(PLANT.replace("2975", "30001"), "rpm", f"{M}.rpm", "outside the scope", "120 to 30000"),
    "no speed": Broken(PLANT.replace("2975", "0"), "rpm", f"{M}.rpm", "above zero, not 0", "r/min"),
    "too strong for its class": Broken(
        machine("power_kw = 301\n"),
        "severity_class",
        f"{M}.severity_class",
        "does not fit 301 kW",
        "up to 300 kW",
        is_error=False,
    ),
    "negative power": Broken(machine("power_kw = -1\n"), "power_kw", f"{M}.power_kw", "above zero, not -1", "kW"),
    "a fan in the class of pumps": Broken(
        classed("iso10816-7/category2/upto200kw", 'kind = "axial fan"\n'),
        "severity_class",
        f"{M}.severity_class",
        'not made for a "axial fan"',
        "iso14694",
        is_error=False,
    ),
    "a pump in the class of fans": Broken(
        classed("iso14694/bv3/rigid", 'kind = "feed pump"\n'),
        "severity_class",
        f"{M}.severity_class",
        "not made",
        "iso10816-7",
        is_error=False,
    ),
    "standstill at nominal speed": Broken(
        machine("standstill_rpm = 2975\n"), "standstill_rpm", f"{M}.standstill_rpm", "never count as running", "148.75"
    ),
    "a fixed speed that is not said": Broken(
        machine('speed = "fixed"\n').replace("rpm = 2975\n", ""), "speed =", f"{M}.speed", "not said", "rpm"
    ),
    "negative standstill": Broken(
        machine("standstill_rpm = -1\n"), "standstill_rpm", f"{M}.standstill_rpm", "below zero", "5 %"
    ),
    "standstill rule of a wrong unit": Broken(
        machine('standstill = { level = "velocity_rms", below = 0.3, unit = "g" }\n'),
        "standstill",
        f"{M}.standstill.unit",
        "unit of acceleration, not of velocity",
        "mm/s",
    ),
    "standstill rule without a figure": Broken(
        machine('standstill = { level = "velocity_rms", unit = "mm/s" }\n'),
        "standstill",
        f"{M}.standstill.below",
        "missing",
        "below =",
    ),
    "standstill rule at zero": Broken(
        machine('standstill = { level = "velocity_rms", below = 0, unit = "mm/s" }\n'),
        "standstill",
        f"{M}.standstill.below",
        "zero",
        "",
    ),
    "standstill rule above alert": Broken(
        machine('standstill = { level = "velocity_rms", below = 3, unit = "mm/s" }\n'),
        "standstill",
        f"{M}.standstill.below",
        "in alert (2.8 mm/s) would count as not running",
        "well below 2.8 mm/s",
    ),
}
POINTS = {
    "no limit at all": Broken(OWN, "[[machine.point]]", P, "no limit", "severity_class", is_error=False),
    "stale before the next reading": Broken(
        PLANT + 'stale_after_s = 60\n[[sensor]]\nid = "s-0001"\ninterval_s = 60\n',
        "stale_after_s",
        f"{P}.stale_after_s",
        "every 60 s",
        "180 s",
    ),
    "stale after one lost capture": Broken(
        PLANT + "stale_after_s = 301\n", "stale_after_s", f"{P}.stale_after_s", "one lost capture", "900 s", is_error=False
    ),
    "stale at once": Broken(PLANT + "stale_after_s = 0\n", "stale_after_s", f"{P}.stale_after_s", "above zero", "seconds"),
    "no interval": Broken(
        PLANT + '[[sensor]]\nid = "s-0001"\ninterval_s = 0\n',
        "interval_s",
        "sensor[s-0001].interval_s",
        "above zero",
        "seconds",
    ),
    "no range": Broken(
        PLANT + '[[sensor]]\nid = "s-0001"\nrange_g = 0\n', "range_g", "sensor[s-0001].range_g", "above zero", "in g"
    ),
    "no sensitivity": Broken(
        PLANT + '[[sensor]]\nid = "s-0001"\nsensitivity_mv_per_g = -100\n',
        "sensitivity",
        "sensor[s-0001].sensitivity_mv_per_g",
        "above zero",
        "100",
    ),
    "band upside down": Broken(
        PLANT + "envelope_band = { low_hz = 2000, high_hz = 500 }\n",
        "envelope_band",
        f"{P}.envelope_band.high_hz",
        "before it begins",
        "above low_hz = 2000",
    ),
    "band with one edge": Broken(
        PLANT + "envelope_band = { low_hz = 2 }\n", "envelope", f"{P}.envelope_band.high_hz", "missing", "needs"
    ),
    "negative band": Broken(
        PLANT + "envelope_band = { low_hz = -1, high_hz = 5 }\n", "envelope", f"{P}.envelope_band.low_hz", "below zero", "10"
    ),
    "a band of its own with limits of a class": Broken(
        PLANT + "band = { low_hz = 5, high_hz = 2000 }\n",
        "band",
        f"{P}.band",
        "are for 10-1000 Hz",
        "leave band out",
        is_error=False,
    ),
    "balls larger than the pitch circle": Broken(
        bearing(9, 39.04, 7.94, 0), "bearing", f"{P}.bearing.ball_diameter_mm", "below pitch_diameter_mm", "swapped"
    ),
    # pi / asin(7.94 / 39.04) = 15.3: at most 15 balls fit round the pitch circle
    "more balls than fit": Broken(
        bearing(16, 7.94, 39.04, 0),
        "bearing",
        f"{P}.bearing.rolling_elements",
        "16 elements of 7.94 mm do not fit",
        "at most 15",
    ),
    "two balls": Broken(bearing(2, 7.94, 39.04, 0), "bearing", f"{P}.bearing.rolling_elements", "at least 3", "one row"),
    "half a ball": Broken(bearing(9.5, 7.94, 39.04, 0), "bearing", f"{P}.bearing.rolling_elements", "a whole number", ""),
    "no diameter": Broken(bearing(9, 0, 39.04, 0), "bearing", f"{P}.bearing.ball_diameter_mm", "above zero", ""),
    "an impossible angle": Broken(bearing(9, 7.94, 39.04, 90), "bearing", f"{P}.bearing.contact_angle_deg", "below 90", "0"),
    "half a bearing": Broken(
        PLANT + "bearing = { rolling_elements = 9, ball_diameter_mm = 7.94 }\n",
        "bearing",
        f"{P}.bearing.pitch_diameter_mm",
        "missing",
        "",
    ),
}
LIMITS = {
    "alert above alarm": Broken(limit("alert = 4.5\nalarm = 2.8\n"), "alert", f"{L}.alert", "alert is above alarm", "swapped"),
    "alert above the alarm of the class": Broken(
        limit("alert = 5\n"),
        "alert",
        f"{L}.alert",
        "5 mm/s against alarm 4.5 mm/s (from ISO 20816-3:2022 group 2, rigid)",
        "below",
    ),
    "alarm below the alert of the class": Broken(
        limit("alarm = 2\n"), "alarm", f"{L}.alarm", "2 mm/s against alert 2.8", "below"
    ),
    "alert equals alarm": Broken(limit("alert = 3\nalarm = 3\n"), "alert", f"{L}.alert", "never seen", "below", is_error=False),
    "zero limit": Broken(limit("alert = 0\nalarm = 2\n"), "alert", f"{L}.alert", "above zero, not 0", "mm/s"),
    "negative limit": Broken(limit("alert = 1\nalarm = -2\n"), "alarm", f"{L}.alarm", "above zero, not -2", "velocity r.m.s."),
    "neither alert nor alarm": Broken(
        PLANT + LIMIT.replace("velocity_rms", "velocity_peak"),
        "[[machine.point.limit]]",
        f"{P}.limit[velocity_peak]",
        "neither",
        "one",
    ),
    "deadband as large as the limit": Broken(
        limit("alert = 2.8\nalarm = 4.5\ndeadband = 2.8\n"),
        "deadband",
        f"{L}.deadband",
        "would never clear",
        "usually 0.28 mm/s",
    ),
    "negative deadband": Broken(
        limit("alert = 1\nalarm = 2\ndeadband = -1\n"), "deadband", f"{L}.deadband", "below zero", "0.1 mm/s"
    ),
    "unit of another quantity": Broken(
        limit("alert = 1\nalarm = 2\n").replace("mm/s", "um"),
        "unit",
        f"{L}.unit",
        "unit of displacement, not of velocity",
        "units for velocity r.m.s.: m/s, mm/s, in/s",
    ),
    "unknown unit": Broken(
        limit("alert = 1\n").replace("mm/s", "mm/sec"), "unit", f"{L}.unit", "not a known unit", "m/s, mm/s, in/s"
    ),
    "no unit": Broken(
        limit("alert = 1\n").replace('unit = "mm/s"\n', ""), "[[machine.point.limit]]", f"{L}.unit", "never assumed", "mm/s"
    ),
    "unknown level": Broken(
        limit("alert = 1\nalarm = 2\n").replace("velocity_rms", "velocity_rsm"),
        "level",
        f"{P}.limit[velocity_rsm].level",
        '"velocity_rsm" is not a level',
        'did you mean "velocity_rms"?',
    ),
    "unknown level to compute": Broken(
        PLANT + 'compute = ["velocity_rms", "kurtossis"]\n',
        "compute",
        f"{P}.compute[#2]",
        'unknown level "kurtossis"',
        "known are velocity_rms, velocity_peak",
    ),
    "no level": Broken(
        limit("alert = 1\n").replace('level = "velocity_rms"\n', ""),
        "[[machine.point.limit]]",
        f"{P}.limit[#1].level",
        "missing",
        "kurtosis",
    ),
    "two limits of a level": Broken(
        limit("alert = 1\n") + LIMIT.replace("level =", "level  =") + "alarm = 3\n",
        "level  =",
        f"{L}.level",
        "two limits",
        "line 13",
    ),
    "a crest factor below one": Broken(
        PLANT + '[[machine.point.limit]]\nlevel = "crest_factor"\nalert = 0.9\n',
        "alert",
        f"{P}.limit[crest_factor].alert",
        "always exceeded",
        "above 1",
    ),
    "both on-delays": Broken(
        limit("alert = 1\non_delay = 2\non_delay_s = 5\n"),
        "on_delay_s",
        f"{L}.on_delay_s",
        "both on_delay and on_delay_s",
        "keep one",
    ),
    "both off-delays": Broken(
        limit("alert = 1\noff_delay = 2\noff_delay_s = 5\n"),
        "off_delay_s",
        f"{L}.off_delay_s",
        "both off_delay and off_delay_s",
        "keep one",
    ),
    "half a reading": Broken(
        limit("alert = 1\non_delay = 1.5\n"), "on_delay", f"{L}.on_delay", "whole number of readings", "2"
    ),
    "no reading for alarm": Broken(
        limit("alert = 1\non_delay = { alert = 2, alarm = 0 }\n"), "on_delay", f"{L}.on_delay.alarm", "from 1, not 0", "2"
    ),
    "negative seconds": Broken(
        limit("alert = 1\noff_delay_s = -1\n"), "off_delay_s", f"{L}.off_delay_s", "below zero", "seconds"
    ),
    "a machine's limit": Broken(
        machine('[[machine.limit]]\nlevel = "temperature"\nunit = "Cel"\nalert = 95\nalarm = 80\n'),
        "alert",
        f"{M}.limit[temperature].alert",
        "95 Cel against alarm 80 Cel",
        "swapped",
    ),
}
ALL = SHAPE | IDS | MACHINES | POINTS | LIMITS


@pytest.mark.parametrize("name", ALL)
def test_each_mistake_is_told_once_with_line_field_and_hint(name: str, tmp_path: Path) -> None:
    case = ALL[name]
    problem = only(found(tmp_path, case.plant))
    assert problem.file == str(tmp_path / "plant.toml")
    assert problem.line == line_of(case.plant, case.at), str(problem)
    assert problem.field == case.field
    assert case.what in problem.what
    assert case.hint in problem.hint
    assert problem.is_error is case.is_error


@pytest.mark.parametrize(
    "plant",
    [
        PLANT,
        PLANT.replace("2975", "120"),
        PLANT.replace("2975", "30000"),
        machine("power_kw = 300\n"),
        machine('standstill = { level = "velocity_rms", below = 0.3, unit = "mm/s" }\nstandstill_rpm = 0\n'),
        bearing(15, 7.94, 39.04, 0),
        bearing(14, 18, 85.1, 40),
        PLANT + "band = { low_hz = 10, high_hz = 1000 }\n",
        limit("alert = 4.4\n"),
        limit("deadband = 0.1\non_delay = 1\noff_delay_s = 0\n"),
        limit('alert = 1\nalarm = 2\nlatch = ["alarm"]\n').replace("velocity_rms", "velocity_peak"),
        PLANT + '[[machine.point.limit]]\nlevel = "kurtosis"\nalert = 4\n',
        PLANT + '[[machine.point.limit]]\nlevel = "temperature"\nunit = "Cel"\nalert = -5\nalarm = 0\n',
        PLANT + "stale_after_s = 600\n",
        PLANT + '[[area]]\nid = "ro-hall"\n[[sensor]]\nid = "s-0001"\n',
    ],
)
def test_what_is_right_is_not_doubted(plant: str, tmp_path: Path) -> None:
    assert found(tmp_path, plant) == ()


def test_sixteen_mistakes_give_sixteen_lines_with_the_right_numbers(tmp_path: Path) -> None:
    plant = """\
[site]
id = "Salt Marsh"                       # 2: not an identifier
nam = "Saltmarsh"                       # 3: unknown key

[[machine]]
id = "hp-pump-1"
severity_class = "iso20816-3/group3"    # 7: no such class
rpm = "2975"                            # 8: text
criticality = "high"                    # 9: no such word

  [[machine.point]]
  id = "motor-de-h"
  sensor = "S-0001"                     # 13: not an identifier
  axis = "x"
  bearing = { rolling_elements = 9, ball_diameter_mm = 39.04, pitch_diameter_mm = 7.94 }   # 15: swapped

    [[machine.point.limit]]
    level = "velocity_rms"
    unit = "mm/s"
    alert = 4.5                         # 20: above alarm
    alarm = 2.8

    [[machine.point.limit]]
    level = "acceleration_rms"
    unit = "mm/s"                       # 25: wrong unit
    alarm = 10

    [[machine.point.limit]]
    level = "envelope"                  # 29: no such level
    alarm = 10

[[machine]]
id = "hp-pump-1"                        # 33: there twice
rpm = -1                                # 34: negative
  [[machine.point]]                     # 35: no axis
  id = "motor-de-h"
  sensor = "s-0002"
    [[machine.point.limit]]
    level = "temperature"
    unit = "Cel"
    alarm = 95
    deadband = 95                       # 42: as large as the limit
    on_delay = 0                        # 43: no reading

[[sensor]]
id = "s-0002"
interval_s = true                       # 47: a truth
"""
    problems = found(tmp_path, plant)
    assert [problem.line for problem in problems if problem.is_error] == [
        2,
        3,
        7,
        8,
        9,
        13,
        15,
        20,
        25,
        29,
        33,
        34,
        35,
        42,
        43,
        47,
    ]
    assert len({(problem.line, problem.field) for problem in problems}) == len(problems)
    assert all(problem.what and problem.file.endswith("plant.toml") for problem in problems)


def test_text_of_a_file_cannot_steer_the_terminal(tmp_path: Path) -> None:
    problem = only(found(tmp_path, PLANT.replace('"hp-pump-1"', '"\\u001b[31mred"')))
    assert "\x1b" not in str(problem)
