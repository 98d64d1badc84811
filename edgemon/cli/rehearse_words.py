"""What a rehearsal says: side by side for people, one document for programs."""

from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass
from typing import Any

from edgemon.alarms import rehearsal
from edgemon.alarms.rehearsal import Change, Lead, Load, Run
from edgemon.cli.recorded_past import LeftOut
from edgemon.model.ids import PointKey
from edgemon.model.instant import Instant, format_instant
from edgemon.model.limit import Limit, Side
from edgemon.report.view.words import span
from edgemon.units import from_si

MONTH_S = 30.44 * 86_400.0


@dataclass(frozen=True, slots=True)
class Rehearsed:
    """Both sets of limits over the same past."""

    since: Instant
    until: Instant
    before: Mapping[PointKey, Run]
    after: Mapping[PointKey, Run]
    load_before: Load
    load_after: Load
    leads_before: tuple[Lead, ...]
    leads_after: tuple[Lead, ...]
    changes: tuple[Change, ...]
    """The weightiest first."""
    left_out: tuple[LeftOut, ...] = ()
    """Files, lines and messages of recordings that could not be used."""
    approved: tuple[str, ...] = ()
    """Baselines that limits in force rest on."""
    approving: tuple[str, ...] = ()
    """Proposed ones that the candidate has approved besides."""


def lines(told: Rehearsed) -> list[str]:
    """Write both sets side by side."""
    width = max(len(str(key)) for key in (*told.before, *told.after))
    text = [
        f"{format_instant(told.since)} to {format_instant(told.until)}; as it is -> as tried; counts a month of 30.44 days",
        *_baseline_lines(told),
        "",
        f"{'point':{width}} {'alerts':>15} {'alarms':>15} {'again':>9} {'alert %':>15} {'alarm %':>15}",
    ]
    for key in told.before:
        one, other = told.before[key], told.after.get(key)
        if other is None:
            text.append(f"{key!s:{width}} not in the file tried")
            continue
        text.append(
            f"{key!s:{width}} {_pair(monthly(one.alerts, one), monthly(other.alerts, other)):>15}"
            f" {_pair(monthly(one.alarms, one), monthly(other.alarms, other)):>15}"
            f" {f'{one.again} -> {other.again}':>9}"
            f" {_pair(_share(one.alert_s, one), _share(other.alert_s, other)):>15}"
            f" {_pair(_share(one.alarm_s, one), _share(other.alarm_s, other)):>15}"
        )
    return [*text, *_load_lines(told), *_lead_lines(told), *_change_lines(told)]


def monthly(count: int, of: Run) -> float:
    """Give a count as so many a month."""
    return count * MONTH_S / of.watched_s if of.watched_s > 0.0 else float(count)


def _share(seconds: float, of: Run) -> float:
    return 100.0 * seconds / of.watched_s if of.watched_s > 0.0 else 0.0


def _pair(one: float, other: float) -> str:
    return f"{one:.1f} -> {other:.1f}"


def _baseline_lines(told: Rehearsed) -> Iterable[str]:
    if told.approved:
        yield f"in force with the approved baselines of {', '.join(told.approved)}"
    if told.approving:
        yield f"as tried, also with the proposed ones of {', '.join(told.approving)}"


def _load_lines(told: Rehearsed) -> Iterable[str]:
    one, other = told.load_before, told.load_after
    yield ""
    yield "operator load, against ANSI/ISA-18.2-2016 and EEMUA 191 (one in ten minutes, at most ten; 144 a day; under 1 %)"
    yield f"  calls a day         {_pair(one.per_day, other.per_day)}"
    yield f"  most in ten minutes {one.most_in_ten_minutes} -> {other.most_in_ten_minutes}"
    yield f"  ten-minute bins with more than ten  {100 * one.bins_above_ten:.2f} % -> {100 * other.bins_above_ten:.2f} %"


def _lead_lines(told: Rehearsed) -> Iterable[str]:
    if told.leads_before:
        yield ""
        days = rehearsal.HORIZON_S / 86_400.0
        yield f"known events, and how long before them the first alert and alarm of the {days:.0f} days before came"
    for one, other in zip(told.leads_before, told.leads_after, strict=True):
        yield f"  {format_instant(one.known.at)} {one.known.machine}: {one.known.name}"
        yield f"    alert {_lead(one.alert_s)} -> {_lead(other.alert_s)}, alarm {_lead(one.alarm_s)} -> {_lead(other.alarm_s)}"


def _lead(seconds: float | None) -> str:
    return "never" if seconds is None else span(seconds)


def _change_lines(told: Rehearsed) -> Iterable[str]:
    yield ""
    if not told.changes:
        yield "no limit differs"
        return
    yield "what each change does by itself, the weightiest first"
    for one in told.changes:
        effect = f"alarms {one.alarms:+d}, alerts {one.alerts:+d}"
        yield f"  {one.point} {one.level}: {effect}: {_limit(one.before)} -> {_limit(one.after)}"


def _limit(limit: Limit | None) -> str:
    if limit is None:
        return "none"
    alert, alarm = (None if value is None else f"{from_si(value, limit.unit):.3g}" for value in (limit.alert, limit.alarm))
    delays = f"on {limit.on_delay_alert}/{limit.on_delay_alarm}, off {limit.off_delay}"
    below = "below " if limit.side is Side.BELOW else ""
    return f"{below}{alert or '-'}/{alarm or '-'} {limit.unit} ({delays})"


def document(told: Rehearsed) -> dict[str, Any]:
    """Give everything for programs; times in RFC 3339, durations in seconds."""
    points = [
        {"point": str(key), "before": _run(told.before[key]), "after": _run(told.after[key]) if key in told.after else None}
        for key in told.before
    ]
    return {
        "since": format_instant(told.since),
        "until": format_instant(told.until),
        "points": points,
        "load": {"before": asdict(told.load_before), "after": asdict(told.load_after)},
        "known_events": [
            {"t": format_instant(one.known.at), "machine": one.known.machine, "name": one.known.name,
             "before": {"alert_s": one.alert_s, "alarm_s": one.alarm_s},
             "after": {"alert_s": other.alert_s, "alarm_s": other.alarm_s}}
            for one, other in zip(told.leads_before, told.leads_after, strict=True)
        ],
        "changes": [
            {"point": str(one.point), "level": one.level, "alerts": one.alerts, "alarms": one.alarms,
             "before": _limit(one.before), "after": _limit(one.after)}
            for one in told.changes
        ],
        "baselines": {"approved": list(told.approved), "approving": list(told.approving)},
        "left_out": [asdict(one) for one in told.left_out],
    }  # fmt: skip


def _run(one: Run) -> dict[str, Any]:
    return {
        "alerts": one.alerts, "alarms": one.alarms, "losses": one.losses, "again": one.again, "watched_s": one.watched_s,
        "alert_s": one.alert_s, "alarm_s": one.alarm_s, "calls": len(one.calls),
        "raised": [{"t": format_instant(at), "severity": severity.word} for at, severity in one.raised],
    }  # fmt: skip
