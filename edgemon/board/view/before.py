"""A spectrum as it was while the point's baseline was learnt: between which values each line lay, to set today's against."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from edgemon.board.theme import Look
from edgemon.board.view import figures
from edgemon.model.instant import Instant
from edgemon.model.look import SpectrumView
from edgemon.model.outlook import BaselineView

CAPTURES = 5
"""Captures of the baseline looked at: each is a spectrum taken in the daemon. House choice."""
_SLACK_S = 1.0


@dataclass(frozen=True, slots=True)
class Before:
    """Lowest and highest amplitude of each line over some captures of the baseline."""

    low: tuple[float, ...]
    high: tuple[float, ...]
    captures: int
    first_at: Instant
    last_at: Instant


def approved(known: Iterable[BaselineView], machine: str, point: str) -> BaselineView | None:
    """Give the newest approved baseline of a point, whichever level it is of."""
    of_point = [one for one in known if (one.machine, one.point, one.state) == (machine, point, "approved")]
    return max(of_point, key=lambda one: one.approved_at or 0.0, default=None)


def instants(one: BaselineView) -> list[Instant]:
    """Give instants spread evenly over the time in which a baseline was learnt."""
    if one.first_at is None or one.last_at is None:
        return []
    step = (one.last_at - one.first_at) / (CAPTURES - 1)
    return [one.first_at + k * step for k in range(CAPTURES - 1)] + [one.last_at]


def before(shown: SpectrumView, found: Sequence[SpectrumView], baseline: BaselineView) -> Before | None:
    """Give what the lines lay between; None where no capture of that time is stored any more, or none has the same lines."""
    fit: dict[tuple[str, Instant], SpectrumView] = {}
    for one in found:
        t = one.source.t
        if t is None or baseline.first_at is None or baseline.last_at is None:
            continue
        inside = baseline.first_at - _SLACK_S <= t <= baseline.last_at + _SLACK_S
        if inside and _is_like(one, shown) and (one.source.capture, t) != (shown.source.capture, shown.source.t):
            fit[one.source.capture, t] = one
    if not fit:
        return None
    lines = list(zip(*(one.amplitude for one in fit.values()), strict=True))
    times = [t for _, t in fit]
    return Before(tuple(map(min, lines)), tuple(map(max, lines)), len(fit), min(times), max(times))


def _is_like(one: SpectrumView, other: SpectrumView) -> bool:
    """Say whether two spectra can be set against each other, line by line."""
    same = (one.kind, one.quantity, one.unit, one.detector, one.axis, len(one.amplitude), one.demodulated.split(",")[0]) == (
        *(other.kind, other.quantity, other.unit, other.detector, other.axis, len(other.amplitude)),
        other.demodulated.split(",")[0],
    )
    return same and math.isclose(one.first_x, other.first_x, abs_tol=1e-9) and math.isclose(one.step_x, other.step_x)


def facts(one: Before) -> str:
    """Say what the line across the picture is."""
    days = figures.stamp(one.first_at)[:10], figures.stamp(one.last_at)[:10]
    when = days[0] if days[0] == days[1] else f"{days[0]} to {days[1]}"
    many = "1 capture" if one.captures == 1 else f"the highest of {one.captures} captures"
    return f"line across: the baseline, {many} of {when} (v hides it)"


def at_line(one: Before, line: int | None, unit: str, look: Look) -> str:
    """Say between which values a line lay; empty where there is none."""
    if line is None or line >= len(one.low):
        return ""
    return f"; in the baseline {one.low[line]:.3g} to {one.high[line]:.3g} {figures.unit(unit, look.glyphs)}"
