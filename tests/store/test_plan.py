"""The order in which things go: properties of the plan over any contents, applied until nothing more goes."""

import math
from dataclasses import replace

from hypothesis import given
from hypothesis import strategies as st

from edgemon.model.alarm import MONITORING, AlarmState
from edgemon.model.ids import AlarmKey, PointId
from edgemon.model.retention import DAY_S, Kept, Retention, Worth
from edgemon.store.plan import Offer, Old, Plan, Shelf, Spell, Window, is_active, plan, worth_of
from tests.store import builders as make

NOW = make.T0
POLICY = Retention()
CAPTURES = st.lists(
    st.builds(
        Kept,
        number=st.just(0),
        worth=st.sampled_from(Worth),
        received_at=st.floats(NOW - 3000 * DAY_S, NOW),
        length=st.integers(1, 100),
    ),
    max_size=30,
).map(lambda found: [replace(one, number=k) for k, one in enumerate(found, 1)])
OLD = st.lists(st.floats(NOW - 3000 * DAY_S, NOW), max_size=5).map(
    lambda times: [Old(k, t) for k, t in enumerate(sorted(times))]
)
SHELF = st.integers(1, 7)


def offered(captures: list[Kept], old: list[Old], needed: int | None, most: int) -> Offer:
    """What the store offers: of each worth the oldest few that are sent."""
    newest = max((one.number for one in captures), default=0)
    shelves = {}
    for worth in (Worth.NORMAL, Worth.ALERT, Worth.EVENT):
        every = sorted((one for one in captures if one.worth is worth), key=lambda one: one.received_at)
        sent = [one for one in every if (needed is None or one.number <= needed) and one.number != newest]
        shelves[worth] = Shelf(tuple(sent[:most]), len(sent) <= most)
    return Offer(sum(one.length for one in captures), shelves, Shelf(tuple(old[:most]), len(old) <= most), newest, needed)


def settled(
    captures: list[Kept], old: list[Old], needed: int | None, budget: int, most: int
) -> tuple[list[Kept], list[Old], Plan]:
    """Step until there is nothing more to do."""
    for _ in range(500):
        step = plan(offered(captures, old, needed, most), POLICY, budget, NOW)
        captures = [one for one in captures if one not in step.captures]
        old = [one for one in old if one not in step.stretches]
        if step.is_done and not step.captures and not step.stretches:
            return captures, old, step
    raise AssertionError("it never ends")


@given(CAPTURES, OLD, st.one_of(st.none(), st.integers(0, 30)), st.integers(0, 1500), SHELF)
def test_the_budget_is_held_or_nothing_may_go(
    captures: list[Kept], old: list[Old], needed: int | None, budget: int, most: int
) -> None:
    left, still_old, end = settled(captures, old, needed, budget, most)
    used = sum(one.length for one in left)
    newest = max((one.number for one in captures), default=0)
    assert end.short_bytes == max(0, used - budget)
    may = [
        one
        for one in left
        if one.worth is not Worth.BASELINE and one.number != newest and (needed is None or one.number <= needed)
    ]
    assert used <= budget or not may
    assert all(NOW - one.received_at <= POLICY.age_s(one.worth) for one in may)
    assert all(NOW - one.last <= POLICY.readings_s for one in still_old)


@given(CAPTURES, OLD, st.one_of(st.none(), st.integers(0, 30)), st.integers(0, 1500), SHELF)
def test_what_is_needed_never_goes(captures: list[Kept], old: list[Old], needed: int | None, budget: int, most: int) -> None:
    left, _, _ = settled(captures, old, needed, budget, most)
    gone = [one for one in captures if one not in left]
    assert all(one.worth is not Worth.BASELINE for one in gone)
    assert all(needed is None or one.number <= needed for one in gone)
    assert max((one.number for one in captures), default=0) not in {one.number for one in gone}


@given(CAPTURES, OLD, st.one_of(st.none(), st.integers(0, 30)), st.integers(0, 1500), SHELF)
def test_for_want_of_room_the_lesser_and_older_go_first(
    captures: list[Kept], old: list[Old], needed: int | None, budget: int, most: int
) -> None:
    """Nothing that went within its age was worth more, or newer among its like, than what stayed and might have gone."""
    left, _, _ = settled(captures, old, needed, budget, most)
    newest = max((one.number for one in captures), default=0)
    may = [one for one in left if (needed is None or one.number <= needed) and one.number != newest]
    rank = {one.number: (one.worth, one.received_at) for one in captures}
    for one in captures:
        if one not in left and NOW - one.received_at <= POLICY.age_s(one.worth):
            assert all(rank[one.number] <= rank[other.number] for other in may if other.worth is not Worth.BASELINE)


@given(CAPTURES, OLD, SHELF)
def test_nothing_goes_within_age_and_budget(captures: list[Kept], old: list[Old], most: int) -> None:
    left, _, _ = settled(captures, old, None, sum(one.length for one in captures), most)
    newest = max((one.number for one in captures), default=0)
    assert [one for one in captures if one not in left] == [
        one for one in captures if NOW - one.received_at > POLICY.age_s(one.worth) and one.number != newest
    ]


def test_readings_are_thinned_before_captures_around_events_go() -> None:
    event = Kept(1, Worth.EVENT, NOW - DAY_S, 100)
    offer = Offer(200, {Worth.EVENT: Shelf((event,))}, Shelf((Old(1, NOW - 500 * DAY_S),)), newest=2)
    first = plan(offer, POLICY, 100, NOW)
    assert (first.captures, first.stretches, first.is_done) == ((), offer.stretches.items, False)
    assert plan(replace(offer, stretches=Shelf()), POLICY, 100, NOW).captures == (event,)


SPELL = Spell(make.POINT, False, make.T0, make.T0 + 3600.0)
OTHER = make.POINT._replace(point=PointId("another"))


def worth(taken_at: float, *, points: tuple[tuple[str, str], ...] = (make.POINT,), sim: bool = False) -> Worth:
    windows = (Window(make.T0 - 5e6, make.T0 - 4e6, False),)
    return worth_of(taken_at, sim, points, (SPELL,), windows, 600.0)  # type: ignore[arg-type]


def test_what_a_capture_is_worth() -> None:
    assert worth(make.T0 - 601.0) is Worth.NORMAL
    assert worth(make.T0 - 600.0) is Worth.EVENT
    assert worth(make.T0 + 600.0) is Worth.EVENT
    assert worth(make.T0 + 601.0) is Worth.ALERT
    assert worth(make.T0 + 3600.0) is Worth.ALERT
    assert worth(make.T0 + 3601.0) is Worth.NORMAL
    assert worth(make.T0, points=(OTHER,)) is Worth.ALERT  # the same machine, another point
    assert worth(make.T0, sim=True) is Worth.NORMAL
    assert worth(make.T0 - 4.5e6) is Worth.BASELINE
    assert worth(make.T0 - 4.5e6, sim=True) is Worth.NORMAL


def test_an_alarm_still_active_makes_everything_after_its_onset_worth_more() -> None:
    spell = replace(SPELL, until=None)
    assert worth_of(make.T0 + 1e9, False, (make.POINT,), (spell,), (), 600.0) is Worth.ALERT


def test_what_a_change_tells_of_an_alarm() -> None:
    raised = make.raised()
    assert is_active(raised) is True
    assert is_active(replace(raised, to_state=AlarmState.RTNUN)) is False
    assert is_active(replace(raised, to_state=AlarmState.SHLVD)) is None
    assert is_active(replace(raised, alarm=AlarmKey(*make.POINT, MONITORING))) is None


def test_baselines_are_kept_for_ever() -> None:
    assert POLICY.age_s(Worth.BASELINE) == math.inf
