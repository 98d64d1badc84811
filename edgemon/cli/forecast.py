"""`edgemon forecast`: when levels will reach their limits if they go on as they do, with an interval; or why nobody can say."""

import argparse
import json
import sys
from collections.abc import Iterable, Sequence
from dataclasses import asdict

from edgemon.api.client import Daemon
from edgemon.cli.options import add_attach, asked, plain
from edgemon.errors import SettingsError
from edgemon.model.instant import Instant, format_instant
from edgemon.model.outlook import CrossingView, OutlookView, pace
from edgemon.units import spelt


def add(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Register the command."""
    parser = commands.add_parser(
        "forecast",
        help="trends, and the time to alert and to alarm, or why there is no forecast",
        description=__doc__,
        epilog="Made from values in like conditions: fit, machine running, at its usual speed. A forecast is no promise: it "
        "tells what follows if the level goes on as it does.",
    )
    add_attach(parser)
    parser.add_argument("--machine", metavar="ID", help="one machine only")
    parser.add_argument("--json", action="store_true", help="for programs: a list of JSON objects, one a level")
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Ask the daemon machine by machine, and print."""
    found = asked(options, lambda daemon: _ask(daemon, options.machine))
    if options.json:
        json.dump([plain(asdict(one)) for one in found], sys.stdout, ensure_ascii=False, indent=2)
        print()
    else:
        print("\n".join(lines(found)) or "no level has a limit: there is nothing to forecast")
    return 0


async def _ask(daemon: Daemon, machine: str | None) -> list[OutlookView]:
    known = [one.id for one in (await daemon.snapshot()).machines]
    if machine is not None and machine not in known:
        raise SettingsError(f"the plant file has no machine {machine!r}", "--machine", f"one of {', '.join(known)}")
    wanted = known if machine is None else [machine]
    return [one for name in wanted for one in await daemon.forecasts(name)]


def lines(found: Iterable[OutlookView]) -> list[str]:
    """Write a line a level, then one a limit."""
    text: list[str] = []
    for one in found:
        text.append(_head(one))
        text += [f"    {_crossing(crossing, one)}" for crossing in one.forecasts]
    return text


def _head(one: OutlookView) -> str:
    text = f"{one.machine}/{one.point} {one.title}"
    if one.value is not None:
        text += f" {one.value:.3g} {spelt(one.unit)}"
    about = "" if one.rpm is None else f" about {one.rpm:.0f} r/min"
    left = f" (left out: {_counted(one.left_out)})" if one.left_out else ""
    text += f"; {one.count} values in like conditions{about}{left}"
    if one.slope is not None:
        says = "significant" if one.slope.is_significant else "not significant"
        slope, per = pace(one.slope.per_day, one.value)
        text += f"; slope {slope:+.3g} {spelt(one.unit)} {per}, {says} (p {one.slope.p:.2g})"
    if one.change is not None:
        change = one.change
        text += f"; changed at {format_instant(change.at)} from {change.before:.3g} to {change.after:.3g}"
    if one.shift is not None:
        by = one.shift.after - one.shift.before
        text += (
            f"; level has shifted since {format_instant(one.shift.at)} by {by:+.3g} {spelt(one.unit)} (CUSUM chart, which errs "
            f"once in about {one.shift.run_length:.0f} values)"
        )
    return text + ("  SIMULATED" if one.sim else "")


def _counted(left_out: dict[str, int]) -> str:
    return ", ".join(f"{count} {reason}" for reason, count in left_out.items())


def _crossing(one: CrossingView, of: OutlookView) -> str:
    head = f"{one.severity} {one.limit:.4g} {spelt(of.unit)}: "
    if one.earliest is None or one.likely is None or one.latest is None:
        return f"{head}no forecast: {one.reason}" + (f" ({one.text})" if one.text else "")
    times = _spans([one.likely - of.made_at, one.earliest - of.made_at, one.latest - of.made_at])
    day = format_instant(one.likely)
    return f"{head}in {times[0]} ({times[1]} to {times[2]}), about {day}; {one.model}, {one.text}"


def _spans(seconds: Sequence[Instant]) -> list[str]:
    """Write durations in the unit that suits the first."""
    for size, unit in ((86_400.0, "d"), (3600.0, "h"), (60.0, "min")):
        if seconds[0] >= 2.0 * size:
            return [f"{max(0.0, one) / size:.3g} {unit}" for one in seconds]
    return [f"{max(0.0, one):.0f} s" for one in seconds]
