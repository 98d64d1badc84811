"""Sensor health: what needs a hand first, by the categories of NAMUR NE 107; battery, link and what came of what was due."""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from edgemon.board.theme import Look, Role
from edgemon.board.view import figures
from edgemon.board.view.cells import Row, Span, blank, fit, fit_row, safe, width_of, wrap
from edgemon.board.view.collection import on_words
from edgemon.model.instant import Instant
from edgemon.model.retention import Room
from edgemon.model.snapshot import GatewayView, MachineView, SensorView


@dataclass(frozen=True, slots=True)
class Status:
    """How a category is shown; the letter is NE 107's, the form stands beside it where there is more than ASCII."""

    letter: str
    form: str
    word: str
    role: Role


STATUSES = {
    "failure": Status("F", "⊗", "failure", Role.NO_DATA),
    "function-check": Status("C", "▽", "function check", Role.BRIGHT),
    "out-of-specification": Status("S", "△", "out of spec.", Role.BRIGHT),
    "maintenance-required": Status("M", "□", "maintenance", Role.BRIGHT),
    "good": Status(" ", " ", "good", Role.DIM),
}
"""The gravest first."""
_ORDER = list(STATUSES)
_WIDE = 100
"""Cells from which on there is room for all figures and the cause."""
_WORD = max(len(status.word) for status in STATUSES.values())


def page(
    sensors: Mapping[str, SensorView],
    machines: Sequence[MachineView],
    now: Instant,
    look: Look,
    width: int,
    gateway: GatewayView | None = None,
) -> list[Row]:
    """Write every sensor, the gravest first, then as machines come; above a summary, and how the gateway's store stands."""
    names = {machine.id: safe(machine.name) for machine in machines}
    place = {machine.id: number for number, machine in enumerate(machines)}
    listed = sorted(sensors.values(), key=lambda one: (_order(one), place.get(one.machine, len(place)), one.machine, one.id))
    name = max((width_of(names.get(one.machine, "")) for one in listed), default=8)
    tag = max((width_of(safe(one.id)) for one in listed), default=6)
    rows = [
        *(fit_row([Span(f" {line}", Role.BRIGHT)], width) for line in wrap(_sum(listed), max(10, width - 2))),
        _store(gateway, look, width),
        _head(name, tag, width),
    ]
    return rows + [_row(one, names.get(one.machine, ""), name, tag, now, look, width) for one in listed]


def _store(gateway: GatewayView | None, look: Look, width: int) -> Row:
    percent = None if gateway is None else gateway.keep.percent(gateway.store_bytes)
    if gateway is None or percent is None:
        return blank(width)
    keep, gone = gateway.keep, sum(gateway.keep.dropped.values())
    dropped = f"; {gone} captures dropped since the start" if gone else ""
    text = (
        f" Store of the gateway: {gateway.store_bytes / 1e6:.1f} of {keep.budget_bytes / 1e6:.1f} MB, {percent:.0f} %{dropped}"
    )
    role = Role.DIM if keep.room(gateway.store_bytes) is Room.ENOUGH else Role.NO_DATA
    return fit_row([Span(text, role)], width, look.glyphs.ellipsis)


def _order(one: SensorView) -> int:
    return _ORDER.index(one.status) if one.status in STATUSES else 0


def _sum(listed: Iterable[SensorView]) -> str:
    found = Counter(one.status for one in listed)
    parts = [f"{found[name]} {status.word}" for name, status in STATUSES.items() if found[name]]
    return f"Sensor health (NE 107): {', '.join(parts) or 'no sensors'}"


def _head(name: int, tag: int, width: int) -> Row:
    figures_ = _figures("batt.", "days", "signal", "heard", "came", width)
    return fit_row([Span(f"    {'status':{_WORD}} {'sensor':{tag}} {'machine':{name}} {figures_}  why", Role.DIM)], width, " ")


def _figures(battery: str, days: str, signal: str, heard: str, came: str, width: int) -> str:
    """Set the figures side by side; where there is little room, most of them give way to the cause."""
    more = f" {days:>5} {signal:>7} {heard:>5}" if width >= _WIDE else ""
    return f"{battery:>6}{more} {came:>5}"


def _row(one: SensorView, machine: str, name: int, tag: int, now: Instant, look: Look, width: int) -> Row:
    status = STATUSES.get(one.status, STATUSES["failure"])
    form = status.letter if look.glyphs.plain else status.form
    battery = "" if one.battery_pct is None else f"{one.battery_pct:.0f} %"
    days = "" if one.battery_days is None else f"{min(one.battery_days, 9999):.0f}"
    signal = "" if one.rssi_dbm is None else f"{one.rssi_dbm:.0f} dBm"
    came = "" if one.completeness is None else f"{100.0 * one.completeness:.0f} %"
    numbers = _figures(battery, days, signal, figures.age(one.heard_at, now), came, width)
    fast = on_words(one.collection)
    why = "; ".join([*([fast] if fast else []), *(safe(cause) for cause in one.causes)])
    spans = [
        Span(f" {form}{'' if look.glyphs.plain else status.letter} ".ljust(4), status.role),
        Span(f"{status.word:{_WORD}} ", status.role),
        Span(f"{fit(safe(one.id), tag)} ", Role.TEXT),
        Span(f"{fit(machine, name)} ", Role.TEXT),
        Span(numbers, Role.DIM),
        Span(f"  {why}", status.role),
    ]
    return fit_row(spans, width, look.glyphs.ellipsis)
