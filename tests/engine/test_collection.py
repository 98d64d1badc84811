"""Fast collection: what it costs, who may have it, and how it ends."""

from dataclasses import replace

import pytest

from edgemon.api.view import words
from edgemon.decode.assemble import Assembly
from edgemon.engine.collection import PLANT_FILE, obey, schedules, sensor_of
from edgemon.engine.judge import tick
from edgemon.engine.memory import Memory, Setting, setting_of
from edgemon.engine.proof import CLOCK_WAS_SET, TIME_IS_UP
from edgemon.errors import ParameterError
from edgemon.model.collection import (
    LONGEST_S,
    Collection,
    FastCollectionEnded,
    FastCollectionStarted,
    StartFast,
    StopFast,
    cost_of,
    still_on,
)
from edgemon.model.command import Person, Role
from edgemon.model.machine import Plant
from tests.support.plants import PUMP, SENSOR, gateway, plant

ENGINEER = Person("engineer on site", Role.ENGINEER, "control room")
NOW = 1_760_000_000.0
COLLECTS = Collection(6400.0, 8192, ("x", "z"), 50.0)


def commanded(collects: Collection | None = COLLECTS, interval_s: float = 300.0) -> Plant:
    one = plant()
    return replace(one, sensors={SENSOR: replace(one.sensors[SENSOR], interval_s=interval_s, collects=collects)})


def begun(collects: Collection | None = COLLECTS) -> tuple[Setting, Memory]:
    setting = setting_of(commanded(collects), gateway())
    return setting, Memory({}, {}, {}, Assembly(), {})


def order(**other: object) -> StartFast:
    return replace(StartFast("hp-pump-1/pump-de-h", 60.0, 7200.0, "a rising bearing"), **other)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("routine", "every", "lasts", "captures", "percent"),
    [
        (300.0, 60.0, 7200.0, 96, 1.92),  # 7200/60 - 7200/300 = 120 - 24; 96/50
        (3600.0, 600.0, 86_400.0, 120, 2.4),  # 144 - 24; 120/50
        (300.0, 100.0, 100.0, 1, 0.02),  # 1 - 1/3, rounded up: a cost is never told too small
        (600.0, 60.0, LONGEST_S, 9072, 181.44),  # 10080 - 1008; more than there is, and said so
    ],
)
def test_the_cost_is_what_a_calculation_by_hand_gives(
    routine: float, every: float, lasts: float, captures: int, percent: float
) -> None:
    cost = cost_of(routine, every, lasts, 50.0)
    assert cost.captures == captures
    assert cost.battery_pct == pytest.approx(percent)
    unknown = cost_of(routine, every, lasts, None)
    assert unknown.battery_pct is None
    assert "not known" in str(unknown)


def test_an_interval_of_nothing_has_no_cost() -> None:
    with pytest.raises(ValueError, match="above zero"):
        cost_of(300.0, 0.0, 60.0, None)


def test_it_is_journalled_with_all_that_was_decided() -> None:
    setting, memory = begun()
    judged = obey(setting, memory, order(), ENGINEER, NOW)
    assert judged.commit.events == (
        FastCollectionStarted(
            *(NOW, NOW + 7200.0, SENSOR, PUMP, 60.0, 300.0, 96, 1.92),
            *("engineer on site", "control room", "a rising bearing"),
        ),
    )
    shown = schedules(setting, judged.memory, PUMP, NOW)[SENSOR]
    assert shown.fast is not None
    assert (shown.fast.interval_s, shown.fast.until) == (60.0, NOW + 7200.0)
    assert schedules(setting, judged.memory, PUMP, NOW + 7200.0)[SENSOR].fast is None


@pytest.mark.parametrize(
    ("changed", "why"),
    [
        ({"interval_s": 300.0}, "not faster than the routine, every 300 s"),
        ({"interval_s": 600.0}, "not faster than the routine"),
        ({"interval_s": 1.0}, "a capture takes 1.28 s"),  # 8192/6400
        ({"interval_s": -1.0}, "too often"),
        ({"interval_s": float("nan")}, "not faster"),
        ({"duration_s": 59.0}, "one interval at least"),
        ({"duration_s": LONGEST_S + 1.0}, "7 days at most"),
        ({"duration_s": float("nan")}, "one interval at least"),
        ({"reason": "  "}, "say why"),
        ({"target": "hp-pump-1/none"}, "no such point: hp-pump-1/none"),
        ({"target": "s-9999"}, "no such sensor: s-9999"),
    ],
)
def test_what_cannot_be_is_refused_and_says_why(changed: dict[str, object], why: str) -> None:
    setting, memory = begun()
    with pytest.raises(ParameterError, match=why):
        obey(setting, memory, order(**changed), ENGINEER, NOW)


def test_a_sensor_that_is_not_commanded_is_told_what_to_add() -> None:
    setting, memory = begun(None)
    with pytest.raises(ParameterError, match=r'add fs_hz and samples to \[\[sensor\]\] "s-0001"'):
        obey(setting, memory, order(), ENGINEER, NOW)
    assert schedules(setting, memory, PUMP, NOW) == {}


def test_only_one_is_on_and_it_is_taken_back_by_a_person() -> None:
    setting, memory = begun()
    with pytest.raises(ParameterError, match="no fast collection is on"):
        obey(setting, memory, StopFast(SENSOR, "enough"), ENGINEER, NOW)
    on = obey(setting, memory, order(target=SENSOR), ENGINEER, NOW)
    with pytest.raises(ParameterError, match="collects faster already"):
        obey(setting, on.memory, order(), ENGINEER, NOW)
    over = obey(setting, on.memory, StopFast("hp-pump-1/pump-de-a", "enough"), ENGINEER, NOW + 5.0)
    assert over.memory.fast == {}
    assert over.commit.events == (FastCollectionEnded(NOW + 5.0, SENSOR, PUMP, "enough", "engineer on site", "control room"),)
    assert still_on([*on.commit.events]) == on.commit.events
    assert still_on([*on.commit.events, *over.commit.events]) == ()


def test_time_ends_it_and_so_does_a_plant_file_that_no_longer_lets_it() -> None:
    setting, memory = begun()
    on = obey(setting, memory, order(), ENGINEER, NOW).memory
    assert tick(setting, on, NOW + 7199.0).memory.fast == on.fast
    over = tick(setting, on, NOW + 7200.0)
    assert over.memory.fast == {}
    assert FastCollectionEnded(NOW + 7200.0, SENSOR, PUMP, TIME_IS_UP) in over.commit.events


def unused(of: Plant) -> Plant:
    """The plant with its sensor, which no point uses any more."""
    return replace(of, machines=tuple(replace(machine, points=()) for machine in of.machines))


LONG = replace(COLLECTS, samples=640_000)
"""A capture takes 640 000 / 6400 Hz = 100 s: none fits into 60 s."""


@pytest.mark.parametrize("other", [commanded(None), commanded(interval_s=60.0), commanded(LONG), unused(commanded())])
def test_a_plant_file_that_would_not_allow_it_ends_it(other: Plant) -> None:
    on = obey(*begun(), order(), ENGINEER, NOW).memory
    setting = setting_of(other, gateway())
    assert not any(view.fast for view in schedules(setting, on, PUMP, NOW + 1.0).values())
    changed = tick(setting, on, NOW + 1.0)
    assert changed.memory.fast == {}
    is_commanded = SENSOR in schedules(setting, on, PUMP, NOW + 1.0)
    assert changed.commit.events == (FastCollectionEnded(NOW + 1.0, SENSOR, PUMP, PLANT_FILE, is_commanded=is_commanded),)
    assert ("its routine schedule is in force" in words(changed.commit.events[0])) is is_commanded
    assert ("its schedule is withdrawn" in words(changed.commit.events[0])) is not is_commanded


def test_an_interval_that_just_fits_goes_on() -> None:
    on = obey(*begun(), order(), ENGINEER, NOW).memory
    fits = replace(COLLECTS, samples=384_000)  # 384 000 / 6400 Hz = 60 s
    assert tick(setting_of(commanded(fits), gateway()), on, NOW + 1.0).memory.fast == on.fast


def test_a_clock_set_back_while_the_gateway_was_off_prolongs_nothing() -> None:
    setting, memory = begun()
    on = obey(setting, memory, order(), ENGINEER, NOW).memory
    back = NOW - 30 * 86_400.0
    assert schedules(setting, on, PUMP, back)[SENSOR].fast is None
    over = tick(setting, on, back)
    assert over.memory.fast == {}
    assert FastCollectionEnded(back, SENSOR, PUMP, CLOCK_WAS_SET) in over.commit.events
    assert obey(setting, over.memory, order(), ENGINEER, back).memory.fast


def test_a_sensor_is_named_by_itself_or_by_a_point() -> None:
    assert sensor_of(commanded(), "s-0001").id == sensor_of(commanded(), "hp-pump-1/pump-de-a").id == SENSOR
