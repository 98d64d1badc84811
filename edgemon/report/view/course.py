"""Where levels come from and where they are heading: baselines, changes of limits, trends and forecasts."""

from collections.abc import Iterator

from edgemon.model.baseline import BaselineApproved, BaselineProposed, BaselineRetired
from edgemon.model.instant import Instant
from edgemon.model.outlook import BaselineView, CrossingView, OutlookView, pace
from edgemon.report.document import Block, Heading, Paragraph, Section, Table
from edgemon.report.port import Happening, LevelMaterial, Material, PointMaterial
from edgemon.report.view.verdict import times_of
from edgemon.report.view.words import (
    amount,
    capital,
    counted,
    level_title,
    limit_amount,
    limit_number,
    number,
    shown_unit,
    stamp,
)
from edgemon.units import from_si

ALREADY = "already beyond the limit"


def course_section(material: Material) -> Section:
    """Make the section on baselines, limits that changed, trends and forecasts."""
    blocks: list[Block] = [*_forecasts(material), *_baselines(material), *_changes(material)]
    return Section("Trend, forecast and baseline", tuple(blocks))


def _forecasts(material: Material) -> Iterator[Block]:
    rows = [
        row
        for point in material.points
        for level in point.levels
        if level.outlook is not None
        for row in _forecast_rows(point, level.outlook)
    ]
    yield Heading("If it goes on as it does")
    if not rows:
        yield Paragraph("No level with a limit has values in the period, so nothing can be said of its course.")
        return
    columns = ("Point", "Level", "Course in like conditions", "Limit", "When, or why nobody can say")
    yield Table(columns, tuple(rows), (1.3, 1.2, 2.4, 1.1, 3.0))
    yield Paragraph(
        "Slopes and forecasts rest on fit values in like conditions (machine running, at its usual speed), back to its last "
        "repair. A forecast is no promise: it tells what follows if the level goes on as it does."
    )


def _forecast_rows(point: PointMaterial, outlook: OutlookView) -> Iterator[tuple[str, ...]]:
    """Tell of each limit that is not crossed yet; of the highest where all are."""
    open_ones = [one for one in outlook.forecasts if one.reason != ALREADY] or list(outlook.forecasts[-1:])
    said = point.point.name, outlook.title, _slope(outlook)
    for one in open_ones:
        bound = f"{one.severity} {limit_number(one.limit)} {shown_unit(outlook.unit)}".rstrip()
        yield (*said, bound, _crossing(one))
        said = "", "", ""


def _slope(outlook: OutlookView) -> str:
    about = "" if outlook.rpm is None else f" about {outlook.rpm:.0f} r/min"
    left = sum(outlook.left_out.values())
    text = f"{counted(outlook.count, 'value')}{about}{f', {left} left out' if left else ''}"
    if outlook.slope is not None:
        unit = shown_unit(outlook.unit)
        slope, per = pace(outlook.slope.per_day, outlook.value)
        rate = f"{'+' if slope >= 0.0 else '-'}{number(abs(slope))} {unit} {per}".replace("  ", " ")
        text += f"; {rate}" if outlook.slope.is_significant else "; no significant slope"
    if outlook.change is not None:
        before, after = number(outlook.change.before), number(outlook.change.after)
        text += f"; changed at {stamp(outlook.change.at)} from {before} to {after}" if before != after else ""
    if outlook.shift is not None:
        by = outlook.shift.after - outlook.shift.before
        size = f"{'+' if by >= 0.0 else '-'}{number(abs(by))} {shown_unit(outlook.unit)}".rstrip()
        text += f"; level has shifted since {stamp(outlook.shift.at)} by {size}"
        text += f" (CUSUM chart, which errs once in about {outlook.shift.run_length:.0f} values)"
    return text


def _crossing(one: CrossingView) -> str:
    basis = f" ({one.text})" if one.text and one.reason != ALREADY else ""
    if one.reason:
        return f"No forecast: {one.reason}{basis}."
    return f"{capital(times_of(one))}; {one.model}, interval {100.0 * one.confidence:.0f} % nominal{basis}."


def _baselines(material: Material) -> Iterator[Block]:
    found = [(point, level.baseline) for point in material.points for level in point.levels if level.baseline is not None]
    if not found:
        return
    yield Heading("Baselines")
    columns = ("Point", "Level", "State", "Baseline", "Alert limit that follows")
    rows = tuple((point.point.name, one.title, _state(one), _value(one), _follows(one)) for point, one in found)
    yield Table(columns, rows, (1.3, 1.2, 2.3, 2.0, 2.2))
    yield Paragraph("Baselines as the store has them when the report is made. A proposed one is in force only once approved.")


def _state(one: BaselineView) -> str:
    match one.state:
        case "approved":
            at = f" on {stamp(one.approved_at)}" if one.approved_at is not None else ""
            doubt = f"; but {one.doubt}" if one.doubt else ""
            return f"in force: approved by {one.approved_by}{at}{doubt}"
        case "proposed":
            at = f" since {stamp(one.proposed_at)}" if one.proposed_at is not None else ""
            doubt = f"; but {one.doubt}" if one.doubt else ""
            return f"proposed{at}; needs an engineer's approval{doubt}"
        case "retired":
            at = f" on {stamp(one.retired_at)}" if one.retired_at is not None else ""
            return f"retired by {one.retired_by}{at}: {one.retired_because}"
        case _:
            return f"learning, {one.count} of {one.wanted} values"


def _value(one: BaselineView) -> str:
    if one.baseline is None:
        return "–"
    unit = shown_unit(one.unit)
    spread = f", spread {number(one.spread)}" if one.spread is not None else ""
    speed = f", {one.rpm:.0f} r/min" if one.rpm is not None else ""
    return f"{number(one.baseline)} {unit} ({counted(one.count, 'value')}{spread}{speed})"


def _follows(one: BaselineView) -> str:
    if one.alert_follows is None:
        return capital(one.note) or "–"
    return f"{limit_number(one.alert_follows)} {shown_unit(one.unit)}: {one.note}"


def _changes(material: Material) -> Iterator[Block]:
    told = [one for one in material.history if isinstance(one.event, BaselineApproved | BaselineProposed | BaselineRetired)]
    yield Heading("Limits and baselines that changed in the period")
    if not told:
        yield Paragraph("None that the journal knows of.")
        return
    rows = tuple(_change_row(one, material) for one in told)
    yield Table(("Time (UTC)", "Point", "Level", "What", "Alert limit", "By and why"), rows, (1.5, 1.3, 1.1, 1.0, 1.3, 2.8))


def _change_row(one: Happening, material: Material) -> tuple[str, ...]:
    event = one.event
    assert isinstance(event, BaselineApproved | BaselineProposed | BaselineRetired)
    known = next((point for point in material.machine.points if point.key == event.baseline.point), None)
    did = {BaselineProposed: "proposed", BaselineApproved: "approved", BaselineRetired: "retired"}[type(event)]
    point = str(event.baseline.point.point) if known is None else known.name
    title = level_title(event.baseline.level, None if known is None else known.kind_of(event.baseline.level))
    alert = limit_amount(event.alert, event.unit)
    would = "would be " if isinstance(event, BaselineProposed) and event.alert is not None else ""
    by = f"{event.by or 'the gateway'}: {event.reason}" if event.reason else event.by or "the gateway"
    what = f"baseline {amount(event.baseline.median, event.unit)} {did}"
    return stamp(event.at), point, title, what, f"{would}{alert}", by


def alert_steps(level: LevelMaterial, point: PointMaterial, material: Material) -> tuple[tuple[Instant, float], ...]:
    """Give the alert limits that baselines led to, each with the time from which on it held; empty where none changed it.

    Notes
    -----
    Before the first one the zone boundary of the class held.
    """
    limit = level.limit
    if limit is None or limit.zones is None or limit.alert is None:
        return ()
    steps = [
        (one.event.at, one.event.alert)
        for one in (*material.earlier, *material.history)
        if isinstance(one.event, BaselineApproved | BaselineRetired)
        and (one.event.baseline.point, one.event.baseline.level) == (point.point.key, level.name)
        and one.event.alert is not None
    ]
    if not steps:
        return ()
    return tuple((at, from_si(alert, limit.unit)) for at, alert in ((0.0, limit.zones.upper_b), *steps))
