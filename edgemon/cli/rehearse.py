"""`edgemon rehearse`: other limits, deadbands and delays over the recorded past, by the alarm logic itself, side by side."""

import argparse
import asyncio
import json
import sys
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from edgemon.alarms import rehearsal
from edgemon.alarms.rehearsal import Change, Lead, Load, Run
from edgemon.cli.options import add_config
from edgemon.cli.past import known_events, read_past
from edgemon.cli.report import TIMES_WORDS, read_time
from edgemon.clock import SystemClock
from edgemon.engine.memory import setting_of
from edgemon.errors import EdgemonError, SettingsError
from edgemon.model.ids import PointKey
from edgemon.model.instant import Instant, format_instant
from edgemon.model.level import Measurement
from edgemon.model.limit import Limit, Side
from edgemon.model.machine import Machine
from edgemon.settings.load import load_all, load_plant
from edgemon.store.reader import SqliteReader
from edgemon.units import from_si

MONTH_S = 30.44 * 86_400.0
ENDINGS = (".png", ".svg")


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


def add(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Register the command."""
    parser = commands.add_parser(
        "rehearse",
        help="other limits over the recorded past, beside those in force",
        description=__doc__,
        epilog="Reads the store only. Limits of the plant files are compared; what approved baselines lead to is left out. "
        "A file of known events holds [[event]] tables with machine, t, name, and point where only one is meant.",
    )
    add_config(parser)
    parser.add_argument(
        "--candidate", metavar="FILE", type=Path, help="the plant file to be tried; default: none, only what is"
    )
    parser.add_argument("--since", metavar="TIME", default="90d", help=f"begin of the period: {TIMES_WORDS}; default 90d")
    parser.add_argument("--until", metavar="TIME", help="end of the period, likewise; default now")
    parser.add_argument("--machine", metavar="ID", help="this machine only")
    parser.add_argument("--events", metavar="FILE", type=Path, help="what really happened, as TOML")
    parser.add_argument("--store", metavar="FILE", type=Path, help="another store than gateway.toml names")
    parser.add_argument("--sim", action="store_true", help="over simulated data; otherwise it is left out")
    parser.add_argument("--plot", metavar="FILE", type=Path, help="a picture besides, .png or .svg")
    parser.add_argument("--json", action="store_true", help="for programs: one JSON object")
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Rehearse and print."""
    if options.plot is not None and options.plot.suffix.lower() not in ENDINGS:
        raise SettingsError(f"a plot is written as {' or '.join(ENDINGS)}", "--plot", "choose one of these endings")
    plant, gateway = load_all(options.config)
    candidate = plant if options.candidate is None else load_plant(options.candidate)
    if options.machine is not None and options.machine not in plant.machine_of:
        raise SettingsError(f"the plant file has no machine {options.machine!r}", "--machine", "see plant.toml")
    now = SystemClock().now()
    until = now if options.until is None else read_time(options.until, now, "--until")
    since = read_time(options.since, until, "--since")
    known = known_events(options.events, plant) if options.events is not None else ()
    machines = [one for one in plant.machines if options.machine in (None, str(one.id))]
    tried = [candidate.machine_of[one.id] for one in machines if one.id in candidate.machine_of]
    store = options.store if options.store is not None else gateway.store
    past = asyncio.run(_read(store, [*machines, *tried], since, until, options.sim))
    if not past:
        kind = "simulated" if options.sim else "real"
        raise EdgemonError(f"no {kind} measurement between {format_instant(since)} and {format_instant(until)}", str(store))
    rules, others = setting_of(plant, gateway).rules, setting_of(candidate, gateway).rules
    before = _runs({key: one for key, one in rules.items() if key in past}, past)
    after = _runs({key: one for key, one in others.items() if key in past}, past)
    differ = [
        rehearsal.alone(rules[change.point], change, past[change.point], before[change.point])
        for one in machines
        if one.id in candidate.machine_of
        for change in rehearsal.changes(one, candidate.machine_of[one.id])
        if change.point in before
    ]
    begin, end = _span(past)
    told = Rehearsed(
        since=begin,
        until=end,
        before=before,
        after=after,
        load_before=rehearsal.load(before.values(), begin, end),
        load_after=rehearsal.load(after.values(), begin, end),
        leads_before=rehearsal.leads(before.values(), known),
        leads_after=rehearsal.leads(after.values(), known),
        changes=rehearsal.weightiest(differ),
    )
    if options.json:
        json.dump(document(told), sys.stdout, ensure_ascii=False, indent=2)
        print()
    else:
        print("\n".join(lines(told)))
    if options.plot is not None:
        _draw(told, options.plot)
    return 0


async def _read(
    store: Path, machines: Iterable[Machine], since: Instant, until: Instant, sim: bool
) -> Mapping[PointKey, Sequence[Measurement]]:
    reader = await SqliteReader.open(store)
    try:
        return await read_past(reader, machines, since, until, sim)
    finally:
        await reader.close()


def _draw(told: Rehearsed, out: Path) -> None:
    try:
        from edgemon.report.bars import Pair, picture  # the plotting library is an extra
    except ModuleNotFoundError as error:
        raise EdgemonError("plots need the extra `report`", "--plot", "pip install 'edgemon[report]'") from error
    pairs = [Pair(str(key), _both(told.before[key]), _both(told.after[key])) for key in told.before if key in told.after]
    try:
        out.write_bytes(picture(pairs, out.suffix.lower().removeprefix(".")))
    except OSError as error:
        raise EdgemonError(f"the picture cannot be written: {error.strerror}", str(out), "choose another --plot") from error


def _both(one: Run) -> tuple[float, float]:
    return _monthly(one.alerts, one), _monthly(one.alarms, one)


def _runs(rules: Mapping[PointKey, Any], past: Mapping[PointKey, Sequence[Measurement]]) -> dict[PointKey, Run]:
    return {key: rehearsal.run(one, past[key]) for key, one in rules.items()}


def _span(past: Mapping[PointKey, Sequence[Measurement]]) -> tuple[Instant, Instant]:
    return min(one[0].taken_at for one in past.values()), max(one[-1].taken_at for one in past.values())


def lines(told: Rehearsed) -> list[str]:
    """Write both sets side by side."""
    width = max(len(str(key)) for key in (*told.before, *told.after))
    text = [
        f"{format_instant(told.since)} to {format_instant(told.until)}; as it is -> as tried; counts a month of 30.44 days",
        "",
        f"{'point':{width}} {'alerts':>15} {'alarms':>15} {'again':>9} {'alert %':>15} {'alarm %':>15}",
    ]
    for key in told.before:
        one, other = told.before[key], told.after.get(key)
        if other is None:
            text.append(f"{key!s:{width}} not in the file tried")
            continue
        text.append(
            f"{key!s:{width}} {_pair(_monthly(one.alerts, one), _monthly(other.alerts, other)):>15}"
            f" {_pair(_monthly(one.alarms, one), _monthly(other.alarms, other)):>15}"
            f" {f'{one.again} -> {other.again}':>9}"
            f" {_pair(_share(one.alert_s, one), _share(other.alert_s, other)):>15}"
            f" {_pair(_share(one.alarm_s, one), _share(other.alarm_s, other)):>15}"
        )
    return [*text, *_load_lines(told), *_lead_lines(told), *_change_lines(told)]


def _monthly(count: int, of: Run) -> float:
    return count * MONTH_S / of.watched_s if of.watched_s > 0.0 else float(count)


def _share(seconds: float, of: Run) -> float:
    return 100.0 * seconds / of.watched_s if of.watched_s > 0.0 else 0.0


def _pair(one: float, other: float) -> str:
    return f"{one:.1f} -> {other:.1f}"


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
        yield f"    alert {_days(one.alert_s)} -> {_days(other.alert_s)}, alarm {_days(one.alarm_s)} -> {_days(other.alarm_s)}"


def _days(seconds: float | None) -> str:
    return "never" if seconds is None else f"{seconds / 86_400.0:.1f} d"


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
    }  # fmt: skip


def _run(one: Run) -> dict[str, Any]:
    return {
        "alerts": one.alerts, "alarms": one.alarms, "losses": one.losses, "again": one.again, "watched_s": one.watched_s,
        "alert_s": one.alert_s, "alarm_s": one.alarm_s, "calls": len(one.calls),
        "raised": [{"t": format_instant(at), "severity": severity.word} for at, severity in one.raised],
    }  # fmt: skip
