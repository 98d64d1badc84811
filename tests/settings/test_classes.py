"""Severity classes against the published tables; the figures are typed from the publications, not from the code."""

import math
import re
from pathlib import Path

import pytest

from edgemon.model.level import Band
from edgemon.model.limit import Limit, Zones
from edgemon.settings.classes import BAND, LOW_SPEED_BAND, SEVERITY_CLASSES
from edgemon.units import from_si, to_si
from tests.settings.support import PLANT, found, loaded

# ISO 20816-3:2022 / ISO 10816-3:2009 Tables A.1 and A.2, velocity r.m.s., mm/s: A/B, B/C, C/D (two independent reprints agree)
ISO_20816_3 = {
    "iso20816-3/group1/rigid": (2.3, 4.5, 7.1),
    "iso20816-3/group1/flexible": (3.5, 7.1, 11.0),
    "iso20816-3/group2/rigid": (1.4, 2.8, 4.5),
    "iso20816-3/group2/flexible": (2.3, 4.5, 7.1),
}
# ISO 10816-7:2009, as extracted in Europump, Guidelines on Pump Vibration (2013), mm/s r.m.s.: A/B, B/C, C/D
ISO_10816_7 = {
    "iso10816-7/category1/upto200kw": (2.5, 4.0, 6.6),
    "iso10816-7/category1/above200kw": (3.5, 5.0, 7.6),
    "iso10816-7/category2/upto200kw": (3.2, 5.1, 8.5),
    "iso10816-7/category2/above200kw": (4.2, 6.1, 9.5),
}
# ISO 14694:2003, in situ, mm/s r.m.s.: start-up, alarm, shut-down (reprinted in a technical article on fans, 2020)
ISO_14694 = {
    "iso14694/bv3/rigid": (4.5, 7.1, 9.0),
    "iso14694/bv3/flexible": (6.3, 11.8, 12.5),
    "iso14694/bv4/rigid": (2.8, 4.5, 7.1),
    "iso14694/bv4/flexible": (4.5, 7.1, 11.2),
}
# ISO 10816-1:1995 Annex B, withdrawn, mm/s r.m.s.: A/B, B/C, C/D (two independent reprints agree)
ISO_10816_1 = {
    "iso10816-1/class1": (0.71, 1.8, 4.5),
    "iso10816-1/class2": (1.12, 2.8, 7.1),
    "iso10816-1/class3": (1.8, 4.5, 11.2),
    "iso10816-1/class4": (2.8, 7.1, 18.0),
}
# ISO 10816-21:2015, velocity 10-1000 Hz, mm/s r.m.s.: B/C, C/D (figures of VDI 3834-1, as in a public implementation)
ISO_10816_21 = {
    "iso10816-21/rotor-bearing": (2.0, 3.2),
    "iso10816-21/gearbox": (3.5, 5.6),
    "iso10816-21/generator": (6.0, 10.0),
}
ZONED = ISO_20816_3 | ISO_10816_7 | ISO_10816_1
PUBLISHED: dict[str, tuple[float, ...]] = {**ZONED, **ISO_14694, **ISO_10816_21}
# ISO 10816-3:2009 Tables A.1 and A.2, displacement r.m.s., um: A/B, B/C, C/D (from an open-source library that cites them)
DISPLACEMENT = {
    "iso20816-3/group1/rigid": (29.0, 57.0, 90.0),
    "iso20816-3/group1/flexible": (45.0, 90.0, 140.0),
    "iso20816-3/group2/rigid": (22.0, 45.0, 71.0),
    "iso20816-3/group2/flexible": (37.0, 71.0, 113.0),
}

# ISO 20816-1:2016 Annex C, the ladder of preferred values, mm/s r.m.s.
LADDER = (0.28, 0.45, 0.71, 1.12, 1.8, 2.8, 4.5, 7.1, 9.3, 11.2, 14.7, 18.0, 28.0, 45.0)


def limit_on(tmp_path: Path, name: str, level: str = "velocity_rms") -> Limit:
    """The limit in force at a point of a machine of a class, through the plant file."""
    own = ""
    if level == "displacement_rms":
        own = '[[machine.level]]\nname = "displacement_rms"\nquantity = "displacement"\nlow_hz = 10\nhigh_hz = 1000\n'
        own += '[[machine.limit]]\nlevel = "displacement_rms"\nunit = "um"\n'
    text = PLANT.replace("iso20816-3/group2/rigid", name).replace("[[machine.point]]", own + "[[machine.point]]")
    assert not [problem for problem in found(tmp_path, text) if "withdrawn" not in str(problem)]
    plant, _ = loaded(tmp_path, text)
    limit = plant.machines[0].points[0].limit_of(level)
    assert limit is not None
    return limit


def zones_of(tmp_path: Path, name: str, level: str = "velocity_rms") -> Zones:
    zones = limit_on(tmp_path, name, level).zones
    assert zones is not None
    return zones


@pytest.mark.parametrize("name", PUBLISHED)
def test_alert_and_alarm_are_the_upper_two_published_figures(name: str) -> None:
    row = SEVERITY_CLASSES[name]
    assert (row.alert, row.alarm) == PUBLISHED[name][-2:]


@pytest.mark.parametrize("name", PUBLISHED)
def test_a_machine_of_the_class_gets_the_published_limits(name: str, tmp_path: Path) -> None:
    """Through the plant file: alert and alarm in force, and zone boundaries only where the figures are zone boundaries."""
    limit = limit_on(tmp_path, name)
    assert limit.alert is not None
    assert limit.alarm is not None
    assert [from_si(value, "mm/s") for value in (limit.alert, limit.alarm)] == pytest.approx(PUBLISHED[name][-2:])
    if name in ISO_14694:  # alarm and shut-down of a fan are no boundaries of zones
        assert limit.zones is None
    else:
        assert limit.zones is not None
        assert (limit.zones.upper_b, limit.zones.upper_c) == (limit.alert, limit.alarm)


# Power for which the classes are: ISO 20816-3:2022 above 15 to 300 and above 300 kW; ISO 10816-7:2009 above 1 to 200 and above
# 200 kW; ISO 14694:2003 below 300 kW; ISO 10816-1:1995 Annex B class I to 15 kW, II 15 to 75 kW, on special foundations to 300
FITTING = [
    ("iso20816-3/group1/flexible", (301.0, 50_000.0), (300.0, 50_001.0)),
    ("iso20816-3/group2/rigid", (16.0, 300.0), (15.0, 301.0)),
    ("iso10816-7/category1/upto200kw", (2.0, 200.0), (1.0, 201.0)),
    ("iso10816-7/category2/above200kw", (201.0, 5000.0), (200.0,)),
    ("iso14694/bv3/rigid", (1.0, 299.0), (301.0,)),
    ("iso14694/bv4/flexible", (1.0, 299.0), (301.0,)),
    ("iso10816-1/class1", (1.0, 15.0), (16.0,)),
    ("iso10816-1/class2", (16.0, 75.0, 300.0), (15.0, 301.0)),
    ("iso10816-1/class3", (1.0, 5000.0), ()),
]


@pytest.mark.parametrize(("name", "fitting", "unfit"), FITTING)
def test_power_that_does_not_fit_the_class_is_doubted(
    name: str, fitting: tuple[float, ...], unfit: tuple[float, ...], tmp_path: Path
) -> None:
    for power_kw in (*fitting, *unfit):
        plant = PLANT.replace('"iso20816-3/group2/rigid"\n', f'"{name}"\npower_kw = {power_kw}\n')
        doubts = [str(problem) for problem in found(tmp_path, plant) if "does not fit" in str(problem)]
        assert len(doubts) == (power_kw in unfit), power_kw


@pytest.mark.parametrize("name", PUBLISHED)
def test_no_class_is_for_reciprocating_machines(name: str, tmp_path: Path) -> None:
    # each of these standards leaves them to parts of their own (ISO 10816-6, ISO 20816-8)
    plant = PLANT.replace('"iso20816-3/group2/rigid"\n', f'"{name}"\nkind = "reciprocating compressor"\n')
    assert any("not made for" in str(problem) for problem in found(tmp_path, plant))


@pytest.mark.parametrize("kind", ["axial fan", "ventilator", "blower", "screw compressor"])
def test_pump_classes_are_for_pumps(kind: str, tmp_path: Path) -> None:
    plant = PLANT.replace('"iso20816-3/group2/rigid"\n', f'"iso10816-7/category2/upto200kw"\nkind = "{kind}"\n')
    assert any("not made for" in str(problem) for problem in found(tmp_path, plant))


def test_there_is_no_class_without_a_published_row() -> None:
    assert set(SEVERITY_CLASSES) == set(PUBLISHED)


@pytest.mark.parametrize("name", ZONED)
def test_zones_change_at_the_published_boundaries(name: str, tmp_path: Path) -> None:
    """A value on a boundary is of the lower zone, one a thousandth above it of the next."""
    zones = zones_of(tmp_path, name)
    for boundary, below, above in zip(ZONED[name], "ABC", "BCD", strict=True):
        assert zones.zone(to_si(boundary, "mm/s")) == below
        assert zones.zone(to_si(1.001 * boundary, "mm/s")) == above


@pytest.mark.parametrize(
    ("velocity_mm_s", "letters"),  # group 1 rigid, group 1 flexible, group 2 rigid, group 2 flexible; by hand from the table
    [(2.0, "AABA"), (6.0, "CBDC"), (3.0, "BACB"), (4.5, "BBCB"), (4.51, "CBDC")],
)
def test_zone_examples(velocity_mm_s: float, letters: str, tmp_path: Path) -> None:
    found_ones = [zones_of(tmp_path, name).zone(to_si(velocity_mm_s, "mm/s")) for name in ISO_20816_3]
    assert "".join(found_ones) == letters


@pytest.mark.parametrize("name", ISO_10816_21)
def test_a_standard_without_zone_a_tells_it_not_from_b(name: str, tmp_path: Path) -> None:
    zones, (upper_b, upper_c) = zones_of(tmp_path, name), ISO_10816_21[name]
    found_ones = [zones.zone(to_si(value, "mm/s")) for value in (0.1, upper_b, 1.001 * upper_b, upper_c, 1.001 * upper_c)]
    assert found_ones == ["A/B", "A/B", "C", "C", "D"]


@pytest.mark.parametrize("name", DISPLACEMENT)
def test_displacement_is_limited_where_somebody_measures_it(name: str, tmp_path: Path) -> None:
    limit, zones = limit_on(tmp_path, name, "displacement_rms"), zones_of(tmp_path, name, "displacement_rms")
    assert limit.alert is not None
    assert limit.alarm is not None
    assert [from_si(value, "um") for value in (limit.alert, limit.alarm)] == pytest.approx(DISPLACEMENT[name][1:])
    for boundary, below, above in zip(DISPLACEMENT[name], "ABC", "BCD", strict=True):
        assert zones.zone(to_si(boundary, "um")) == below
        assert zones.zone(to_si(1.001 * boundary, "um")) == above
    assert "ISO 20816-3:2022" in limit.origin


@pytest.mark.parametrize(("velocity_mm_s", "um", "letters"), [(3.0, 50.0, "CC"), (2.0, 50.0, "BC"), (4.6, 50.0, "DC")])
def test_velocity_and_displacement_each_have_their_zone(velocity_mm_s: float, um: float, letters: str, tmp_path: Path) -> None:
    # ISO 10816-3:2009 5.2.3 (quoted as above): where both apply the worse one counts; group 2 rigid, 2.0 mm/s and 50 um: C
    name = "iso20816-3/group2/rigid"
    velocity = zones_of(tmp_path, name).zone(to_si(velocity_mm_s, "mm/s"))
    displacement = zones_of(tmp_path, name, "displacement_rms").zone(to_si(um, "um"))
    assert velocity + displacement == letters
    assert max(velocity, displacement) == max(letters)


@pytest.mark.parametrize(("name", "crossover_hz"), [(name, 12.5 if "group1" in name else 10.0) for name in DISPLACEMENT])
def test_velocity_and_displacement_limits_meet_at_one_frequency(name: str, crossover_hz: float) -> None:
    # v = 2 pi f x: the two columns of the table agree at 12.4 to 12.6 Hz (group 1) and 9.9 to 10.1 Hz (group 2), recomputed
    row = SEVERITY_CLASSES[name]
    velocity, displacement = row.of("velocity_rms"), row.of("displacement_rms")
    assert velocity is not None
    assert displacement is not None
    for v, x in zip(velocity, displacement, strict=True):
        assert v is not None
        assert x is not None
        assert v / (2.0 * math.pi * x) == pytest.approx(crossover_hz, rel=0.014)


@pytest.mark.parametrize(
    "wrong", ['detector = "peak"', 'low_hz = 2', 'quantity = "velocity"'],
)  # fmt: skip
def test_a_level_that_only_has_the_name_is_doubted(wrong: str, tmp_path: Path) -> None:
    own = '[[machine.level]]\nname = "displacement_rms"\nquantity = "displacement"\n'
    own += 'detector = "rms"\nlow_hz = 10\nhigh_hz = 1000\n'
    key = wrong.split()[0]
    own = re.sub(rf"{key} = .*", wrong, own)
    own += f'[[machine.limit]]\nlevel = "displacement_rms"\nunit = "{"mm/s" if "velocity" in wrong else "um"}"\n'
    text = PLANT.replace("[[machine.point]]", own + "[[machine.point]]")
    doubts = [str(problem) for problem in found(tmp_path, text)]
    assert len([doubt for doubt in doubts if "displacement r.m.s. in 10-1000 Hz" in doubt]) == 1, doubts
    own_limits = found(
        tmp_path, text.replace('level = "displacement_rms"\n', 'level = "displacement_rms"\nalert = 1\nalarm = 2\n')
    )
    assert not own_limits


def test_a_level_of_the_machine_is_doubted_where_a_point_limits_it(tmp_path: Path) -> None:
    own = '[[machine.level]]\nname = "displacement_rms"\nquantity = "displacement"\nlow_hz = 5\nhigh_hz = 500\n'
    text = PLANT.replace("[[machine.point]]", own + "[[machine.point]]")
    text += '[[machine.point.limit]]\nlevel = "displacement_rms"\nunit = "um"\n'
    assert len([one for one in found(tmp_path, text) if "displacement r.m.s. in 10-1000 Hz" in str(one)]) == 1


def test_the_split_of_pump_power_is_at_200_kw_which_belongs_to_the_lower_class(tmp_path: Path) -> None:
    # ISO 10816-7:2009: "up to 200 kW": 3.3 mm/s is zone B at 200 kW and zone A at 201 kW
    below, above = SEVERITY_CLASSES["iso10816-7/category2/upto200kw"], SEVERITY_CLASSES["iso10816-7/category2/above200kw"]
    assert below.power_kw == (1.0, 200.0)
    assert above.power_kw is not None
    assert above.power_kw[0] == 200.0
    assert [zones_of(tmp_path, row.name).zone(to_si(3.3, "mm/s")) for row in (below, above)] == ["B", "A"]


@pytest.mark.parametrize("name", [*ISO_20816_3, *ISO_10816_7])
def test_boundaries_lie_in_the_typical_ranges(name: str) -> None:
    # ISO 20816-1:2016 Annex C, mm/s r.m.s.: A/B 0.71 to 4.5, B/C 1.8 to 9.3, C/D 4.5 to 14.7 (quoted from the same library)
    bounds = SEVERITY_CLASSES[name].of("velocity_rms")
    assert bounds is not None
    for value, (low, high) in zip(bounds, ((0.71, 4.5), (1.8, 9.3), (4.5, 14.7)), strict=True):
        assert value is not None
        assert low <= from_si(value, "mm/s") <= high


def test_legacy_boundaries_are_steps_of_the_ladder() -> None:
    # ISO 20816-1:2016 Annex C says that zone boundaries are taken from its ladder
    for name in ISO_10816_1:
        bounds = SEVERITY_CLASSES[name].upper_a, SEVERITY_CLASSES[name].alert, SEVERITY_CLASSES[name].alarm
        assert set(bounds) <= set(LADDER)


def test_only_the_legacy_classes_are_withdrawn() -> None:
    assert {name for name, row in SEVERITY_CLASSES.items() if row.withdrawn} == set(ISO_10816_1)


def test_legacy_class_2_is_not_group_2() -> None:
    # class II C/D is 7.1, group 2 rigid C/D is 4.5: the one must not stand for the other
    assert SEVERITY_CLASSES["iso10816-1/class2"].alarm != SEVERITY_CLASSES["iso20816-3/group2/rigid"].alarm


def test_scope_of_the_industrial_machines() -> None:
    # ISO 20816-3:2022 scope: above 15 kW, 120 to 30 000 r/min; group 1 above 300 kW, group 2 above 15 up to 300 kW
    for group, power in ((1, (300.0, 50_000.0)), (2, (15.0, 300.0))):
        row = SEVERITY_CLASSES[f"iso20816-3/group{group}/rigid"]
        assert (row.rpm, row.power_kw) == ((120.0, 30_000.0), power)


def test_bands() -> None:
    # ISO 20816-3:2022: 10 to 1000 Hz; from 2 Hz for machines below 600 r/min
    assert (BAND.low_hz, BAND.high_hz) == (10.0, 1000.0)
    assert (LOW_SPEED_BAND.low_hz, LOW_SPEED_BAND.high_hz) == (2.0, 1000.0)


@pytest.mark.parametrize("name", PUBLISHED)
def test_every_row_says_where_it_is_from(name: str) -> None:
    row = SEVERITY_CLASSES[name]
    standard = {"iso20816-3": "ISO 20816-3:2022", "iso10816-7": "ISO 10816-7:2009", "iso14694": "ISO 14694:2003"}
    standard |= {"iso10816-21": "ISO 10816-21:2015"}
    edition = standard.get(name.split("/")[0], "ISO 10816-1:1995")
    assert row.origin.startswith(edition)
    assert edition in row.source
    assert re.search(r"zone boundaries B/C and C/D|in-situ alarm and in-situ shut-down", row.origin)


def test_origin_reads_as_people_write_it() -> None:
    assert SEVERITY_CLASSES["iso20816-3/group2/rigid"].origin == "ISO 20816-3:2022 group 2, rigid: zone boundaries B/C and C/D"


@pytest.mark.parametrize(("name", "low_hz"), [("iso10816-21/rotor-bearing", 10.0), ("iso10816-1/class2", 2.0)])
def test_a_wind_turbines_rotor_is_judged_from_10_hz_on_however_slow(name: str, low_hz: float, tmp_path: Path) -> None:
    """ISO 10816-21:2015: velocity 10-1000 Hz for all its components; 2 Hz is of ISO 20816-3 below 600 r/min."""
    text = PLANT.replace("iso20816-3/group2/rigid", name)
    text = re.sub(r"(?m)^rpm = .*$", "rpm = 15", text)
    plant, _ = loaded(tmp_path, text)
    assert plant.machines[0].points[0].band == Band(low_hz, 1000.0)
