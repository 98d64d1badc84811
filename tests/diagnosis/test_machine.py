"""All points of a machine: closed-form lines by handbook rules; no other point ever makes a fault out of nothing.

Rules: C. Scheffer, P. Girdhar, Practical Machinery Vibration Analysis and Predictive Maintenance (2004), from memory:
unbalance stands on its own rotor, misalignment shakes both sides of the coupling, 180 degrees apart, and more at the drive
ends; a line that a neighbour has stronger comes from there.
"""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from edgemon.diagnosis import Channel, MachineFacts, Record, diagnose, diagnose_machine
from edgemon.diagnosis.across import LEFT, TWICE, times_odds
from edgemon.errors import ParameterError
from edgemon.model.finding import Conclusion, Diagnosis, Fault, Finding
from tests.diagnosis.making import BEARING

FS_HZ, SHAFT_HZ, N = 6400.0, 25.0, 32768
FACTS = MachineFacts(SHAFT_HZ)
Lines = dict[float, tuple[float, float]]
"""Order to r.m.s. velocity, mm/s, and phase, degrees."""


def wave(lines: Lines, seed: int, turned: float = 0.0, fs_hz: float = FS_HZ, shaft_hz: float = SHAFT_HZ) -> np.ndarray:
    """Acceleration of lines at orders of shaft speed over weak noise, m/s2."""
    t = np.arange(N) / fs_hz
    found = 0.02 * np.random.default_rng(seed).standard_normal(N)
    for order, (mm_s, degrees) in lines.items():
        w = 2.0 * math.pi * order * shaft_hz
        found += math.sqrt(2.0) * 1e-3 * mm_s * w * np.cos(w * t + math.radians(degrees + turned))
    return found


def point(name: str, part: str, end: str, lines: Lines, seed: int = 1, axial: float = 0.1) -> Record:
    """A point with three axes: horizontal and vertical alike and a quarter turn apart, axial a share of them."""
    scaled = {order: (axial * size, phase) for order, (size, phase) in lines.items()}
    rows = np.array([wave(lines, seed), wave(lines, seed + 1, -90.0), wave(scaled, seed + 2)])
    words = (("h", "horizontal"), ("v", "vertical"), ("a", "axial"))
    return Record(rows, FS_HZ, tuple(Channel(f"{name}-{short}", word, part=part, end=end) for short, word in words))


def together(*records: Record) -> Record:
    """All points on one clock."""
    channels = tuple(channel for record in records for channel in record.channels)
    return Record(np.concatenate([record.samples for record in records]), FS_HZ, channels)


def of(found: Diagnosis, fault: Fault) -> Finding | None:
    return next((one for one in found.findings if one.fault is fault), None)


def sure(found: Diagnosis, fault: Fault) -> float:
    one = of(found, fault)
    return 0.0 if one is None else one.confidence


def said(one: Finding | None) -> str:
    assert one is not None
    return "; ".join(note.text for note in one.evidence)


UNBALANCED: Lines = {1.0: (2.0, 0.0), 2.0: (0.05, 0.0)}
MISALIGNED: Lines = {1.0: (1.5, 0.0), 2.0: (1.4, 0.0)}


def quieter(lines: Lines, share: float, turned: float = 0.0) -> Lines:
    return {order: (share * size, phase + turned) for order, (size, phase) in lines.items()}


def test_unbalance_is_named_once_where_it_is_strongest_and_surer_when_it_stands_on_one_side() -> None:
    motor, pump = point("motor", "driver", "drive", quieter(UNBALANCED, 0.25), 11), point("pump", "driven", "drive", UNBALANCED)
    alone = sure(diagnose(pump, FACTS), Fault.UNBALANCE)
    for records in ([motor, pump], [pump, motor]):
        found = diagnose_machine([(record, FACTS) for record in records])
        named = [one for one in found.findings if one.fault is Fault.UNBALANCE]
        assert [one.channel[:4] for one in named] == ["pump"]
        assert named[0].confidence == pytest.approx(times_odds(alone, TWICE), abs=0.02)  # 4 : 1, more than twice 1.5 : 1
        at = [note for note in named[0].evidence if note.text.startswith("the same line at motor")]
        assert at[0].amplitude == pytest.approx(0.5e-3, rel=0.03)
        assert "4 times that across the coupling" in said(named[0])


def test_equal_sides_speak_against_unbalance_and_for_misalignment() -> None:
    both = [point("motor", "driver", "drive", UNBALANCED, 11), point("pump", "driven", "drive", UNBALANCED)]
    found = diagnose_machine([(record, FACTS) for record in both])
    assert sure(found, Fault.UNBALANCE) < sure(diagnose(both[1], FACTS), Fault.UNBALANCE)
    both = [point("motor", "driver", "drive", MISALIGNED, 11), point("pump", "driven", "drive", MISALIGNED)]
    found = diagnose_machine([(record, FACTS) for record in both])
    assert sure(found, Fault.MISALIGNMENT) > sure(diagnose(both[1], FACTS), Fault.MISALIGNMENT)
    assert "differs by 1 to 1" in said(of(found, Fault.MISALIGNMENT))


def test_misalignment_on_one_side_only_is_doubted() -> None:
    pump = point("pump", "driven", "drive", MISALIGNED)
    motor = point("motor", "driver", "drive", quieter(MISALIGNED, 0.1), 11)
    found = diagnose_machine([(pump, FACTS), (motor, FACTS)])
    assert 0.0 < sure(found, Fault.MISALIGNMENT) < sure(diagnose(pump, FACTS), Fault.MISALIGNMENT)


@pytest.mark.parametrize(("share", "surer"), [(0.5, True), (2.0, False)])
def test_misalignment_is_largest_at_the_drive_end(share: float, surer: bool) -> None:
    near, far = point("de", "driver", "drive", MISALIGNED), point("nde", "driver", "non-drive", quieter(MISALIGNED, share), 11)
    found = diagnose_machine([(near, FACTS), (far, FACTS)])
    alone = max(sure(diagnose(record, FACTS), Fault.MISALIGNMENT) for record in (near, far))
    assert (sure(found, Fault.MISALIGNMENT) > alone) is surer


@pytest.mark.parametrize(("apart", "factor"), [(180.0, 2.0), (90.0, 1.0), (0.0, 0.5)])
def test_phase_across_the_coupling_is_used_where_channels_share_a_clock(apart: float, factor: float) -> None:
    """Odds by the cosine, closed form; the same points without a common clock have no phase."""
    pump = point("pump", "driven", "drive", quieter(MISALIGNED, 0.6))
    motor = point("motor", "driver", "drive", quieter(MISALIGNED, 0.6, apart), 11)
    apart_clocks = sure(diagnose_machine([(pump, FACTS), (motor, FACTS)]), Fault.MISALIGNMENT)
    found = diagnose(together(pump, motor), FACTS)
    assert sure(found, Fault.MISALIGNMENT) == pytest.approx(times_odds(apart_clocks, factor), abs=0.03)
    assert f"{apart:.0f} degrees apart" in said(of(found, Fault.MISALIGNMENT)).replace("179", "180").replace("1 deg", "0 deg")


@pytest.mark.parametrize(("times", "left"), [(6.0, LEFT), (0.5, 1.0)])
def test_a_line_that_a_neighbour_has_stronger_comes_from_elsewhere(times: float, left: float) -> None:
    pump, next_door = point("pump", "driven", "drive", UNBALANCED), point("fan", "", "", quieter(UNBALANCED, times), 21)
    found = diagnose_machine([(pump, FACTS)], neighbours=[("Fan 2", next_door, FACTS)])
    alone = sure(diagnose(pump, FACTS), Fault.UNBALANCE)
    assert sure(found, Fault.UNBALANCE) == pytest.approx(left * alone, abs=0.01)
    assert ("elsewhere" in said(of(found, Fault.UNBALANCE))) is (times > 1.0)
    assert (found.verdict is Conclusion.FAULT) is (left == 1.0)


def test_a_point_at_another_speed_or_with_a_dead_sensor_is_not_compared() -> None:
    pump = point("pump", "driven", "drive", UNBALANCED)
    motor = point("motor", "driver", "drive", UNBALANCED, 11)
    slow = replace(motor, fs_hz=0.8 * FS_HZ)
    found = diagnose_machine([(pump, FACTS)], others=[(slow, MachineFacts(0.8 * SHAFT_HZ))])
    assert any("another speed: motor-h" in remark for remark in found.remarks)
    assert "across the coupling" not in said(of(found, Fault.UNBALANCE))
    dead = replace(motor, samples=np.zeros_like(motor.samples))
    found = diagnose_machine([(pump, FACTS)], others=[(dead, FACTS)])
    assert sure(found, Fault.UNBALANCE) == pytest.approx(sure(diagnose(pump, FACTS), Fault.UNBALANCE))
    assert sure(found, Fault.SENSOR) >= 0.5


def test_sizes_that_mean_nothing_are_not_compared() -> None:
    motor, pump = (point(name, part, "drive", UNBALANCED) for name, part in (("motor", "driver"), ("pump", "driven")))
    blind = replace(motor, channels=tuple(replace(channel, calibrated=False) for channel in motor.channels))
    found = diagnose_machine([(pump, FACTS), (blind, FACTS)])
    here = next(one for one in found.findings if one.fault is Fault.UNBALANCE)
    assert "across" not in said(here)


def test_records_that_cannot_be_one_machine_are_refused() -> None:
    pump = point("pump", "driven", "drive", UNBALANCED)
    for asked in ([], [(pump, FACTS), (pump, FACTS)]):
        with pytest.raises(ParameterError):
            diagnose_machine(asked)


BAD = st.sampled_from(["noise", "dc", "constant", "zero", "clipped", "one dead axis", "huge", "tiny", "spike", "ramp"])


@settings(max_examples=60, deadline=None)
@given(
    bad=BAD,
    n=st.sampled_from([2, 511, 512, 700, 4096, 9973]),
    fs_hz=st.sampled_from([400.0, 997.3, 6400.0, 51200.0, 200000.0]),
    speed_hz=st.none() | st.floats(0.05, 900.0),
    seed=st.integers(0, 99),
    both=st.booleans(),
)
def test_whatever_comes_is_answered_with_a_reason(
    bad: str, n: int, fs_hz: float, speed_hz: float | None, seed: int, both: bool
) -> None:
    """Never an exception or a warning; where no fault is supported and not all could be looked for, the remarks say why."""
    rows = np.random.default_rng(seed).standard_normal((3, n))
    made = {
        "noise": rows,
        "dc": rows + 1e4,
        "constant": np.full_like(rows, 3.0),
        "zero": 0.0 * rows,
        "clipped": np.clip(rows, -0.4, 0.4),
        "one dead axis": rows * np.array([[1.0], [0.0], [1.0]]),
        "huge": 1e9 * rows,
        "tiny": 1e-12 * rows,
        "spike": rows * (1.0 + 1e6 * (np.arange(n) == n // 2)),
        "ramp": rows + np.linspace(0.0, 1e3, n),
    }[bad]
    channels = (Channel("h", "horizontal", part="driver"), Channel("v", "vertical", part="driven"), Channel("a", "axial"))
    facts = MachineFacts(speed_hz, (("", BEARING),), blades=6, belt_hz=7.0, supply_hz=50.0, poles=2)
    record = Record(made, fs_hz, channels)
    other = replace(record, channels=tuple(replace(channel, name=f"other {channel.name}") for channel in channels))
    found = diagnose_machine([(record, facts)], others=[(other, facts)] if both else [], neighbours=[("next", record, facts)])
    assert all(math.isfinite(one.confidence) and 0.0 <= one.confidence <= 1.0 and one.evidence for one in found.findings)
    assert found.findings or found.remarks or found.verdict is Conclusion.NO_FAULT_FOUND
    if found.verdict is Conclusion.CANNOT_TELL:
        assert found.remarks or found.findings
    if n < 512:
        assert found.verdict is Conclusion.CANNOT_TELL
