"""What a level usually is and where it is heading, in rows of the machine screen."""

from edgemon.board.theme import Look, Role
from edgemon.board.view import figures
from edgemon.board.view.cells import Row, Span, fit_row, safe
from edgemon.model.instant import Instant
from edgemon.model.outlook import BaselineView, CrossingView, OutlookView, ShiftView

_BEYOND = "already beyond the limit"


def outlook(baseline: BaselineView | None, coming: OutlookView | None, look: Look, width: int) -> list[Row]:
    """Write a row for the baseline, one for the forecasts and one for a lasting shift; none where nothing is known."""
    rows = []
    if baseline is not None:
        role = Role.TEXT if baseline.state == "proposed" else Role.DIM
        rows.append(fit_row([Span(f" baseline {_baseline(baseline, coming, look)}", role)], width, look.glyphs.ellipsis))
    if coming is not None and coming.forecasts:
        text = " forecast " + "; ".join(_crossings(coming))
        role = Role.TEXT if any(not one.reason for one in coming.forecasts) else Role.DIM
        rows.append(fit_row([Span(text, role)], width, look.glyphs.ellipsis))
    if coming is not None and coming.shift is not None:
        rows.append(fit_row([Span(f" {_shift(coming, coming.shift, look)}", Role.TEXT)], width, look.glyphs.ellipsis))
    return rows


def _baseline(one: BaselineView, coming: OutlookView | None, look: Look) -> str:
    unit = figures.unit(one.unit, look.glyphs)
    value = "" if one.baseline is None else f" {figures.number(one.baseline)} {unit}".rstrip()
    follows = "" if one.alert_follows is None else f", alert {figures.number(one.alert_follows)}"
    match one.state:
        case "approved":
            since = "" if one.approved_at is None else f" since {figures.stamp(one.approved_at)[:10]}"
            by = one.changed_by(None if coming is None else coming.value)
            moved = "" if by is None else f"; now {_signed(by)} {unit}, a significant change"
            doubt = f"; {safe(one.doubt.partition(':')[0], 80)}" if one.doubt else ""
            return f"in force{since}:{value}{follows}{doubt}{moved}, approved by {safe(one.approved_by)}"
        case "proposed":
            if one.doubt:
                return f"proposed:{value}, but {safe(one.doubt, 200)}"
            return f"proposed, needs approval by an engineer:{value}{follows} once approved"
        case "retired":
            return f"retired by {safe(one.retired_by)}: {safe(one.retired_because, 500)}"
        case _:
            return f"learning {one.count} of {one.wanted} values{f', {safe(one.note, 200)}' if one.note else ''}"


def _signed(by: float) -> str:
    return f"{'+' if by >= 0.0 else '-'}{figures.number(abs(by))}"


def _shift(coming: OutlookView, shift: ShiftView, look: Look) -> str:
    by = shift.after - shift.before
    size = f"{_signed(by)} {figures.unit(coming.unit, look.glyphs)}".rstrip()
    return f"shifted since {figures.stamp(shift.at)[:16]} by {size} (CUSUM chart)"


def _crossings(coming: OutlookView) -> list[str]:
    """Say one reason once where it is the same for both limits."""
    reasons = {one.reason for one in coming.forecasts}
    if len(reasons) == 1 and "" not in reasons:
        return [f"alert and alarm: {_crossing(coming.forecasts[0], coming.made_at)}"]
    return [f"{one.severity} {_crossing(one, coming.made_at)}" for one in coming.forecasts]


def _crossing(one: CrossingView, made_at: Instant) -> str:
    if one.earliest is None or one.likely is None or one.latest is None:
        return "beyond already" if one.reason == _BEYOND else f"no forecast: {safe(one.reason)}"
    earliest, likely, latest = (figures.duration(at - made_at) for at in (one.earliest, one.likely, one.latest))
    return f"in {likely} ({earliest} to {latest})"
