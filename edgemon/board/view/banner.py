"""The two lines that no screen hides, and the footer: site, clock, counts, what is wrong with the gateway, keys."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from edgemon.board.keys import Key
from edgemon.board.picture import Picture
from edgemon.board.theme import MARKS, Look, Role, Show
from edgemon.board.view import figures, status
from edgemon.board.view.cells import Row, Span, fit_row, row_width, safe, sides, width_of
from edgemon.board.view.proof import status_words
from edgemon.board.view.site import SiteView
from edgemon.model.retention import Room
from edgemon.model.snapshot import AlarmView, GatewayView, MachineView

_HORN = "  horn on"
CAUTION = "edgemon monitors; it does not protect."
"""Said at the start, in the help and whenever there is nothing more pressing."""


@dataclass(frozen=True, slots=True)
class Summary:
    """What the banner says of all machines together; gathered once per change, not once per redraw."""

    counts: Mapping[Show, int]
    simulated: int
    machines: int
    calling: tuple[AlarmView, ...]
    """Alarms that wait for the operator: those that call first, then the gravest and newest."""


def summary(machines: Sequence[MachineView], own: Iterable[AlarmView] = ()) -> Summary:
    """Sum up all machines, and the gateway's own alarms."""
    calling = [alarm for alarm in own if status.waits(alarm)]
    calling += [alarm for machine in machines for point in machine.points for alarm in point.alarms if status.waits(alarm)]
    calling.sort(key=lambda alarm: (not status.calls(alarm), alarm.proof, alarm.severity != "alarm", -alarm.raised_at))
    return Summary(status.counts(machines), sum(machine.sim for machine in machines), len(machines), tuple(calling))


def banner(picture: Picture, total: Summary, look: Look, width: int) -> tuple[Row, Row]:
    """Write both lines."""
    return _first(picture, total, look, width), _second(picture, total, look, width)


def _first(picture: Picture, total: Summary, look: Look, width: int) -> Row:
    gateway = picture.gateway
    name = safe(gateway.site_name) if gateway is not None else "edgemon"
    time = f" {figures.clock(gateway.now)} UTC " if gateway is not None else " --:--:-- UTC "
    clock = Span(time, Role.BANNER if picture.lost is None else Role.NO_DATA_FILL)
    room = width - width_of(name) - width_of(time) - 2
    spoken = next((spans for brevity in range(2) if row_width(tuple(spans := _counts(total, look, brevity))) <= room), None)
    if spoken is None:  # the counts matter more than the name, and than the time
        spoken = _counts(total, look, 2)
        clock = clock if row_width((*spoken, clock)) < width else Span("")
    right = [_on_banner(span) for span in (*spoken, Span(" "), clock)]
    return sides([Span(f" {name}", Role.BANNER)], right, width, Role.BANNER, look.glyphs.ellipsis)


def _counts(total: Summary, look: Look, brevity: int) -> list[Span]:
    """Count machines by state: all in words; or only what is abnormal; or that without words."""
    spans: list[Span] = []
    always = (Show.ALARM, Show.ALERT, Show.NO_DATA)
    for show, count in total.counts.items():
        mark = MARKS[show]
        quiet = mark.role is Role.DIM
        if (not count and show not in always) or (brevity and quiet):
            continue
        sign = (mark.ascii if look.glyphs.plain else mark.glyph).strip()
        words = f"{sign} {count} {mark.word}" if brevity < 2 else f"{sign}{count}"
        spans.append(Span("  ", Role.BANNER))
        spans.append(Span(words.strip(), mark.role if count and not quiet else Role.BANNER_DIM))
    return spans


def _on_banner(span: Span) -> Span:
    """Stand every role on the banner's ground."""
    role = {Role.TEXT: Role.BANNER, Role.DIM: Role.BANNER_DIM}.get(span.role, span.role)
    return Span(span.text, role, selected=True)


def _second(picture: Picture, total: Summary, look: Look, width: int) -> Row:
    spans = [Span(" ", Role.BANNER)]
    for text, role in troubles(picture, total, look):
        spans.extend((Span(f" {text} ", role), Span(" ", Role.BANNER)))
    if total.calling:
        spans.extend(_calling(total.calling, picture, look, width - row_width(tuple(spans))))
    elif len(spans) == 1:
        spans.append(Span(CAUTION, Role.BANNER_DIM))
    sounds = picture.gateway is not None and picture.gateway.sounding
    if sounds and row_width(tuple(spans)) + len(_HORN) <= width:  # who calls comes first
        spans.append(Span(_HORN, Role.BANNER))
    return fit_row([_on_banner(span) for span in spans], width, look.glyphs.ellipsis, Role.BANNER)


def troubles(picture: Picture, total: Summary, look: Look) -> list[tuple[str, Role]]:
    """List what is wrong with the gateway or must always be said of its data, the gravest first."""
    found: list[tuple[str, Role]] = []
    gateway = picture.gateway
    if picture.lost is not None:
        found.append((f"NO CONNECTION: {safe(picture.lost, 60)}", Role.NO_DATA_FILL))
    if gateway is None:
        return found
    if isinstance(gateway, SiteView) and picture.lost is None:
        found.extend((safe(trouble, 160), Role.NO_DATA_FILL) for trouble in gateway.troubles)
    if gateway.proof is not None:
        found.append((status_words(gateway.proof, total.simulated, look), Role.ALERT_FILL))
    elif total.simulated:
        every = total.simulated == total.machines
        found.append(("SIMULATED DATA" if every else f"SIMULATED DATA on {total.simulated}", Role.NO_DATA_FILL))
    found.extend((f"{safe(link.name)} link down", Role.NO_DATA_FILL) for link in gateway.links if not link.up)
    if gateway.deaf_since is not None:
        found.append((f"NO SENSOR HEARD since {figures.clock(gateway.deaf_since)}", Role.NO_DATA_FILL))
    for upstream in gateway.upstreams:
        if upstream.behind_s(gateway.now):
            behind = figures.age(upstream.oldest_unsent, gateway.now)
            found.append((f"{safe(upstream.name)} {behind} behind", Role.NO_DATA_FILL))
        if upstream.parked:
            found.append((f"{upstream.parked} refused by {safe(upstream.name)}", Role.NO_DATA))
    if not gateway.store_ok:
        found.append((f"{_kept(gateway)}: {safe(gateway.store_detail, 40)}", Role.ALERT_FILL))
    found.extend(_room(gateway))
    if gateway.store_remark:
        found.append(("the store was damaged: see the journal", Role.ALERT))
    if gateway.test_until is not None and picture.lost is None:  # whether it still goes on is not known of a lost one
        found.append(("TEST of horn and beacon", Role.ALERT_FILL))
    found.extend(_rejected(gateway))
    return found


def _kept(gateway: GatewayView) -> str:
    since = "" if gateway.store_since is None else f" since {figures.clock(gateway.store_since)}"
    return f"store keeps {safe(gateway.store_keeps)}{since}"


def _room(gateway: GatewayView) -> list[tuple[str, Role]]:
    words = figures.room(gateway)
    return (
        [(words, Role.NO_DATA_FILL if gateway.keep.room(gateway.store_bytes) is Room.OVER else Role.NO_DATA)] if words else []
    )


def _rejected(gateway: GatewayView) -> list[tuple[str, Role]]:
    return [(f"{gateway.rejected} rejected", Role.NO_DATA)] if gateway.rejected else []


def _calling(calling: Sequence[AlarmView], picture: Picture, look: Look, room: int) -> list[Span]:
    """Name the alarm that calls most, and how many wait."""
    first = calling[0]
    many = f"{len(calling)} to acknowledge: " if len(calling) > 1 else "to acknowledge: "
    show = status.of_alarm(first)
    tag = status.tag(show, look, status.calls(first))
    name = f"{'PROOF ' if first.proof else ''}{safe(first.machine_name)}"
    text = f" {name}, {safe(first.title)}, {figures.age(first.raised_at, picture.now)}"
    if width_of(many) + row_width(tag) + width_of(name) >= room:  # who calls matters more than the words
        return [
            *tag,
            Span(text, Role.BANNER),
            Span(f" and {len(calling) - 1} more" if len(calling) > 1 else "", Role.BANNER_DIM),
        ]
    return [Span(many, Role.BANNER_DIM), *tag, Span(text, Role.BANNER)]


def footer(keys: Sequence[Key], message: str, look: Look, width: int) -> Row:
    """Write the keys of a screen; or, while there is one, what the board has to say."""
    if message:
        return fit_row([Span(f" {message}", Role.BANNER)], width, look.glyphs.ellipsis, Role.BANNER)
    needed = sum(len(key.cap) + len(key.label) + 3 for key in keys if key.needed)
    before, after = (" ", " ") if needed <= width else ("", " ")
    pairs = {key: (Span(f"{before}{key.cap}", Role.BANNER), Span(f" {key.label}{after}", Role.BANNER_DIM)) for key in keys}
    shown: list[Key] = []
    for key in sorted(keys, key=lambda key: not key.needed):
        if sum(row_width(pairs[one]) for one in (*shown, key)) <= width + len(after):
            shown.append(key)
    spans = [span for key in keys if key in shown for span in pairs[key]]
    if spans and row_width(tuple(spans)) > width:
        spans[-1] = spans[-1]._replace(text=spans[-1].text.rstrip())
    return fit_row(spans, width, look.glyphs.ellipsis, Role.BANNER)
