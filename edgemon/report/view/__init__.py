"""What a report says, in the order a reader needs it: verdict first, then the evidence, then how far to trust it; pure."""

from edgemon.report.document import Document
from edgemon.report.port import Material
from edgemon.report.view.closing import alternatives_section, analyst_section, cautions_section, findings_section
from edgemon.report.view.course import course_section
from edgemon.report.view.figures import evidence_sections
from edgemon.report.view.standing import assess
from edgemon.report.view.tables import history_section, limits_section, measured_section, quality_section
from edgemon.report.view.verdict import verdict_section
from edgemon.report.view.words import stamp


def document_of(material: Material) -> Document:
    """Make the report out of what was collected.

    Parameters
    ----------
    material : Material
        Values and limits in the house's units; shown in the unit of the limit.

    Returns
    -------
    Document
        Eleven kinds of sections; the first is always the verdict.
    """
    assessment = assess(material)
    made = f"made {stamp(material.made_at)} UTC by edgemon {material.version}"
    period = f"{stamp(material.since)} to {stamp(material.until)} UTC"
    return Document(
        title=f"Condition report: {material.machine.name}",
        subtitle=f"{material.site}, {material.area}; {period}",
        head=f"{material.site} · {material.machine.name} · {period}",
        sim=material.sim,
        identity=f"{material.machine.id}, {made}, settings {material.settings}",
        sections=(
            verdict_section(material, assessment),
            findings_section(material, assessment),
            *evidence_sections(material, assessment),
            limits_section(material),
            course_section(material),
            alternatives_section(assessment),
            quality_section(material, assessment),
            history_section(material),
            measured_section(material),
            cautions_section(material),
            analyst_section(material),
        ),
    )
