from dataclasses import replace

from edgemon.board.theme import Look
from edgemon.board.view.cells import row_text
from edgemon.board.view.diagnosis import diagnosis
from edgemon.model.finding import Evidence, Fault, Finding
from edgemon.model.snapshot import DiagnosisView
from tests.board.driving import plant
from tests.support import sites

FINDING = Finding(
    Fault.OUTER_RACE,
    0.82,
    "pump-de-h",
    (Evidence("lines at 178 Hz and two harmonics stand 14 times above their surroundings"),),
    "rule",
    "source",
    (),
    (),
    detail="stage 2",
)
MADE = DiagnosisView(sites.NOW - 75.0, "fault", (FINDING, replace(FINDING, fault=Fault.LOOSENESS, confidence=0.5)), (), "")


def text(made: DiagnosisView | None, width: int = 200) -> list[str]:
    return [row_text(row).rstrip() for row in diagnosis(made, sites.NOW, Look(), width)]


def test_the_best_hypothesis_is_named_with_its_evidence_and_who_is_to_confirm_it() -> None:
    first, second = text(MADE)
    assert first == " hypothesis, 1m old: bearing outer race (stage 2), confidence 82 %; 1 weaker; for an analyst to confirm"
    assert "lines at 178 Hz" in second


def test_a_verdict_without_a_fault_is_said_with_its_reason() -> None:
    assert text(replace(MADE, verdict="cannot-tell", findings=(), remarks=("no speed is known",))) == [
        " diagnosis, 1m old: cannot tell",
        "   no speed is known",
    ]
    assert text(replace(MADE, verdict="no-fault-found", findings=())) == [" diagnosis, 1m old: no fault found"]
    assert text(None) == []


async def test_the_machine_screen_shows_the_diagnosis_of_the_point_selected_and_the_name_of_the_area() -> None:
    async with plant((160, 40)) as one:
        machine = sites.machine(12, True)
        points = (machine.points[0], replace(machine.points[1], diagnosis=MADE))
        await one.hear(sites.snapshot([replace(machine, points=points)]), after=1.0)
        await one.press("enter")
        assert "RO hall" in one.lines("body")[1]
        assert "bearing outer race (stage 2)" in one.text()
        await one.press("home")
        assert "bearing outer race" not in one.text()
