"""In which unit of time a slope is told."""

import pytest

from edgemon.model.outlook import pace


@pytest.mark.parametrize(
    ("per_day", "value", "told"),
    [
        (0.02, 1.8, (0.02, "a day")),
        (-3.0, 1.5, (-3.0, "a day")),
        (48.0, 1.8, (2.0, "an hour")),
        (411.0, 1.8, (0.2854, "a minute")),
        (1e6, 1.8, (694.4, "a minute")),
        (1e6, None, (1e6, "a day")),
        (0.0, 0.0, (0.0, "a day")),
    ],
)
def test_a_level_does_not_change_to_many_times_itself_in_the_unit_it_is_told_in(
    per_day: float, value: float | None, told: tuple[float, str]
) -> None:
    slope, words = pace(per_day, value)
    assert slope == pytest.approx(told[0], rel=1e-3)
    assert words == told[1]
