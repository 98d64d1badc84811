"""The handover page as rows."""

from edgemon.board.theme import Look, Role
from edgemon.board.view import figures
from edgemon.board.view.cells import Row, Span, blank, fit_row, safe, width_of, wrap
from edgemon.model.shift import HandoverView


def page(shown: HandoverView | None, look: Look, width: int) -> list[Row]:
    """Write the page; where it has not come yet, say so."""
    if shown is None:
        return [fit_row([Span(" Shift: the page is being written", Role.BRIGHT)], width)]
    whom = f"taken over by {safe(shown.taken_by)}" if shown.taken_by else "nobody has taken over yet"
    head = f" Shift since {figures.stamp(shown.since)} UTC, {whom}"
    rows = [fit_row([Span(head, Role.BRIGHT)], width, look.glyphs.ellipsis)]
    for block in shown.blocks:
        title = safe(block.title)
        rule = look.glyphs.rule * max(0, width - width_of(title) - 2)
        rows += [blank(width), fit_row([Span(f" {title} ", Role.BRIGHT), Span(rule, Role.RULE)], width, look.glyphs.ellipsis)]
        for line in block.lines:
            first, *rest = wrap(safe(line, 1000), max(10, width - 6)) or [""]
            rows += [fit_row([Span(f"  {first}")], width), *(fit_row([Span(f"     {one}")], width) for one in rest)]
    return rows
