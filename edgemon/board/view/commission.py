"""The commissioning state: a row a point with what is missing, and the point selected in full."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import zip_longest

from edgemon.board.theme import Look, Role
from edgemon.board.view.cells import Row, Span, blank, fit, fit_row, row_width, safe, select, width_of, wrap
from edgemon.board.view.figures import stamp
from edgemon.model.command import Person
from edgemon.model.command import Role as PersonRole
from edgemon.model.commission import CheckView, CommissionRow, CommissionView, SignView, Stand
from edgemon.model.signoff import REMARK_LONGEST


@dataclass(frozen=True, slots=True)
class Sign:
    """How a check that stands so is shown."""

    glyph: str
    ascii: str
    role: Role


SIGNS = {
    Stand.OPEN: Sign("○", "-", Role.BRIGHT),
    Stand.DONE: Sign("●", "+", Role.DIM),
    Stand.NOT_NEEDED: Sign("·", ".", Role.DIM),
}
_TWO_COLUMNS = 110
"""Cells from which on the checks of the point selected stand in two columns."""
_CHECK = 14
"""Cells for the name of a check."""
_OPEN = "open: "
_MORE = 14
"""Cells kept for how many rows lie below."""


def sign(stand: Stand, look: Look) -> Span:
    """Draw how a check stands, in one cell."""
    one = SIGNS[stand]
    return Span(one.ascii if look.glyphs.plain else one.glyph, one.role)


def head(found: CommissionView, look: Look, width: int) -> Row:
    """Write the summary, and how many points lack what."""
    counts = Counter(check.name for row in found.rows for check in row.missing)
    lacking = [f"{name} {count}" for name, count in counts.most_common()]
    start = Span(f" Commissioning: {found.summary}   ", Role.BRIGHT)
    room = width - width_of(start.text) - width_of(_OPEN) - _MORE
    named = _named(lacking, room) if lacking else "nothing is open"
    told = (
        (Span(_OPEN, Role.DIM), Span(named, Role.TEXT))
        if lacking and named.startswith(lacking[0])
        else (Span(named, Role.DIM),)
    )
    return fit_row([start, *told], width, look.glyphs.ellipsis)


def row(one: CommissionRow, name: int, look: Look, width: int, selected: bool) -> Row:
    """Write one point: how many checks are done, and the names of those that are open as far as there is room."""
    stand = Stand.OPEN if one.missing else Stand.DONE
    done = f"{len(one.checks) - len(one.missing):>2} of {len(one.checks)}"
    spans = [
        Span(look.glyphs.cursor if selected else " ", Role.BRIGHT),
        sign(stand, look),
        Span(f" {fit(title(one), name, look.glyphs.ellipsis)} ", Role.BRIGHT if one.missing else Role.TEXT),
        Span(f"{done}  ", Role.DIM),
    ]
    if one.sign is not None:
        spans.append(Span("signed  " if one.sign.holds else "withdrawn  ", Role.TEXT if one.sign.holds else Role.BRIGHT))
    names = [check.name for check in one.missing]
    said = _named(names, width - row_width(tuple(spans))) if names else "complete"
    spans.append(Span(said, Role.TEXT if names else Role.DIM))
    fitted = fit_row(spans, width, look.glyphs.ellipsis)
    return select(fitted) if selected else fitted


def title(one: CommissionRow) -> str:
    """Name a point with its machine."""
    return f"{safe(one.machine_name)}, {safe(one.point_name)}"


def _named(names: Sequence[str], room: int) -> str:
    """Name what is open, whole names only; the rest is counted."""
    said = ""
    for number, name in enumerate(names):
        rest = len(names) - number - 1
        longer = f"{said}, {name}" if said else name
        if width_of(longer) + (width_of(f" and {rest} more") if rest else 0) > room:
            return f"{said} and {rest + 1} more" if said else f"{len(names)} checks open"
        said = longer
    return said


def below(one: CommissionRow | None, look: Look, width: int) -> list[Row]:
    """Write every check of the point selected, with its sign and its words; what is open first."""
    if one is None:
        return []
    rule = look.glyphs.rule * max(0, width - width_of(title(one)) - 3)
    line = fit_row([Span(f" {title(one)} ", Role.BRIGHT), Span(rule, Role.RULE)], width, look.glyphs.ellipsis)
    stand = max((len(check.stand) for check in one.checks), default=4)
    top = [line, *_signed(one.sign, look, width)]
    if width < _TWO_COLUMNS:
        return [*top, *(line for check in one.checks for line in _check(check, stand, look, width))]
    half, cell = (len(one.checks) + 1) // 2, width // 2
    left = [line for check in one.checks[:half] for line in _check(check, stand, look, cell)]
    right = [line for check in one.checks[half:] for line in _check(check, stand, look, width - cell)]
    beside = zip_longest(left, right)
    return [*top, *((*(one or blank(cell)), *(other or blank(width - cell))) for one, other in beside)]


def _signed(sign: SignView | None, look: Look, width: int) -> list[Row]:
    """Say who answers for the point, or why nobody does any more."""
    if sign is None:
        return [fit_row([Span(" not signed off", Role.DIM)], width, look.glyphs.ellipsis)]
    who = f"{safe(sign.by, 63)}, {stamp(sign.at)}"
    if sign.withdrawn_at is None:
        left = f", left open: {', '.join(safe(one, 80) for one in sign.left_open)}" if sign.left_open else ""
        said, role = f"signed off by {who}{left}" + (f": {safe(sign.remark, REMARK_LONGEST)}" if sign.remark else ""), Role.TEXT
    else:
        by = f" by {safe(sign.withdrawn_by, 63)}" if sign.withdrawn_by else ""
        why = safe(sign.withdrawn_because, REMARK_LONGEST)
        said, role = f"sign-off of {who} withdrawn {stamp(sign.withdrawn_at)}{by}: {why}", Role.BRIGHT
    return [fit_row([Span(f" {line}", role)], width, look.glyphs.ellipsis) for line in wrap(said, max(8, width - 2))]


def forbidden(person: Person) -> str:
    """Say why somebody may not sign points off; empty if they may."""
    may = person.role is PersonRole.ENGINEER
    return "" if may else f"You are {safe(person.name)} ({person.role}): points are signed off by engineers."


def _check(check: CheckView, stand: int, look: Look, width: int) -> list[Row]:
    """Write one check; what it says goes on in the rows below."""
    role = SIGNS[check.stand].role
    start = [
        Span(" "),
        sign(check.stand, look),
        Span(f" {check.name:{_CHECK}}", role),
        Span(f"{check.stand:{stand}}  ", role),
    ]
    indent = row_width(tuple(start))
    lines = wrap(safe(check.words, 500), max(8, width - indent - 1)) or [""]
    heads = [start, *[[Span(" " * indent)]] * (len(lines) - 1)]
    return [fit_row([*head, Span(line, role)], width, look.glyphs.ellipsis) for head, line in zip(heads, lines, strict=True)]
