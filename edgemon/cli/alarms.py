"""`edgemon alarms`: the alarms that stand, and what operators and engineers may do about them."""

import argparse
import difflib
import json
import sys
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass, field
from types import MappingProxyType
from typing import Any, TypeVar

from edgemon.api.client import Daemon
from edgemon.board.several import Several
from edgemon.cli.gateways import Gateways, asked_of_all
from edgemon.cli.options import add_reason, add_several, done, duration, plain
from edgemon.model.instant import format_instant
from edgemon.model.limit import Side
from edgemon.model.snapshot import AlarmView, Outcome, Snapshot
from edgemon.model.text import clean
from edgemon.units import spelt

T = TypeVar("T")
NO_NAMES: Mapping[str, str] = MappingProxyType({})
ORDERS = {
    "acknowledge": "say that an alarm was noticed: the occurrence that stands there now, or the one named",
    "reset": "end a latched alarm whose condition is gone",
    "shelve": "hide an alarm for a while; it comes back by itself",
    "unshelve": "end a shelf early",
    "out-of-service": "hide an alarm until it is returned to service, as for maintenance (engineer)",
    "return-to-service": "put an alarm back into service (engineer)",
}
SITE_ORDERS = {
    "silence": "silence whatever calls now; all of it still waits for its acknowledgement, a new call sounds",
    "lamp-test": "horn, beacon and board show all they can for some seconds; marked as a test, and journalled",
}
_REASONED = ("shelve", "out-of-service")
_ALARM = (
    "as listed: machine/point/level, with /sim for simulated data; machine@gateway/... where several gateways are asked that "
    "have the machine"
)


@dataclass(frozen=True)
class Listed:
    """What stands, of one gateway or of several."""

    snapshot: Snapshot
    gateways: Mapping[str, str] = field(default_factory=dict)
    """By alarm, which gateway has it; empty where only one was asked."""
    missing: tuple[str, ...] = ()
    """Who does not answer, and why."""


def add(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Register the command."""
    parser = commands.add_parser(
        "alarms",
        help="the alarms that stand; acknowledge, silence, shelve, reset, out of service, lamp test",
        description=__doc__,
        epilog="Without an order: lists the alarms that stand, those that call first. Silence is not acknowledgement.",
    )
    add_several(parser)
    parser.add_argument("--json", action="store_true", help="for programs: a list of JSON objects")
    parser.set_defaults(run=run_list)
    orders = parser.add_subparsers(title="orders", metavar="ORDER")
    for name, says in ORDERS.items():
        order = orders.add_parser(name, help=says, description=says)
        add_several(order, is_below=True)
        order.add_argument("alarm", metavar="ALARM", help=_ALARM)
        if name == "acknowledge":
            order.add_argument("--occurrence", type=int, metavar="N", help="the occurrence that was read; default: the newest")
        if name == "shelve":
            order.add_argument("--for", dest="duration", type=duration, required=True, metavar="TIME", help="30m, 2h")
            order.add_argument("--one-shot", action="store_true", help="ends also when the condition goes")
        if name in _REASONED:
            add_reason(order)
        order.set_defaults(run=run_order, order=name)
    for name, says in SITE_ORDERS.items():
        order = orders.add_parser(name, help=says, description=says)
        add_several(order, is_below=True)
        order.set_defaults(run=run_site_order, order=name)


def run_list(options: argparse.Namespace) -> int:
    """List the alarms that stand."""
    listed = asked_of_all(options, _of_one, _of_all)
    alarms = standing(listed.snapshot)
    if options.json:
        told = [plain(asdict(one)) | _at(one, listed.gateways, "gateway") for one in alarms]
        json.dump(told, sys.stdout, ensure_ascii=False, indent=2)
        print()
        print("".join(f"edgemon alarms: {one}\n" for one in listed.missing), end="", file=sys.stderr)
    else:
        print("\n".join([*listed.missing, *lines(listed.snapshot, alarms, listed.gateways)]))
    return int(bool(listed.missing))


async def _of_one(daemon: Daemon) -> Listed:
    return Listed(await daemon.snapshot())


async def _of_all(gateways: Gateways) -> Listed:
    found = {one.id: gateways.name_of(one.id) for one in standing(gateways.snapshot)}
    return Listed(gateways.snapshot, found, gateways.missing)


def _at(alarm: AlarmView, gateways: Mapping[str, str], key: str) -> dict[str, Any]:
    return {key: gateways[alarm.id]} if alarm.id in gateways else {}


def run_order(options: argparse.Namespace) -> int:
    """Command one alarm."""
    if options.order in _REASONED and not options.reason.strip():
        print("edgemon alarms: --reason is empty: say why, in a few words", file=sys.stderr)
        return 2
    alarm = str(options.alarm)

    async def of_all(gateways: Gateways) -> Outcome:
        return await gateways.order(alarm, lambda daemon, own: _order(daemon, options, own))

    return done(asked_of_all(options, lambda daemon: _order(daemon, options, alarm), of_all), alarm)


def run_site_order(options: argparse.Namespace) -> int:
    """Silence, or test the outputs; of several gateways at all."""

    async def order(site: Daemon | Several) -> Outcome:
        return await (site.silence() if options.order == "silence" else site.lamp_test())

    return done(asked_of_all(options, order, lambda gateways: order(gateways.several)), options.order)


async def _order(daemon: Daemon, options: argparse.Namespace, alarm: str) -> Outcome:
    match options.order:
        case "acknowledge":
            return await _acknowledge(daemon, alarm, options.occurrence)
        case "reset":
            return await daemon.reset(alarm)
        case "shelve":
            return await daemon.shelve(alarm, options.duration, options.reason, options.one_shot)
        case "unshelve":
            return await daemon.unshelve(alarm)
        case "out-of-service":
            return await daemon.remove_from_service(alarm, options.reason)
        case _:
            return await daemon.return_to_service(alarm)


async def _acknowledge(daemon: Daemon, alarm: str, occurrence: int | None) -> Outcome:
    """Acknowledge what stands there; where nothing of that name stands, say what does."""
    known = {one.id: one for one in standing(await daemon.snapshot())}
    if occurrence is None and alarm not in known:
        near = difflib.get_close_matches(alarm, known, n=1)
        hint = f'; did you mean "{near[0]}"?' if near else "; `edgemon alarms` lists what stands"
        return Outcome(False, f"no such alarm stands, there is nothing to acknowledge{hint}")
    return await daemon.acknowledge(alarm, occurrence or known[alarm].occurrence)


def standing(snapshot: Snapshot) -> list[AlarmView]:
    """Give every alarm that is not plainly normal: those that call first, hidden ones last, the newest before older ones."""
    alarms = [alarm for machine in snapshot.machines for point in machine.points for alarm in point.alarms]
    alarms += snapshot.gateway.alarms
    alarms.sort(key=lambda alarm: (alarm.hidden is not None, not _waits(alarm), alarm.severity != "alarm", -alarm.raised_at))
    return alarms


def _waits(alarm: AlarmView) -> bool:
    return alarm.alarm_state in ("UNACK", "RTNUN", "LATUN")


def lines(snapshot: Snapshot, alarms: Iterable[AlarmView], gateways: Mapping[str, str] = NO_NAMES) -> list[str]:
    """Write one line an alarm, with its gateway where several were asked, and under it what hides it and what to do."""
    gateway = snapshot.gateway
    head = f"horn {'on' if gateway.sounding else 'off'}, beacon {gateway.beacon}"
    if gateway.silenced_at is not None:
        head += f", silenced {format_instant(gateway.silenced_at)}"
    if gateway.test_until is not None:
        head += ", TEST"
    text = [head]
    for alarm in alarms:
        text.append(_line(alarm) + "".join(f"  at {name}" for name in _at(alarm, gateways, "at").values()))
        if alarm.hidden is not None:
            until = "" if alarm.hidden.until is None else f" until {format_instant(alarm.hidden.until)}"
            by = f" by {clean(alarm.hidden.by)}" if alarm.hidden.by else ""
            text.append(f"    {alarm.hidden.way}{by}{until}: {clean(alarm.hidden.reason, 500)}")
        if alarm.response is not None and alarm.response.action:
            text.append(f"    do: {clean(alarm.response.action, 500)}")
    return text if len(text) > 1 else [head, "no alarm stands"]


def _line(alarm: AlarmView) -> str:
    value = "" if alarm.value is None else f" {alarm.value:.4g} {spelt(alarm.unit)}"
    limit = "" if alarm.limit is None else f" ({'low ' if alarm.side is Side.BELOW else ''}limit {alarm.limit:.4g})"
    marks = f"  {alarm.first_out}" if alarm.first_out else ""
    marks += "  SIMULATED" if alarm.sim else ""
    since = format_instant(alarm.since)
    return f"{alarm.alarm_state:5} {alarm.severity:6} {alarm.priority:6} {since}  {clean(alarm.id, 200)}{value}{limit}{marks}"
