"""The figures of alarm performance as lines of text, for a terminal and for the board."""

from collections.abc import Iterable

from edgemon.board.view.figures import stamp
from edgemon.model.instant import Instant
from edgemon.model.performance import Figure, Performance, Share

_MOST = 10
_TITLE, _TARGET = 36, 22
"""Cells of a title and of a target at least; the figures of several gateways have longer titles."""


def lines(found: Performance, sources: bool = True) -> list[str]:
    """Give the figures as a table, then what to look at; without its sources the table takes 80 columns."""
    left_out = [
        f"{count} {what}"
        for count, what in (
            (found.after_restart, "said again after a start"),
            (found.other, "real" if found.sim else "simulated"),
            (found.not_announced, "alerts that called nobody"),
        )
        if count
    ]
    wide = max([_TITLE, *(len(figure.title) for figure in found.figures)])
    text = [
        f"{stamp(found.since)} to {stamp(found.until)} UTC" + ("  SIMULATED" if found.sim else ""),
        f"{found.annunciations} annunciation{'' if found.annunciations == 1 else 's'}"
        + (f"; not counted: {', '.join(left_out)}" if left_out else ""),
        *found.remarks,
        "",
        f"{'figure':{wide}} {'value':>9}  {'asked for':{_TARGET}} {'':9}{'  source' if sources else ''}".rstrip(),
        *(_row(figure, wide, sources) for figure in found.figures),
    ]
    text += _shares("by severity", found.severities)
    text += _shares("announced most often", found.contributors)
    text += _shares("chattering (3 or more within 60 s)", found.chattering)
    text += _shares("fleeting (shorter than 10 s)", found.fleeting)
    floods = [f"{stamp(one.begin)} to {stamp(one.end)} UTC: {one.count}" for one in found.floods]
    text += _listed("floods", floods)
    stale = [f"{one.alarm} since {stamp(one.since)}, {_end(one.until)}" for one in found.stale]
    return text + _listed("stale (longer than 24 h)", stale)


def _row(one: Figure, wide: int, sources: bool) -> str:
    value = "-" if one.value is None else f"{one.value:.3g} %" if one.unit == "%" else _number(one.value)
    return (
        f"{one.title:{wide}} {value:>9}  {one.target:{_TARGET}} {one.verdict:9}{f'  {one.source}' if sources else ''}".rstrip()
    )


def _number(value: float) -> str:
    return f"{value:.3g}" if abs(value) < 1000.0 else f"{value:.0f}"


def _shares(title: str, shares: Iterable[Share]) -> list[str]:
    return _listed(title, [f"{one.count:>7}  {100.0 * one.share:5.1f} %  {one.name}" for one in shares])


def _listed(title: str, rows: list[str]) -> list[str]:
    more = [f"  and {len(rows) - _MOST} more"] if len(rows) > _MOST else []
    return ["", title, *(f"  {row}" for row in rows[:_MOST]), *more] if rows else []


def _end(until: Instant | None) -> str:
    return "still there" if until is None else f"until {stamp(until)}"
