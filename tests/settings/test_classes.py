"""Severity classes against the published tables; the figures are typed from the publications, not from the code."""

import re
from pathlib import Path

import pytest

from edgemon.settings.classes import BAND, LOW_SPEED_BAND, SEVERITY_CLASSES
from edgemon.units import from_si
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
PUBLISHED = ISO_20816_3 | ISO_10816_7 | ISO_14694 | ISO_10816_1

# ISO 20816-1:2016 Annex C, the ladder of preferred values, mm/s r.m.s.
LADDER = (0.28, 0.45, 0.71, 1.12, 1.8, 2.8, 4.5, 7.1, 9.3, 11.2, 14.7, 18.0, 28.0, 45.0)


def zone(name: str, velocity_mm_s: float) -> str:
    """Grade by a published row; a value on a boundary belongs to the lower zone."""
    return "ABCD"[sum(velocity_mm_s > boundary for boundary in PUBLISHED[name])]


@pytest.mark.parametrize("name", PUBLISHED)
def test_alert_and_alarm_are_the_upper_two_published_figures(name: str) -> None:
    row = SEVERITY_CLASSES[name]
    assert (row.alert, row.alarm) == PUBLISHED[name][1:]


@pytest.mark.parametrize("name", PUBLISHED)
def test_a_machine_of_the_class_gets_the_published_limits(name: str, tmp_path: Path) -> None:
    """Through the plant file: alert and alarm in force, and zone boundaries only where the figures are zone boundaries."""
    plant, _ = loaded(tmp_path, PLANT.replace("iso20816-3/group2/rigid", name))
    (limit,) = plant.machines[0].points[0].limits
    assert limit.alert is not None
    assert limit.alarm is not None
    assert [from_si(value, "mm/s") for value in (limit.alert, limit.alarm)] == pytest.approx(PUBLISHED[name][1:])
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


@pytest.mark.parametrize(
    ("velocity_mm_s", "zones"),  # group 1 rigid, group 1 flexible, group 2 rigid, group 2 flexible; by hand from the table
    [(2.0, "AABA"), (6.0, "CBDC"), (3.0, "BACB"), (4.5, "BBCB"), (4.51, "CBDC")],
)
def test_zone_examples_agree_with_the_severity_that_the_limits_give(velocity_mm_s: float, zones: str) -> None:
    for name, expected in zip(ISO_20816_3, zones, strict=True):
        row = SEVERITY_CLASSES[name]
        assert zone(name, velocity_mm_s) == expected
        assert ("D" in expected) == (velocity_mm_s > row.alarm)
        assert (expected in "CD") == (velocity_mm_s > row.alert)


def test_the_split_of_pump_power_is_at_200_kw_which_belongs_to_the_lower_class() -> None:
    # ISO 10816-7:2009: "up to 200 kW": 3.3 mm/s is zone B at 200 kW and zone A at 201 kW
    below, above = SEVERITY_CLASSES["iso10816-7/category2/upto200kw"], SEVERITY_CLASSES["iso10816-7/category2/above200kw"]
    assert below.power_kw == (1.0, 200.0)
    assert above.power_kw is not None
    assert above.power_kw[0] == 200.0
    assert (zone(below.name, 3.3), zone(above.name, 3.3)) == ("B", "A")


def test_legacy_boundaries_are_steps_of_the_ladder() -> None:
    # ISO 20816-1:2016 Annex C says that zone boundaries are taken from its ladder
    for name in ISO_10816_1:
        assert {SEVERITY_CLASSES[name].alert, SEVERITY_CLASSES[name].alarm} <= set(LADDER)


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
    edition = standard.get(name.split("/")[0], "ISO 10816-1:1995")
    assert row.origin.startswith(edition)
    assert edition in row.source
    assert re.search(r"zone boundaries B/C and C/D|in-situ alarm and in-situ shut-down", row.origin)


def test_origin_reads_as_people_write_it() -> None:
    assert SEVERITY_CLASSES["iso20816-3/group2/rigid"].origin == "ISO 20816-3:2022 group 2, rigid: zone boundaries B/C and C/D"
