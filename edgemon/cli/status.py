"""`edgemon status`: one snapshot of all states from the running daemon."""

import argparse
import asyncio
import json
import sys
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from typing import Any

from edgemon.api.client import Daemon
from edgemon.board.view.site import Part, names
from edgemon.cli.options import add_several, daemons_of, plain
from edgemon.errors import EdgemonError
from edgemon.model.instant import Instant, format_instant
from edgemon.model.limit import Side
from edgemon.model.retention import KeepView, Room
from edgemon.model.snapshot import GatewayView, MachineView, Snapshot
from edgemon.model.upstream import UpstreamView
from edgemon.units import spelt


def add(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Register the command."""
    parser = commands.add_parser("status", help="show all states of the running daemon once", description=__doc__)
    add_several(parser)
    parser.add_argument("--json", action="store_true", help="for programs: everything, as one JSON object")
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Print the snapshot; of several gateways one after the other, and who does not answer."""
    daemons = daemons_of(options)
    found = asyncio.run(_asked(daemons))
    if len(found) == 1:
        (only,) = found
        if isinstance(only, EdgemonError):
            raise only
        _print(document(only) if options.json else lines(only))
        return 0
    called = names(
        [
            Part(daemon.where, one.gateway if isinstance(one, Snapshot) else None)
            for daemon, one in zip(daemons, found, strict=True)
        ]
    )
    named = dict(zip(called, found, strict=True))
    _print({"gateways": {name: _entry(one) for name, one in named.items()}} if options.json else _blocks(named))
    return int(any(isinstance(one, EdgemonError) for one in found))


def _print(said: dict[str, Any] | list[str]) -> None:
    if isinstance(said, dict):
        json.dump(said, sys.stdout, ensure_ascii=False, indent=2)
        print()
    else:
        print("\n".join(said))


async def _asked(daemons: Sequence[Daemon]) -> list[Snapshot | EdgemonError]:
    """Ask all at once; whatever hinders one is given in its place."""

    async def ask(daemon: Daemon) -> Snapshot | EdgemonError:
        try:
            return await daemon.snapshot()
        except EdgemonError as error:
            return error
        finally:
            await daemon.close()

    return list(await asyncio.gather(*map(ask, daemons)))


def _entry(found: Snapshot | EdgemonError) -> dict[str, Any]:
    return document(found) if isinstance(found, Snapshot) else {"error": str(found)}


def _blocks(named: Mapping[str, Snapshot | EdgemonError]) -> list[str]:
    """Give each gateway's text under its name."""
    told: list[str] = []
    for name, one in named.items():
        told += ["", f"== {name}", *(lines(one) if isinstance(one, Snapshot) else [f"NO ANSWER: {one}"])]
    return told[1:]


def document(snapshot: Snapshot) -> dict[str, Any]:
    """Give the snapshot as plain JSON values, times as RFC 3339."""
    return plain(asdict(snapshot))


def lines(snapshot: Snapshot) -> list[str]:
    """Give the snapshot as text, a line a machine."""
    gateway = snapshot.gateway
    up = ", ".join(f"{link.name} {'up' if link.up else 'DOWN'} ({link.detail})" for link in gateway.links)
    head = [
        f"{gateway.site_name}: {len(snapshot.machines)} machines at {format_instant(gateway.now)}",
        f"links: {up}; messages {gateway.messages}, captures {gateway.captures}, rejected {gateway.rejected}",
        f"store: {gateway.store_bytes / 1e6:.1f} MB{_budget(gateway.keep, gateway.store_bytes)}"
        + ("" if gateway.store_ok else f", {_failing(gateway)}"),
    ]
    if gateway.deaf_since is not None:
        head.append(f"NO SENSOR HEARD since {format_instant(gateway.deaf_since)}, though the link to the broker is up")
    head += [upstream_line(one, gateway.now) for one in gateway.upstreams]
    width = max((len(machine.name) for machine in snapshot.machines), default=0)
    return head + [_line(machine, width) for machine in snapshot.machines]


def upstream_line(upstream: UpstreamView, now: Instant) -> str:
    """Say in one line how an upstream stands."""
    oldest = "" if upstream.oldest_unsent is None else f", the oldest of {format_instant(upstream.oldest_unsent)}"
    parked = f", {upstream.parked} refused and parked" if upstream.parked else ""
    waits = f"{'BEHIND: ' if upstream.behind_s(now) else ''}{upstream.waiting} wait{oldest}{parked}"
    link = f"{upstream.kind} {'up' if upstream.up else 'DOWN'} ({upstream.detail})"
    return f"upstream {upstream.name}: {link}; {waits}; {upstream.sent} sent"


def _failing(gateway: GatewayView) -> str:
    since = "" if gateway.store_since is None else f" since {format_instant(gateway.store_since)}"
    return f"FAILS, keeps {gateway.store_keeps}{since}: {gateway.store_detail}"


def _budget(keep: KeepView, used_bytes: int) -> str:
    percent = keep.percent(used_bytes)
    if percent is None:
        return ""
    gone, room = sum(keep.dropped.values()), keep.room(used_bytes)
    return (
        f" of {keep.budget_bytes / 1e6:.1f} MB, {percent:.0f} %"
        + ("" if room is Room.ENOUGH else f", {room.name} ITS BUDGET")
        + (f", {gone} captures dropped since the start" if gone else "")
        + (f", {keep.short_bytes / 1e6:.1f} MB BEYOND: nothing may go" if keep.short_bytes else "")
    )


def _line(machine: MachineView, width: int) -> str:
    text = f"{machine.name:{width}}  {machine.state:11}  {machine.quality:5}"
    if worst := machine.worst:
        limits = " / ".join("-" if limit is None else f"{limit:g}" for limit in (worst.alert, worst.alarm))
        side = "below " if worst.side is Side.BELOW else ""
        text += f"  {worst.point} {worst.title} {worst.value:.3g} {spelt(worst.unit)} (alert / alarm {side}{limits})"
        worst_levels = (level for point in machine.points if point.point == worst.point for level in point.levels)
        origin = next((level.origin for level in worst_levels if level.name == worst.level), "")
        text += f"  [{origin}]" if origin else ""
    if machine.reasons:
        text += f"  {', '.join(machine.reasons)}"
    return text + ("  SIMULATED" if machine.sim else "")
