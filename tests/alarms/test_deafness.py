"""When silence of all sensors is the gateway's, against probabilities worked out by hand and by counting.

Source of the arithmetic: independent events, p = q1 x q2 x ...; the figures (1 % least, half an interval late) are the house's.
"""

from dataclasses import replace
from random import Random

import pytest

from edgemon.alarms.deafness import Expected, Missed, is_deaf, missed


def sensors(count: int, interval_s: float = 300.0, missing: float = 0.0, at: float = 1000.0) -> list[Expected]:
    """Sensors that report one after the other, evenly spread over their interval, the last of them at `at`."""
    return [Expected(at - place * interval_s / count, interval_s, missing) for place in range(count)]


def test_the_chance_is_the_product_over_the_reports_that_did_not_come() -> None:
    # by hand: heard at 0, -100 and -200, every 300 s, late by half: overdue at 450, 350 and 250, then each 300 s later
    three = sensors(3, at=0.0)

    def counted(now: float) -> tuple[int, float]:
        found = missed(three, 0.0, now)
        return found.sensors, found.decades

    assert counted(249.0) == (0, 0.0)
    assert counted(250.0) == pytest.approx((1, 2.0))
    assert counted(350.0) == pytest.approx((2, 4.0))
    assert counted(450.0) == pytest.approx((3, 6.0))
    assert counted(550.0) == pytest.approx((3, 8.0))  # the first of them a second time


def test_a_poor_link_says_less() -> None:
    # 0.2 ** 3 = 0.008: 2.1 decades; a report that always failed says nothing
    assert missed(sensors(3, missing=0.2, at=0.0), 0.0, 450.0).decades == pytest.approx(2.0969, abs=1e-4)
    assert missed(sensors(3, missing=1.0, at=0.0), 0.0, 450.0).decades == 0.0


def test_many_sensors_are_missed_sooner_than_few() -> None:
    def after(count: int) -> float:
        return next(t for t in range(10_000) if is_deaf(missed(sensors(count, at=0.0), 0.0, t), 3, 1e-6))

    times = [after(count) for count in (3, 6, 12, 48)]
    assert times == sorted(times, reverse=True)
    assert times[0] == 450
    assert times[-1] < 0.6 * 300


def test_sensors_silent_before_say_nothing() -> None:
    dead = [Expected(0.0, 300.0, 0.0) for _ in range(5)]
    assert missed([*dead, *sensors(2, at=5000.0)], 5000.0, 6000.0).sensors == 2


def test_a_gateway_that_just_began_to_listen_waits_for_a_whole_interval() -> None:
    day = 86_400.0
    assert missed(sensors(5, at=0.0), day, day + 449.0) == Missed(0, 0.0)
    assert missed(sensors(5, at=0.0), day, day + 450.0).sensors == 5


def test_what_was_overdue_already_when_the_last_report_came_is_not_counted() -> None:
    one, other = Expected(0.0, 300.0, 0.0), Expected(440.0, 300.0, 0.0)
    assert missed([one, other], 440.0, 890.0).sensors == 2
    assert missed([one, replace(other, heard_at=460.0)], 460.0, 910.0).sensors == 1, "the gateway heard, and not the first"


def test_too_few_sensors_or_none_asked_for() -> None:
    assert not is_deaf(Missed(2, 99.0), 3, 1e-6)
    assert is_deaf(Missed(3, 6.0), 3, 1e-6)
    assert not is_deaf(Missed(3, 5.9), 3, 1e-6)
    assert not is_deaf(Missed(30, 99.0), 0, 1e-6)


@pytest.mark.parametrize(("count", "failing"), [(3, 0.3), (5, 0.4), (6, 0.5)])
def test_by_chance_it_is_as_rare_as_the_site_asked_for(count: int, failing: float) -> None:
    """Sensors whose reports fail at random, and a gateway that hears well: counted over 2,000 intervals of each.

    Asked for at most one in a hundred; a quiet spell begins with every report that comes, so it is counted per report.
    """
    chance, interval = 0.01, 100.0
    random = Random(count)
    phase = [interval * place / count for place in range(count)]
    heard = [0.0] * count
    quiet, begun, wrong, since = 0.0, 0, 0, False
    for number in range(2_000):
        for place in range(count):
            now = number * interval + phase[place] + interval
            known = [Expected(at, interval, failing) for at in heard]
            if not since and is_deaf(missed(known, quiet, now), min(3, count), chance):
                wrong, since = wrong + 1, True
            if random.random() >= failing:
                heard[place], quiet, since = now, now, False
                begun += 1
    assert 0 < wrong / begun < 2 * chance
