"""Frequencies worth a mark, against kinematics in fractions; peaks named by the nearest within its tolerance."""

from dataclasses import replace

import pytest

from edgemon.diagnosis.markers import MEASURED, NOMINAL, SLIP, Family, expected, name_of, tolerance
from edgemon.diagnosis.record import Gear, MachineFacts
from edgemon.model.machine import Bearing

BEARING = Bearing(9, 7.94e-3, 39.04e-3, 0.0)
FACTS = MachineFacts(
    speed_hz=25.0,
    bearings=(("de", BEARING), ("nde", BEARING)),
    gears=(Gear(20, 50),),
    blades=5,
    belt_hz=7.0,
    supply_hz=50.0,
    poles=4,
)


def test_all_that_is_known_is_marked() -> None:
    """Mesh 20 x 25 = 500 Hz, driven shaft 500 / 50 = 10 Hz; four poles at 50 Hz: synchronous 25 Hz, no slip."""
    at = {one.name: one for one in expected(FACTS, MEASURED)}
    assert next(iter(at)) == "1x"
    assert (at["mesh 20/50"].hz, at["mesh 20/50"].sidebands_hz) == (500.0, (25.0, 10.0))
    assert (at["shaft of 50 teeth"].hz, at["blade pass"].hz, at["belt"].hz, at["2 x supply"].hz) == (10.0, 125.0, 7.0, 100.0)
    assert at["2 x supply"].sidebands_hz == (0.0,)
    # BPFO + BPFI = n, BPFO = n FTF (Norton & Karczub, as the frequencies themselves)
    assert at["BPFO de"].hz + at["BPFI de"].hz == pytest.approx(9 * 25.0)
    assert at["BPFO de"].hz == pytest.approx(9 * at["FTF de"].hz)
    assert {one.family for one in at.values()} == set(Family)


@pytest.mark.parametrize("outer_turns", [False, True])
def test_a_race_that_turns_has_sidebands_of_the_shaft_and_an_element_those_of_the_cage(outer_turns: bool) -> None:
    # R. B. Randall, J. Antoni, Mech. Syst. Signal Process. 25 (2011) 485-520 (from memory): what passes the load once a turn is
    # modulated at shaft speed, an element at cage speed, a race that stands not at all
    bearing = replace(BEARING, outer_turns=outer_turns)
    at = {one.name: one for one in expected(MachineFacts(25.0, (("", bearing),)), MEASURED)}
    turning, standing = ("BPFO", "BPFI") if outer_turns else ("BPFI", "BPFO")
    assert (at[turning].sidebands_hz, at[standing].sidebands_hz) == ((25.0,), ())
    assert at["2 BSF"].sidebands_hz == (at["FTF"].hz,)
    assert at["FTF"].sidebands_hz == ()
    assert at["BPFI" if outer_turns else "BPFO"].hz == pytest.approx(9 * at["FTF"].hz)


@pytest.mark.parametrize(("supply", "poles", "bars", "rpm"), [(50.0, 4, 44, 1480.0), (60.0, 2, 34, 3570.0)])
def test_rotor_bar_pass_and_its_sidebands_are_the_slot_harmonics(supply: float, poles: int, bars: int, rpm: float) -> None:
    # M. P. Norton, D. G. Karczub (2003) 8.4: f = fL (2 R (1 - s) / p +- 2 (n - 1)); n = 1 is R times speed, n = 2 its sidebands
    slip = 1.0 - rpm * poles / (120.0 * supply)
    facts = MachineFacts(rpm / 60.0, supply_hz=supply, poles=poles, rotor_bars=bars)
    (pass_,) = [one for one in expected(facts, MEASURED) if "bar" in one.name]
    slots = [supply * (2.0 * bars * (1.0 - slip) / poles + 2.0 * k) for k in (-1, 0, 1)]
    assert [pass_.hz + k * pass_.sidebands_hz[0] for k in (-1, 0, 1)] == pytest.approx(slots)


def test_rotor_bar_pass_has_sidebands_at_twice_the_supply() -> None:
    """44 bars at 1480 r/min and 50 Hz: 1085.333 Hz, sidebands 985.333 and 1185.333 Hz (kinematics, recomputed)."""
    (bars,) = [
        one for one in expected(MachineFacts(1480.0 / 60.0, supply_hz=50.0, rotor_bars=44), MEASURED) if "bar" in one.name
    ]
    (apart,) = bars.sidebands_hz
    assert [bars.hz - apart, bars.hz, bars.hz + apart] == pytest.approx([985.3333, 1085.3333, 1185.3333], abs=1e-4)


def test_without_a_speed_only_the_supply_and_the_belt_are_marked() -> None:
    facts = MachineFacts(bearings=(("de", BEARING),), blades=5, belt_hz=7.0, supply_hz=50.0, poles=4)
    assert [one.name for one in expected(facts, NOMINAL)] == ["belt", "2 x supply"]


def test_tolerance_is_of_speed_and_slip_and_never_finer_than_the_lines() -> None:
    speed, outer, *_ = expected(FACTS, MEASURED)
    assert tolerance(speed, 0.01) == pytest.approx(MEASURED * 25.0)
    assert tolerance(speed, 4.0) == 2.0
    assert outer.share == SLIP + MEASURED


@pytest.mark.parametrize(
    ("hz", "name"),
    [(25.0, "1x"), (50.02, "2x"), (250.0, "10x"), (500.0, "mesh 20/50"), (1000.4, "2 x mesh 20/50"), (33.3, ""), (0.3, "")],
)
def test_peaks_are_named(hz: float, name: str) -> None:
    assert name_of(hz, expected(FACTS, MEASURED), 0.1) == name


def test_a_sure_frequency_goes_before_a_vague_one() -> None:
    """At 3.6 orders both a bearing's BPFO (3.585, 2.2 % off at most) and a blade pass of 18/5 orders lie near."""
    facts = MachineFacts(10.0, (("", BEARING),), gears=(Gear(36, 10, 0.1),))
    assert name_of(36.0, expected(facts, MEASURED), 0.01) == "mesh 36/10"
    assert name_of(35.8, expected(facts, MEASURED), 0.01) == "BPFO"
    assert name_of(71.6, expected(facts, MEASURED), 0.01) == "2 x BPFO"
    assert name_of(94.26, expected(facts, MEASURED), 0.01) == "2 x (2 BSF)"
