import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from edgemon.board.theme import ASCII, UNICODE, Glyphs
from edgemon.board.view import figures
from edgemon.board.view.cells import width_of

anything = st.floats(allow_nan=True, allow_infinity=True)


@pytest.mark.parametrize(
    ("value", "text"),
    [(0.0, "0.00"), (4.5, "4.50"), (9.994, "9.99"), (9.995, "10.0"), (12.34, "12.3"), (99.96, "100"),
     (1485.0, "1485"), (-61.0, "-61.0"), (99_999.6, "1e+05"), (None, "--"), (math.nan, "--"), (math.inf, "--")],
)  # fmt: skip
def test_numbers_have_three_digits(value: float | None, text: str) -> None:
    assert figures.number(value) == text


@given(anything)
def test_no_number_is_ever_wider_than_its_column(value: float) -> None:
    assert len(figures.number(value)) <= figures.NUMBER


@pytest.mark.parametrize(
    ("seconds", "text"),
    [(-5, "<10s"), (0, "<10s"), (9.9, "<10s"), (10, "10s"), (59, "50s"), (60, "1m"),
     (3599, "59m"), (3600, "1h"), (172_800, "2d"), (55.9 * 86_400, "55d"), (56 * 86_400, "8w"),
     (1e9, ">19y")],
)  # fmt: skip
def test_ages_go_in_coarse_steps(seconds: float, text: str) -> None:
    assert figures.age(1000.0, 1000.0 + seconds) == text


@pytest.mark.parametrize(
    ("seconds", "text"),
    [(900, "15 min"), (5400, "90 min"), (3600, "1 h"), (86_400, "24 h"), (172_800, "48 h"), (180_000, "50 h"),
     (259_200, "3 days"), (30 * 86_400, "30 days"), (56 * 86_400, "8 weeks"), (60 * 86_400, "60 days"),
     (91 * 86_400, "13 weeks")],
)  # fmt: skip
def test_spans_are_spoken_exactly_and_in_the_unit_people_count_them_in(seconds: float, text: str) -> None:
    assert figures.spoken(seconds) == text


def test_what_was_never_heard_has_no_age() -> None:
    assert figures.age(None, 1000.0) == "--"


@given(anything, anything)
def test_no_age_is_wider_than_its_column(since: float, now: float) -> None:
    assert len(figures.age(since, now)) <= 4


def test_alert_and_alarm_stand_at_the_same_place_for_every_machine() -> None:
    for alert, alarm in ((2.8, 4.5), (4.5, 7.1), (80.0, 95.0)):
        assert figures.place(alert, alert, alarm) == pytest.approx(0.5)
        assert figures.place(alarm, alert, alarm) == pytest.approx(0.75)
        assert figures.place(2 * alarm, alert, alarm) == pytest.approx(1.0)
        assert figures.place(alert / 2, alert, alarm) == pytest.approx(0.25)


def test_with_one_limit_the_scale_is_straight_through_it() -> None:
    assert figures.place(3.0, None, 6.0) == pytest.approx(0.375)
    assert figures.place(3.0, 6.0, None) == pytest.approx(0.25)
    assert figures.place(12.0, 6.0, None) == pytest.approx(0.75)
    assert figures.place(3.0, None, None) is None


@given(st.floats(0, 1e6), st.floats(0, 1e6), st.floats(0.1, 1e3), st.floats(1.0, 10.0))
def test_the_scale_only_ever_rises(one: float, other: float, alert: float, times: float) -> None:
    low, high = (figures.place(value, alert, alert * times) for value in sorted((one, other)))
    assert low is not None
    assert high is not None
    assert 0.0 <= low <= high <= 1.0


@given(
    st.none() | st.floats(0, 1), st.integers(0, 80), st.sampled_from([UNICODE, ASCII]), st.tuples(st.booleans(), st.booleans())
)
def test_a_bar_is_as_wide_as_asked(at: float | None, width: int, glyphs: Glyphs, limits: tuple[bool, bool]) -> None:
    filled, track = figures.bar(at, width, glyphs, limits)
    assert width_of(filled + track) == width
    assert filled.isascii() or not glyphs.plain


@given(st.floats(0, 1), st.integers(4, 80))
def test_a_tick_is_covered_exactly_where_its_limit_is_reached(at: float, width: int) -> None:
    filled, _ = figures.bar(at, width, UNICODE)
    alert, alarm = figures.ticks(width)
    assert (len(filled) > alert) == (at >= figures.ALERT_AT)
    assert (len(filled) > alarm) == (at >= figures.ALARM_AT)


@given(st.lists(anything), st.integers(0, 50), st.sampled_from([UNICODE, ASCII]))
def test_a_trend_is_as_wide_as_asked_and_shows_the_newest(values: list[float], width: int, glyphs: Glyphs) -> None:
    drawn = figures.trend(values, width, glyphs)
    assert width_of(drawn) == width
    assert figures.trend([*values, 9.0], width, glyphs)[-1:] == (glyphs.steps[-1] if width else "")


def test_units_are_written_as_people_do() -> None:
    assert [figures.unit(name, UNICODE) for name in ("m/s2", "Cel", "mm/s", "1")] == ["m/s²", "°C", "mm/s", ""]
    assert figures.unit("m/s2", ASCII) == "m/s2"
    assert figures.unit("Cel", ASCII) == "C"


@given(anything)
def test_no_time_of_day_fails(instant: float) -> None:
    assert len(figures.clock(instant)) == 8
    assert len(figures.stamp(instant)) == 19
