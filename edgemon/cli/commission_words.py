"""The commissioning state and the hand-over list as text."""

from itertools import groupby
from textwrap import wrap

from edgemon.model.commission import CheckView, CommissionRow, CommissionView, SignView, Stand
from edgemon.model.instant import format_instant
from edgemon.model.snapshot import GatewayView
from edgemon.model.text import clean

_SIGNS = {Stand.OPEN: "-", Stand.DONE: "+", Stand.NOT_NEEDED: "."}
_WIDE = 96
"""Characters of a line of the hand-over list: what a sheet of paper takes."""
_LONGEST = 600


def lines(found: CommissionView, is_whole: bool) -> list[str]:
    """Write a line a point, and under it its sign-off and its checks; a summary above."""
    return [found.summary, *(line for row in found.rows for line in _point(row, is_whole))]


def _point(row: CommissionRow, is_whole: bool) -> list[str]:
    done = len(row.checks) - len(row.missing)
    head = f"{'-' if row.missing else '+'} {_name(row)}: {done} of {len(row.checks)}"
    sign = f", {sign_words(row.sign)}" if row.sign is not None else ""
    return [f"{head}{sign}", *_checks(row, is_whole)]


def _checks(row: CommissionRow, is_whole: bool) -> list[str]:
    shown = [check for check in row.checks if is_whole or check.stand is Stand.OPEN]
    return [f"    {_SIGNS[one.stand]} {_check(one)}" for one in shown]


def _check(one: CheckView) -> str:
    return f"{one.name}: {one.stand}, {clean(one.words, 300)}"


def _name(row: CommissionRow) -> str:
    return f"{clean(row.machine, 63)}/{clean(row.point, 63)}"


def sign_lines(row: CommissionRow) -> list[str]:
    """Write what somebody who signs a point off is to know of it."""
    done = len(row.checks) - len(row.missing)
    return [f"{_name(row)}, {_sensor(row)}: {done} of {len(row.checks)}", *_checks(row, False)]


def _sensor(row: CommissionRow) -> str:
    return f"sensor {clean(row.sensor, 63)}" + (f" axis {clean(row.axis, 20)}" if row.axis else "")


def sign_words(sign: SignView) -> str:
    """Say who signed, when, with which remark and what was left open; or why that holds no longer."""
    who = f"{clean(sign.by, 63)} at {format_instant(sign.at)}"
    if sign.withdrawn_at is not None:
        by = f" by {clean(sign.withdrawn_by, 63)}" if sign.withdrawn_by else ""
        because = clean(sign.withdrawn_because, _LONGEST)
        return f"sign-off of {who} withdrawn at {format_instant(sign.withdrawn_at)}{by}: {because}"
    left = f", left open: {', '.join(clean(one, 80) for one in sign.left_open)}" if sign.left_open else ""
    return f"signed off by {who}{left}" + (f": {clean(sign.remark, _LONGEST)}" if sign.remark else "")


def handover(found: CommissionView, gateway: GatewayView) -> list[str]:
    """Write the hand-over list: every point with its sign-off, what it holds for and what is open, and room for two names."""
    of = f", gateway {clean(gateway.gateway, 63)}" if gateway.gateway else ""
    site = f"{clean(gateway.site_name, 200)} ({clean(gateway.site, 63)}){of}"
    head = [
        "HAND-OVER LIST of the measurement points of",
        *_wrapped(site, "  "),
        f"as of {format_instant(found.now)}, edgemon {clean(gateway.version, 40)}: {found.summary}",
    ]
    machines = groupby(found.rows, key=lambda row: (row.area, row.machine, row.machine_name))
    body = [line for (area, machine, name), rows in machines for line in _machine(area, machine, name, list(rows))]
    room = "_" * 28
    foot = ["", f"Handed over by {room}      Taken over by {room}", f"Name, date     {room}      Name, date    {room}"]
    return [*head, *body, *foot]


def _machine(area: str, machine: str, name: str, rows: list[CommissionRow]) -> list[str]:
    head = f"{clean(name, 200)} ({clean(machine, 63)}), area {clean(area, 63)}"
    return ["", *_wrapped(head, ""), *(line for row in rows for line in _handed(row))]


def _handed(row: CommissionRow) -> list[str]:
    box = "[x]" if row.is_signed else "[ ]"
    head = f"{box} {clean(row.point, 63)}, {clean(row.point_name, 200)}: {_sensor(row)}"
    sign = row.sign
    said = "not signed off" if sign is None else sign_words(sign)
    holds = () if sign is None or not sign.signed_for else (f"for {'; '.join(clean(one, 300) for one in sign.signed_for)}",)
    opened = (f"open now: {_check(one)}" for one in row.missing)
    return [*_wrapped(head, "  "), *(part for one in (said, *holds, *opened) for part in _wrapped(one, "      "))]


def _wrapped(text: str, indent: str) -> list[str]:
    return wrap(text, _WIDE, initial_indent=indent, subsequent_indent=f"{indent}    ")
