"""Findings with their evidence, what else it could be, cautions, the analyst's words and the signature."""

from collections.abc import Iterator

from edgemon.model.finding import SUPPORTED, Diagnosis, Finding
from edgemon.model.observation import observed
from edgemon.report.document import Blanks, Block, Bullets, Facts, Heading, Paragraph, Section
from edgemon.report.port import Material, SensorMaterial
from edgemon.report.view.standing import Assessment
from edgemon.report.view.verdict import finding_line, paragraphs
from edgemon.report.view.words import FAULT_WORDS, SHOWN_UNITS, capital, fault_name, when

CAUTIONS = (
    "edgemon monitors; it does not protect. It must not be the only means of stopping a machine or warning a person.",
    "A diagnosis is a hypothesis with evidence. A qualified vibration analyst confirms it before work is done.",
    "Limits from a standard are a starting point for a competent person, subject to the maker's instructions and local codes.",
    "Work on the machine and its sensors follows local codes, isolation and permit to work, by licensed people; machines may "
    "be hot, live, high up, or in a possibly explosive atmosphere.",
    "Values taken at different speed or load cannot be compared directly.",
)
_ALWAYS = (
    "The measurement itself: a loose, moved or exchanged sensor; compare with a hand-held instrument at the same place.",
    "The process: another speed, load, pressure, suction condition or temperature than before.",
    "A neighbouring machine, pipework or the foundation that shakes this one.",
    "Work done lately: alignment, new parts, lubrication, bolts.",
)
_OWN = ("verdict", "recommendation", "by when", "sign-off", "signature")


def findings_section(material: Material, assessment: Assessment) -> Section:
    """Make the section of findings; says plainly where nothing was found, or nobody looked."""
    blocks: list[Block] = []
    for sensor in material.sensors:
        diagnosis = sensor.diagnosis
        if diagnosis is None:
            continue
        points = ", ".join(point.name for point in material.machine.points if point.sensor == sensor.sensor.id)
        blocks.append(Heading(f"{points}: {diagnosis.verdict.value.replace('-', ' ')}"))
        blocks.append(Paragraph(_looked_at(sensor, diagnosis)))
        supported = [finding for finding in diagnosis.findings if finding.confidence >= SUPPORTED]
        for finding in supported:
            blocks.extend(_finding(finding))
        if not supported:
            blocks.append(Paragraph("No fault pattern stands out."))
        blocks += [Bullets(tuple(capital(remark) for remark in diagnosis.remarks))] if diagnosis.remarks else []
    if not blocks:
        blocks.append(
            Paragraph("No diagnosis is part of this report: what follows rests on levels, limits, and the spectra as shown.")
        )
    return Section("What was found", tuple(blocks))


def _looked_at(sensor: SensorMaterial, diagnosis: Diagnosis) -> str:
    at = f"capture of {when(sensor.diagnosed_at)}" if sensor.diagnosed_at is not None else "time not told"
    speed = "shaft speed not known"
    if diagnosis.speed_hz is not None:
        sure = "" if diagnosis.speed_confidence is None else f", confidence {diagnosis.speed_confidence:.2f}"
        basis = "" if diagnosis.speed_basis in ("", "given") else f": {diagnosis.speed_basis}"
        basis = f" ({diagnosis.speed_origin.value}{basis}{sure})"
        speed = f"shaft speed used: {60.0 * diagnosis.speed_hz:.0f} r/min{basis}"
    return f"Sensor {sensor.sensor.id}, {at}; {speed}."


def _finding(finding: Finding) -> Iterator[Block]:
    yield Paragraph(f"{finding_line(finding)}.", strong=True)
    yield Paragraph(FAULT_WORDS[finding.fault][1])
    yield Bullets(tuple(capital(observed(evidence, SHOWN_UNITS)) for evidence in finding.evidence))
    rows = [("Checks and actions", capital("; ".join(finding.actions)))] if finding.actions else []
    rows.append(("Rule and source", f"{finding.rule}; {finding.source}"))
    yield Facts(tuple(rows))


def alternatives_section(assessment: Assessment) -> Section:
    """Say what else it could be: by the findings' own alternatives, and what always must be ruled out."""
    named = {finding.fault for finding in assessment.findings}
    others = dict.fromkeys(fault for finding in assessment.findings for fault in finding.alternatives if fault not in named)
    items = tuple(f"{capital(fault_name(fault))}: {FAULT_WORDS[fault][1]}" for fault in others)
    return Section("What else it could be", (Bullets((*items, *_ALWAYS)),))


def cautions_section(material: Material) -> Section:
    """Make the cautions; the first one where the data is simulated."""
    first = ("All data in this report is SIMULATED. Nothing in it may be acted on.",) if material.sim else ()
    return Section("Cautions", (Bullets((*first, *CAUTIONS)),))


def analyst_section(material: Material) -> Section:
    """Take in the analyst's own text and signature, or leave room for both."""
    analyst = material.analyst
    blocks: list[Block] = []
    for heading, texts in analyst.parts:
        if heading.casefold() in _OWN or not texts:
            continue
        blocks += [Heading(heading)] if heading else []
        blocks += paragraphs(texts)
    if not blocks:
        blocks.append(Paragraph(f"No remarks were written. They are taken from the text file {analyst.path}."))
        blocks.append(Blanks(("Remarks", "", "")))
    blocks.append(Heading("Sign-off"))
    signed = analyst.of("sign-off", "signature")
    blocks += paragraphs(signed)
    blocks.append(Blanks(("Name and qualification", "Date", "Signature")))
    return Section("The analyst's remarks and sign-off", tuple(blocks))
