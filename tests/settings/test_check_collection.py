"""What plant.toml may say of the collection of a sensor, and what is made of it."""

from pathlib import Path

import pytest

from edgemon.model.collection import Collection
from edgemon.model.ids import SensorId
from tests.settings.support import PLANT, found, line_of, loaded, only

SENSOR = '[[sensor]]\nid = "s-0001"\ninterval_s = 60\n'


def collects(directory: Path, text: str) -> Collection | None:
    return loaded(directory, PLANT + SENSOR + text)[0].sensors[SensorId("s-0001")].collects


def test_a_sensor_is_commanded_where_rate_and_length_are_said(tmp_path: Path) -> None:
    assert collects(tmp_path, "") is None
    assert collects(tmp_path, "fs_hz = 6400\nsamples = 8192\n") == Collection(6400.0, 8192, ("x",), None)
    whole = 'fs_hz = 6400\nsamples = 8192\naxes = ["x", "y", "z"]\ncaptures_per_percent = 50\n'
    assert collects(tmp_path, whole) == Collection(6400.0, 8192, ("x", "y", "z"), 50.0)


@pytest.mark.parametrize(
    ("text", "at", "what", "is_error"),
    [
        ("fs_hz = 6400\n", 'id = "s-0001"\ninterval_s', "samples: is missing beside fs_hz", True),
        ("samples = 8192\n", 'id = "s-0001"\ninterval_s', "fs_hz: is missing beside samples", True),
        ("fs_hz = 0\nsamples = 8192\n", "fs_hz", "must be above zero", True),
        ("fs_hz = 6400\nsamples = 0\n", "samples", "must be above zero", True),
        ("fs_hz = 6400\nsamples = 8192\ncaptures_per_percent = -1\n", "captures_per_percent", "must be above zero", True),
        ("fs_hz = 100\nsamples = 8192\n", "samples", "takes 81.9 s, longer than interval_s", True),  # 8192/100
        ("captures_per_percent = 50\n", "captures_per_percent", "no effect without fs_hz and samples", False),
        ('fs_hz = 6400\nsamples = 8192\naxes = ["y"]\n', "axes", "a point watches axis x, which is not among them", True),
        ('fs_hz = 6400\nsamples = 8192\naxes = ["x", "x"]\n', "axes", "empty or named twice", True),
        ('axes = ["x"]\n', "axes", "no effect without fs_hz and samples", False),
    ],
)
def test_what_is_half_said_or_cannot_be_is_named_by_line(tmp_path: Path, text: str, at: str, what: str, is_error: bool) -> None:
    whole = PLANT + SENSOR + text
    problem = only(found(tmp_path, whole))
    assert what in str(problem)
    assert problem.is_error is is_error
    if "is missing" not in what:
        assert problem.line == line_of(whole, f"{at} =")
