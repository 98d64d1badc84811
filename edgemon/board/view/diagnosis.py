"""What the newest diagnosis of a point came to, in a few rows: a hypothesis with its strongest evidence, never a verdict."""

from edgemon.board.theme import Look, Role
from edgemon.board.view import figures
from edgemon.board.view.cells import Row, Span, fit_row, safe, wrap
from edgemon.model.finding import Conclusion, Finding
from edgemon.model.instant import Instant
from edgemon.model.observation import observed
from edgemon.model.snapshot import DiagnosisView


def diagnosis(made: DiagnosisView | None, now: Instant, look: Look, width: int) -> list[Row]:
    """Write a diagnosis; no row where there is none."""
    if made is None:
        return []
    old = figures.age(made.t, now)
    if made.verdict == Conclusion.FAULT and made.findings:
        best = made.findings[0]
        others = f"; {len(made.findings) - 1} weaker" if len(made.findings) > 1 else ""
        spans = [
            Span(f" hypothesis, {old} old: ", Role.DIM),
            Span(named(best), Role.BRIGHT),
            Span(f", confidence {100 * best.confidence:.0f} %{others}", Role.TEXT),
            Span("; for an analyst to confirm", Role.DIM),
        ]
        under = safe(observed(best.evidence[0]), 400) if best.evidence else ""
    else:
        spans = [Span(f" diagnosis, {old} old: ", Role.DIM), Span(safe(made.verdict.replace("-", " ")), Role.BRIGHT)]
        under = safe(made.remarks[0], 400) if made.remarks else ""
    first, *rest = wrap(under, max(10, width - 4)) or [""]
    lines = [line for line in (first, " ".join(rest)) if line]  # what the second row has no room for ends in an ellipsis
    return [
        fit_row(spans, width, look.glyphs.ellipsis),
        *(fit_row([Span(f"   {line}", Role.TEXT)], width, look.glyphs.ellipsis) for line in lines),
    ]


def named(finding: Finding) -> str:
    """Write what a finding names as people do."""
    detail = f" ({safe(finding.detail)})" if finding.detail else ""
    return f"{safe(finding.fault.replace('-', ' '))}{detail}"
