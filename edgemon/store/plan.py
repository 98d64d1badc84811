"""What goes when the store is full or its contents are old; pure.

The order in which things go to make room: captures of normal machines, captures of machines in alert, readings beyond their age
(thinned, never dropped), captures around events; of each the oldest first. Never: what an upstream still needs, what a baseline
rests on, the newest capture (its number must not be given again), the journal (it goes by its own age alone).
"""

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field
from typing import Generic, TypeVar

from edgemon.model.alarm import MONITORING, AlarmState
from edgemon.model.event import AlarmChanged
from edgemon.model.ids import PointKey
from edgemon.model.instant import Instant
from edgemon.model.retention import Kept, Retention, Worth

T = TypeVar("T")
_ACTIVE = (AlarmState.UNACK, AlarmState.ACKED)
_HIDDEN = (AlarmState.SHLVD, AlarmState.DSUPR, AlarmState.OOSRV)


@dataclass(frozen=True, slots=True)
class Spell:
    """A time in which an alarm was active."""

    point: PointKey
    sim: bool
    since: Instant
    until: Instant | None
    """None: it still is, or nothing is known because it is hidden."""


@dataclass(frozen=True, slots=True)
class Window:
    """The time of the captures that a baseline rests on."""

    since: Instant
    until: Instant
    sim: bool


def is_active(event: AlarmChanged) -> bool | None:
    """Say whether an alarm is active after a change; None where that is not known, or the alarm is not the machine's."""
    if event.alarm.level == MONITORING or event.to_state in _HIDDEN:
        return None
    return event.to_state in _ACTIVE


def worth_of(
    taken_at: Instant,
    sim: bool,
    points: Collection[PointKey],
    spells: Iterable[Spell],
    windows: Iterable[Window],
    around_s: float,
) -> Worth:
    """Weigh a capture.

    Parameters
    ----------
    points : collection of PointKey
        What its sensor watches.
    spells : iterable of Spell
        Of the machines of these points.
    windows : iterable of Window
        Of the baselines of these points.
    """
    if any(window.sim == sim and window.since <= taken_at <= window.until for window in windows):
        return Worth.BASELINE
    worth = Worth.NORMAL
    for spell in spells:
        if spell.sim != sim:
            continue
        if spell.point in points and abs(taken_at - spell.since) <= around_s:
            return Worth.EVENT
        if spell.since <= taken_at and (spell.until is None or taken_at <= spell.until):
            worth = Worth.ALERT
    return worth


@dataclass(frozen=True, slots=True)
class Shelf(Generic[T]):
    """Some of what is kept, the oldest first."""

    items: tuple[T, ...] = ()
    is_all: bool = True
    """False: there is more behind these."""


@dataclass(frozen=True, slots=True)
class Old:
    """A stretch of readings that is not thinned yet."""

    id: int
    last: Instant


@dataclass(frozen=True, slots=True)
class Offer:
    """What is kept, as far as the next step can see."""

    used_bytes: int
    captures: Mapping[Worth, Shelf[Kept]] = field(default_factory=dict)
    stretches: Shelf[Old] = Shelf()
    newest: int = 0
    """Number of the newest capture."""
    needed: int | None = None
    """Captures up to this number are no longer needed by any upstream; None: none needs any."""


@dataclass(frozen=True, slots=True)
class Plan:
    """What goes in this step."""

    captures: tuple[Kept, ...] = ()
    stretches: tuple[Old, ...] = ()
    """To be thinned."""
    short_bytes: int = 0
    """Still over the budget, and nothing may go any more."""
    is_done: bool = True
    """False: there may be more to do once this is done."""


def plan(offer: Offer, retention: Retention, budget_bytes: int, now: Instant) -> Plan:
    """Decide what goes: whatever is older than its age, and as much more as the budget asks for."""
    shelves = {worth: offer.captures.get(worth, Shelf()) for worth in (Worth.NORMAL, Worth.ALERT, Worth.EVENT)}
    free = {worth: [one for one in shelf.items if _may_go(one, offer)] for worth, shelf in shelves.items()}
    going: list[Kept] = []
    for worth, kept in free.items():
        going += [one for one in kept if one.received_at < now - retention.age_s(worth)]
    stretches = tuple(one for one in offer.stretches.items if one.last < now - retention.readings_s)
    aged = {one.number for one in going}
    is_cut = any(not shelf.is_all and (not shelf.items or shelf.items[-1].number in aged) for shelf in shelves.values())
    is_cut |= not offer.stretches.is_all and len(stretches) == len(offer.stretches.items)
    over = offer.used_bytes - budget_bytes - sum(one.length for one in going)
    for worth, kept in free.items():
        if over <= 0:
            break
        if worth is Worth.EVENT and stretches:  # thinned first: then one sees whether that was enough
            return Plan(tuple(going), stretches, 0, False)
        for one in kept:
            if over > 0 and one.number not in aged:
                going.append(one)
                over -= one.length
        if over > 0 and not shelves[worth].is_all:
            return Plan(tuple(going), stretches, 0, False)
    return Plan(tuple(going), stretches, max(0, over), not is_cut)


def _may_go(one: Kept, offer: Offer) -> bool:
    is_sent = offer.needed is None or one.number <= offer.needed
    return is_sent and one.number != offer.newest and one.worth is not Worth.BASELINE
