"""Planetary sets of tests/diagnosis/planets.py: healthy ones are not accused, damaged ones named against their baseline."""

from functools import lru_cache

import numpy as np
import pytest

from edgemon.diagnosis import Channel, MachineFacts, Record, diagnose
from edgemon.diagnosis.wheels import wheels
from edgemon.model.finding import Conclusion, Diagnosis, Fault
from edgemon.model.machine import Member, PlanetarySet
from tests.diagnosis.planets import planetary

HZ, FS, N = 29.0, 12800.0, 65536
SETS = [
    PlanetarySet(18, 27, 72, 3),  # in phase: mesh itself is the largest line
    PlanetarySet(20, 31, 82, 3),  # ring no multiple of the planets: mesh is all but gone, lines of planet pass stand beside it
    PlanetarySet(28, 36, 100, 4),
    PlanetarySet(21, 39, 99, 3),
]


@lru_cache(maxsize=32)
def record(gears: PlanetarySet, seed: int, fault: str = "", size: float = 2.0) -> Record:
    return Record(planetary(gears, HZ, FS, N, seed, fault, size)[None], FS, (Channel("a"),))


def answer(gears: PlanetarySet, seed: int, fault: str = "", against: bool = True) -> Diagnosis:
    facts = MachineFacts(HZ, planetary=(gears,))
    before = [(record(gears, one), facts) for one in (1, 2, 3)] if against else []
    return diagnose(record(gears, seed, fault), facts, before)


@pytest.mark.parametrize("gears", SETS, ids=str)
@pytest.mark.parametrize("seed", [11, 12])
@pytest.mark.parametrize("against", [False, True])
def test_a_healthy_set_is_not_accused(gears: PlanetarySet, seed: int, against: bool) -> None:
    assert [one for one in answer(gears, seed, against=against).findings if one.fault is Fault.GEAR] == []


@pytest.mark.parametrize("gears", SETS, ids=str)
@pytest.mark.parametrize("fault", ["sun", "planet"])
def test_damage_is_named_against_the_baseline_only(gears: PlanetarySet, fault: str) -> None:
    found = answer(gears, 11, fault)
    assert found.verdict is Conclusion.FAULT
    best = found.findings[0]
    assert best.fault is Fault.GEAR
    assert "planetary set 1" in best.detail
    assert any("surer than which" in note.text for note in best.evidence)
    assert any("of planetary set 1 stand out of the mesh" in note.text for note in best.evidence)
    alone = answer(gears, 11, fault, against=False)
    assert alone.verdict is Conclusion.CANNOT_TELL
    assert any("no baseline" in remark for remark in alone.remarks)


def test_sidebands_of_planets_that_pass_are_where_theory_has_them() -> None:
    """Only multiples of the planets' number have lines near the mesh (McFadden & Smith): 82 - 1 = 27 x 3, 84 = 28 x 3.

    By direct summation, at the carrier's multiples 78 to 86.
    """
    gears = SETS[1]
    carrier = HZ * 20 / 102
    time = np.arange(N) / FS
    wave = record(gears, 11).samples[0]
    sizes = {k: abs(np.mean(wave * np.exp(-2j * np.pi * k * carrier * time) * np.hanning(N))) for k in range(78, 87)}
    strong = sorted(sizes, key=lambda k: -sizes[k])[:2]
    assert set(strong) == {81, 84}


def test_what_turns_too_slowly_for_the_record_is_said() -> None:
    gears = SETS[0]
    short = Record(record(gears, 11).samples[:, :16384], FS, (Channel("a"),))
    found = diagnose(short, MachineFacts(HZ, planetary=(gears,)))
    assert any("fewer than ten turns" in remark and "ring of planetary set 1" in remark for remark in found.remarks)


def test_gears_of_a_set_turn_against_its_carrier() -> None:
    """Sun 1, ring standing, carrier 0.2: sun 0.8, planets 0.8 x 18 / 27, ring 0.2 turns against it; mesh 14.4 from each."""
    found = wheels((), (SETS[0],))
    assert [wheel.order for wheel in found] == pytest.approx([0.8, 0.8 * 18 / 27, 0.2])
    assert [wheel.mesh_order for wheel in found] == pytest.approx([14.4] * 3)
    assert all(wheel.of_planets for wheel in found)
    assert 3.0 in found[2].others  # planets that pass, three a turn of the carrier
    star = wheels((), (PlanetarySet(18, 27, 72, 3, Member.CARRIER),))
    assert [wheel.order for wheel in star] == pytest.approx([1.0, 18 / 27, 0.25])
