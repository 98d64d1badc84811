"""Several gateways shown as one plant: what each said, set side by side; nothing is guessed, and nothing mixed up.

Every gateway has a name: its own, or, where two have the same or none, one with the number of its place among those attached.
A machine whose id stands at two gateways is shown twice, each as `id@gateway`; the plain id then means neither, so that no
order can go to the wrong one. So are sensors, and the gateways' own alarms. A lost gateway keeps its machines, as unknown.
"""

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, fields, replace
from typing import Any

from edgemon.board.picture import unknown
from edgemon.board.view.figures import clock, room
from edgemon.model.command import Person, Role
from edgemon.model.instant import Duration
from edgemon.model.machine import GATEWAY
from edgemon.model.retention import KeepView
from edgemon.model.snapshot import (
    AlarmView,
    AreaView,
    Change,
    GatewayView,
    LinkView,
    MachineView,
    PointView,
    SensorView,
    Snapshot,
)

WAITING = "has not answered yet"
_KEEPS = ("nothing", "journal and alarm states")
"""What a store that fails may keep, the least first."""
_BEACONS = ("off", "alert", "alarm")
_ROLES = tuple(Role)
CLOCKS_APART_S: Duration = 10.0
"""How far the clocks of gateways may be apart before it is said: ages are counted from the latest of them. House choice."""
_NAMED = 3
"""Machine ids at two gateways that are named in the status line."""


@dataclass(frozen=True, slots=True)
class Part:
    """One gateway, as last heard."""

    label: str
    """What was attached to."""
    gateway: GatewayView | None = None
    """None until it was heard once."""
    areas: tuple[AreaView, ...] = ()
    machines: Mapping[str, MachineView] = field(default_factory=dict)
    sensors: Mapping[str, SensorView] = field(default_factory=dict)
    lost: str | None = WAITING
    """Why it is not known how its machines are; None while it is heard."""
    is_silent: bool = False
    """It is lost for its silence alone; its stream was not broken."""
    person: Person | None = None
    heard_at: Duration = 0.0

    def heard(self, said: Snapshot, at: Duration, person: Person | None) -> "Part":
        """Begin anew with what it says of everything."""
        machines, sensors = {one.id: one for one in said.machines}, {one.id: one for one in said.sensors}
        return Part(self.label, said.gateway, said.areas, machines, sensors, None, False, person or self.person, at)

    def changed(self, said: Change, at: Duration) -> "Part":
        """Adopt what differs."""
        machines = {**self.machines, **{one.id: one for one in said.machines}} if said.machines else self.machines
        sensors = {**self.sensors, **{one.id: one for one in said.sensors}} if said.sensors else self.sensors
        return replace(self, gateway=said.gateway, machines=machines, sensors=sensors, heard_at=at)


@dataclass(frozen=True, slots=True)
class Index:
    """Who is called what; follows from which machines and sensors there are, not from how they are."""

    names: tuple[str, ...] = ()
    at: Mapping[str, tuple[int, str]] = field(default_factory=dict)
    """A machine as shown to its gateway's place and its own id; the gateways themselves too."""
    machines: tuple[Mapping[str, str], ...] = ()
    """For each gateway, its machines that are shown under another id."""
    sensors: tuple[Mapping[str, str], ...] = ()
    doubles: tuple[str, ...] = ()
    """Machine ids at more than one gateway."""
    same: tuple[str, ...] = ()
    """Names that more than one gateway gives itself."""

    def own(self, alarm: str) -> tuple[int, str] | None:
        """Give the place of an alarm's gateway and the alarm's id there; None where it is nobody's."""
        machine, slash, rest = alarm.partition("/")
        found = self.at.get(machine)
        return None if found is None else (found[0], f"{found[1]}{slash}{rest}")


@dataclass(frozen=True, slots=True)
class SiteView(GatewayView):
    """All gateways as one, with what must be said of them."""

    troubles: tuple[str, ...] = ()
    lost: Mapping[int, str] = field(default_factory=dict)
    """Place of each gateway that is lost, and which and why in words."""
    people: tuple[Person | None, ...] = ()
    """Whom each takes this board's user for; its name stands in the station."""
    at: Mapping[str, tuple[int, str]] = field(default_factory=dict)

    def person_at(self, machine: str) -> Person | None:
        """Say who the user is for a machine's gateway; without a machine, for the gateway where they may most."""
        found = self.at.get(machine)
        if found is not None:
            return self.people[found[0]]
        known = [one for place, one in enumerate(self.people) if one is not None and place not in self.lost]
        return max(known, key=lambda one: _ROLES.index(one.role), default=None)

    def lost_at(self, machine: str) -> str:
        """Say why nothing can be ordered at a machine's gateway; empty where it is heard."""
        found = self.at.get(machine)
        return self.lost.get(found[0], "") if found is not None else ""


def names(parts: Sequence[Part]) -> tuple[str, ...]:
    """Name the gateways, each otherwise: its own name, or with the number of its place where that would mean two."""
    own = ["" if part.gateway is None else part.gateway.gateway or "gateway" for part in parts]
    taken = Counter(own)
    found: list[str] = []
    for place, (name, part) in enumerate(zip(own, parts, strict=True), start=1):
        called = name or part.label
        while (name and taken[name] > 1 and called == name) or called in found or (called != name and taken[called]):
            called += f"-{place}"
        found.append(called)
    return tuple(found)


def index(parts: Sequence[Part]) -> Index:
    """Find out who is called what."""
    called = names(parts)
    holders = Counter(id_ for part in parts for id_ in part.machines)
    sensors = Counter(id_ for part in parts for id_ in part.sensors)
    renamed: list[dict[str, str]] = []
    at: dict[str, tuple[int, str]] = {}
    for place, (name, part) in enumerate(zip(called, parts, strict=True)):
        renamed.append({id_: f"{id_}@{_plain(name)}" for id_ in part.machines if holders[id_] > 1})
        at.update((renamed[place].get(id_, id_), (place, id_)) for id_ in part.machines)
        at[_gateway_id(name)] = place, str(GATEWAY.machine)
    other = tuple(
        {id_: f"{id_}@{_plain(name)}" for id_ in part.sensors if sensors[id_] > 1}
        for name, part in zip(called, parts, strict=True)
    )
    doubles = tuple(sorted(id_ for id_, count in holders.items() if count > 1))
    own = Counter(part.gateway.gateway or "gateway" for part in parts if part.gateway is not None)
    same = tuple(sorted(name for name, count in own.items() if count > 1))
    return Index(called, at, tuple(renamed), other, doubles, same)


def snapshot(parts: Sequence[Part], known: Index) -> Snapshot:
    """Show all machines of all gateways; those of a lost one as unknown."""
    titles: dict[str, list[str]] = {}
    for part in parts:
        for area in part.areas:
            told = titles.setdefault(area.id, [])
            told += [] if area.name in told else [area.name]
    machines = (one for place in range(len(parts)) for one in machines_of(parts, known, place))
    sensors = (one for place, part in enumerate(parts) for one in shown_sensors(part.sensors.values(), known, place))
    areas = (AreaView(id_, " / ".join(told)) for id_, told in titles.items())
    return Snapshot(gateway(parts, known), tuple(areas), tuple(machines), tuple(sensors))


def machines_of(parts: Sequence[Part], known: Index, place: int) -> tuple[MachineView, ...]:
    """Show all machines of one gateway."""
    return shown_machines(parts[place].machines.values(), parts, known, place)


def shown_machines(machines: Iterable[MachineView], parts: Sequence[Part], known: Index, place: int) -> tuple[MachineView, ...]:
    """Show some machines of a gateway; those that nothing is to be said of are the very same values."""
    found = (_called(one, known, place) for one in machines)
    return tuple(found if parts[place].lost is None else map(unknown, found))


def shown_sensors(sensors: Iterable[SensorView], known: Index, place: int) -> tuple[SensorView, ...]:
    """Show some sensors of a gateway."""
    ids, machines = known.sensors[place], known.machines[place]
    if not ids and not machines:
        return tuple(sensors)
    return tuple(replace(one, id=ids.get(one.id, one.id), machine=machines.get(one.machine, one.machine)) for one in sensors)


def _called(machine: MachineView, known: Index, place: int) -> MachineView:
    id_, sensors = known.machines[place].get(machine.id), known.sensors[place]
    if id_ is None and not any(point.sensor in sensors for point in machine.points):
        return machine
    name = machine.name if id_ is None else f"{machine.name} @{known.names[place]}"

    def point_called(point: PointView) -> PointView:
        alarms = tuple(_alarm(one, id_, name) for one in point.alarms) if id_ is not None else point.alarms
        return replace(point, machine=id_ or point.machine, sensor=sensors.get(point.sensor, point.sensor), alarms=alarms)

    return replace(machine, id=id_ or machine.id, name=name, points=tuple(map(point_called, machine.points)))


def _alarm(alarm: AlarmView, machine: str, name: str) -> AlarmView:
    return replace(alarm, id=f"{machine}/{alarm.id.partition('/')[2]}", machine=machine, machine_name=name)


def _gateway_id(name: str) -> str:
    return f"{GATEWAY.machine}@{_plain(name)}"


def _plain(name: str) -> str:
    """Give a name that may stand in an id, whose parts are set apart by slashes."""
    return name.replace("/", "_")


def troubles(parts: Sequence[Part], known: Index) -> tuple[str, ...]:
    """Say what must always be said: who is lost (why, where that is all), what could be mixed up; an alarm comes after."""
    lost = [(name, part) for name, part in zip(known.names, parts, strict=True) if part.lost is not None]
    mixed = [f"SEVERAL GATEWAYS NAMED {name}" for name in known.same]
    if known.doubles:
        more = f" and {len(known.doubles) - _NAMED} more" if len(known.doubles) > _NAMED else ""
        mixed.insert(0, f"SAME ID AT TWO GATEWAYS: {', '.join(known.doubles[:_NAMED])}{more}")
    clocks = [part.gateway.now - part.heard_at for part in parts if part.gateway is not None and part.lost is None]
    if clocks and max(clocks) - min(clocks) > CLOCKS_APART_S:
        mixed.append(f"CLOCKS OF GATEWAYS {max(clocks) - min(clocks):.0f} s APART")
    if len(lost) == 1 and not mixed:
        return (_lost(*lost[0]), *_deaf(parts, known), *_full(parts, known))
    away = [f"NO CONNECTION to {', '.join(name for name, _ in lost)}"] if lost else []
    return (*away, *mixed, *_deaf(parts, known), *_full(parts, known))


def _deaf(parts: Sequence[Part], known: Index) -> Iterator[str]:
    """Say which gateways hear no sensor; of a lost one nobody knows."""
    for name, part in zip(known.names, parts, strict=True):
        if part.gateway is not None and part.lost is None and part.gateway.deaf_since is not None:
            yield f"NO SENSOR HEARD at {name} since {clock(part.gateway.deaf_since)}"


def _full(parts: Sequence[Part], known: Index) -> Iterator[str]:
    """Say whose store is near its budget or over it."""
    for name, part in zip(known.names, parts, strict=True):
        if part.gateway is not None and part.lost is None and (words := room(part.gateway)):
            yield f"{words} at {name}"


def _lost(name: str, part: Part) -> str:
    return f"NO CONNECTION to {name}: {part.lost}"


def gateway(parts: Sequence[Part], known: Index) -> SiteView:
    """Show all gateways as one: what counts is added up, what stands is named by its gateway.

    Of a lost gateway the counts and its own alarms stay as last heard; its links, upstreams, store and horn are not known.
    """
    named = list(zip(known.names, parts, strict=True))
    heard = [(name, part.gateway) for name, part in named if part.gateway is not None]
    live = [(name, part.gateway) for name, part in named if part.gateway is not None and part.lost is None]
    people = (part.person and replace(part.person, station=f"{part.person.station}, {name}") for name, part in named)
    told: dict[str, Any] = {one.name: getattr(heard[0][1], one.name) for one in fields(GatewayView)}
    told |= (
        _sums([one for _, one in heard])
        | _names(heard)
        | _calls([one for _, one in live])
        | _proof(live)
        | _links(live)
        | _store(live)
    )
    return SiteView(
        **told | {"now": max(one.now for _, one in live or heard)},
        troubles=troubles(parts, known),
        lost={place: _lost(name, part) for place, (name, part) in enumerate(named) if part.lost is not None},
        people=tuple(people),
        at=known.at,
    )


_ADDED = (
    "messages",
    "captures",
    "readings",
    "rejected",
    "repeats",
    "late",
    "events",
    "queue",
    "open_captures",
    "store_bytes",
    "unsent",
)

Heard = Sequence[tuple[str, GatewayView]]


def _sums(every: Sequence[GatewayView]) -> dict[str, Any]:
    waiting = [one.oldest_unsent for one in every if one.oldest_unsent is not None]
    added = {name: sum(getattr(one, name) for one in every) for name in _ADDED}
    return added | {"oldest_unsent": min(waiting, default=None), "started_at": min(one.started_at for one in every)}


def _names(heard: Heard) -> dict[str, Any]:
    notes = sorted((note for _, one in heard for note in one.notes), key=lambda note: note.at)
    alarms = (_alarm(alarm, _gateway_id(name), f"Gateway {name}") for name, one in heard for alarm in one.alarms)
    return {
        "site_name": " + ".join(dict.fromkeys(one.site_name for _, one in heard)),
        "version": ", ".join(dict.fromkeys(one.version for _, one in heard)),
        "gateway": ", ".join(name for name, _ in heard),
        "notes": tuple(dict.fromkeys(notes)),
        "alarms": tuple(replace(alarm, machine=str(GATEWAY.machine)) for alarm in alarms),
        "journal_seq": 0,  # each has a journal of its own
        "journal_hash": "",
    }


def _calls(live: Sequence[GatewayView]) -> dict[str, Any]:
    silenced = [one.silenced_at for one in live if one.silenced_at is not None]
    tests = [one.test_until for one in live if one.test_until is not None]
    beacons = [_BEACONS.index(one.beacon) for one in live if one.beacon in _BEACONS]
    return {
        "sounding": any(one.sounding for one in live),
        "beacon": _BEACONS[max(beacons, default=0)],
        "silenced_at": max(silenced, default=None),
        "test_until": max(tests, default=None),
        "test_by": "; ".join(dict.fromkeys(one.test_by for one in live if one.test_by)),
    }


def _proof(live: Heard) -> dict[str, Any]:
    """Show the proofs that are on as one that lasts as long as the longest; where several are, each is named by its gateway."""
    on = [(name, one.proof) for name, one in live if one.proof is not None]
    longest = max((proof for _, proof in on), key=lambda proof: proof.until, default=None)
    if longest is None or len(on) == 1:
        return {"proof": longest}
    scopes = ", ".join(f"{proof.scope} @{name}" for name, proof in on)
    return {"proof": replace(longest, scope=scopes, is_open=any(proof.is_open for _, proof in on))}


def _links(live: Heard) -> dict[str, Any]:
    links = (LinkView(f"{name} {link.name}", link.up, link.detail) for name, one in live for link in one.links)
    upstreams = (replace(upstream, name=f"{name} {upstream.name}") for name, one in live for upstream in one.upstreams)
    return {"links": tuple(links), "upstreams": tuple(upstreams)}


def _store(live: Heard) -> dict[str, Any]:
    ill = [(name, one) for name, one in live if not one.store_ok]
    since = [one.store_since for _, one in ill if one.store_since is not None]
    kept = {one.store_keeps for _, one in ill}
    return {
        "store_ok": not ill,
        "store_detail": "; ".join(f"{name}: {one.store_detail}" for name, one in ill),
        "store_keeps": next((keeps for keeps in (*_KEEPS, *sorted(kept)) if keeps in kept), "everything"),
        "store_since": min(since, default=None),
        "deaf_since": None,  # said among the troubles, by gateway
        "keep": KeepView(),  # likewise
    }
