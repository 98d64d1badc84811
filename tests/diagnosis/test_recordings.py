"""Open recordings against their published condition; what is known not to be reached is listed here by name.

Grades: W. A. Smith, R. B. Randall, Mech. Syst. Signal Process. 64-65 (2015) 100-131, table 4: Y1 and Y2 diagnosable.
"""

from functools import cache
from pathlib import Path

import numpy as np
import pytest

from edgemon.diagnosis import Record, diagnose
from edgemon.model.finding import Conclusion, Diagnosis, Fault
from tests.support.diagnosing import BEARING, MEANS, Case, cases, folder, outcome, plain_envelope

pytestmark = [
    pytest.mark.recordings,
    pytest.mark.slow,
    pytest.mark.skipif(folder() is None, reason="EDGEMON_RECORDINGS names no folder of open recordings"),
]

NOT_REACHED = {
    "cwru-121-re": "graded Y2 after discrete/random separation and kurtogram; here weak lines of both races and the cage",
}
"""Graded diagnosable, but answered `cannot-tell`."""
CLEARED = {"cwru-97-ok", "hit-a-normal-600", "hit-a-normal-1200"}
"""Healthy, and answered `no-fault-found`. Of the others the bearing or the baseline of the gears is not known, or the sizes are
not while 2x or many multiples of shaft speed stand out, or the cage swells the noise."""


@cache
def answers() -> list[tuple[Case, Diagnosis, str]]:
    where = folder()
    assert where is not None
    found = []
    for case in cases(where):
        answer = diagnose(case.record, case.facts)
        best = answer.findings[0].fault if answer.findings else None
        found.append((case, answer, outcome(case.condition, answer.verdict, best)))
    return found


def test_what_the_benchmark_calls_diagnosable_is_named() -> None:
    graded = [(case, word) for case, _, word in answers() if case.grade in ("Y1", "Y2")]
    assert len(graded) >= 15
    assert {case.id for case, word in graded if word != "right"} == set(NOT_REACHED)
    assert all(word == "cannot tell" for case, word in graded if case.id in NOT_REACHED)


def test_no_healthy_record_is_accused() -> None:
    healthy = [(case, answer) for case, answer, _ in answers() if case.condition == "healthy"]
    assert len(healthy) >= 11
    assert [case.id for case, answer in healthy if answer.verdict is Conclusion.FAULT] == []


def test_no_fault_is_named_that_is_not_there() -> None:
    assert [case.id for case, _, word in answers() if word == "wrong"] == []


def test_whoever_cannot_tell_says_why() -> None:
    unsure = [(case.id, answer.remarks) for case, answer, _ in answers() if answer.verdict is Conclusion.CANNOT_TELL]
    assert len(unsure) >= 30
    assert [name for name, remarks in unsure if not remarks] == []


def test_only_what_would_have_shown_a_defect_is_cleared() -> None:
    """No faulty record is: in two, graded N1 and not graded, nothing shows, but other rhythms would hide a defect."""
    cleared = {case.id: case for case, answer, _ in answers() if answer.verdict is Conclusion.NO_FAULT_FOUND}
    assert set(cleared) == CLEARED
    assert all(case.condition == "healthy" for case in cleared.values())
    hidden = {case.id for case, answer, _ in answers() if any("would hide" in remark for remark in answer.remarks)}
    assert {"cwru-3001-ir", "cwru-282-re"} <= hidden


SHOWN = {
    "inner-race-heavy": (1200, 2400),
    "inner-race-light": (2400,),
    "outer-race-heavy": (1200, 2400),
    "rolling-element-heavy": (2400,),
    **{f"unbalance-{size}": (1200, 2400) for size in ("verylight", "light", "heavy", "veryheavy")},
}
"""What is named of the third rig, and at which speeds, r/min; of the rest no line stands out beyond chance."""


def test_other_sources_with_lines_are_named() -> None:
    """Sets without a grade: every fault of two rigs whose owners show its lines, and of a third those of SHOWN."""
    named = {case.id for case, _, word in answers() if word == "right" and case.condition != "healthy"}
    shown = [case.id for case, _, _ in answers() if case.source in ("mfpt", "hit") and case.condition != "healthy"]
    assert len(shown) >= 10
    wanted = {*shown, *(f"mems-{rpm}-00lb-{name}" for name, speeds in SHOWN.items() for rpm in speeds)}
    assert wanted <= named


def parts(record: Record) -> tuple[Record, Record]:
    """First and second half."""
    cut = np.split(record.samples, [record.samples.shape[1] // 2], axis=1)
    first, second = (Record(part, record.fs_hz, record.channels, record.quantity) for part in cut)
    return first, second


@pytest.mark.parametrize("is_like", [True, False])
def test_gears_need_a_baseline_on_the_open_gearbox(is_like: bool) -> None:
    """Alone none is accused or cleared; against first halves of healthy ones, of the same load or all, each is right."""
    geared = [case for case, _, _ in answers() if case.facts.gears]
    alone = [answer for case, answer, _ in answers() if case.facts.gears]
    assert len(geared) >= 6
    assert all(answer.verdict is Conclusion.CANNOT_TELL for answer in alone)
    healthy = {case.id.rpartition("-")[2]: parts(case.record) for case in geared if case.condition == "healthy"}
    for case in geared:
        load = case.id.rpartition("-")[2]
        before = [(first, case.facts) for name, (first, _) in healthy.items() if name == load or not is_like]
        found = diagnose(healthy[load][1] if case.condition == "healthy" else case.record, case.facts, before)
        named = found.verdict is Conclusion.FAULT and found.findings[0].fault is Fault.GEAR
        assert named is (case.condition != "healthy"), case.id


def test_better_than_a_plain_envelope_spectrum() -> None:
    """The textbook's rule on the same records names faults that are not there in a third of them."""
    theirs = [outcome(case.condition, *plain_envelope(case.record, case.facts)) for case, _, _ in answers()]
    ours = [word for _, _, word in answers()]
    assert ours.count("right") > theirs.count("right")
    assert ours.count("wrong") < theirs.count("wrong") / 10


def test_the_condition_is_not_read(tmp_path: Path) -> None:
    """The same samples without anything but the allowed facts, under another name, get the same answer."""
    import json
    import shutil

    from edgemon.cli.recordings import Given, read_recording

    where = folder()
    assert where is not None
    allowed = ("fs_hz", "channels", "quantity", "shaft_speed_rpm", "bearing", "bearing_fan_end", "gear")
    with np.load(where / "cwru-130-or.npz", allow_pickle=False) as held:
        fields = {name: held[name] for name in held.files}
    meta = {key: value for key, value in json.loads(str(fields["meta"])).items() if key in allowed}
    np.savez(tmp_path / "plain.npz", **(fields | {"meta": np.array(json.dumps(meta))}))
    shutil.copy(where / "cwru-130-or.npz", tmp_path / "healthy.npz")
    first, second = (diagnose(*read_recording(tmp_path / name, Given())) for name in ("plain.npz", "healthy.npz"))
    assert first == second
    assert MEANS["outer_race"] <= BEARING
