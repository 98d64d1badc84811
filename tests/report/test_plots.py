"""Plots: the same values give the same bytes, labels never meet, inks can be read."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from edgemon.report import plots
from edgemon.report.document import Crossing, LimitLine, Mark, Plot, SpectrumPlot, Tone, TrendPlot, WaveformPlot
from edgemon.report.port import Family, Marker

TREND = TrendPlot(
    "Velocity r.m.s. in mm/s",
    (0.0, 300.0, 600.0),
    (1.0, 2.0, 3.0),
    (True, False, True),
    0.0,
    600.0,
    (LimitLine(2.8, "alert 2.8 mm/s", Tone.ALERT),),
    (Mark(300.0, 1, Tone.ALERT),),
)
SPECTRUM = SpectrumPlot("Velocity in mm/s", 1.0, np.ones(100), 99.0, (Marker(25.0, "1x $", Family.SPEED),))
WAVE = WaveformPlot("Acceleration in m/s²", 6400.0, np.zeros(2, np.float32), 0.02)


@pytest.mark.parametrize("plot", [TREND, SPECTRUM, WAVE], ids=["trend", "spectrum", "waveform"])
def test_the_same_plot_gives_the_same_bytes(plot: Plot) -> None:
    assert plots.png(plot) == plots.png(plot)
    assert plots.svg(plot, "a") == plots.svg(plot, "a")
    assert plots.png(plot).startswith(b"\x89PNG")


def test_a_picture_has_no_date_and_no_address_outside_it() -> None:
    picture = plots.svg(TREND, "a")
    assert picture.startswith("<svg ")
    assert "<metadata" not in picture
    assert "<?xml" not in picture
    assert 'id="figure' not in picture


@pytest.mark.parametrize(
    "plot",
    [
        TrendPlot("y", (5.0,), (0.0,), (True,), 5.0, 5.0),
        TrendPlot("y", (0.0, 1.0), (-3.0, -3.0), (False, False), 0.0, 1.0),
        TrendPlot("y", (0.0, 1.0), (9.0, 9.0), (True, True), 0.0, 1.0, (LimitLine(2.8, "alert", Tone.ALERT),)),
        SpectrumPlot("y", 1.0, np.zeros(3), 2.0),
        WaveformPlot("y", 6400.0, np.zeros(10, np.float32)),
    ],
    ids=["one value", "all unfit", "far beyond", "no vibration", "speed not known"],
)
def test_poor_plots_are_drawn(plot: Plot) -> None:
    assert plots.png(plot)


def test_an_event_outside_the_period_is_left_out() -> None:
    outside = replace(TREND, marks=(Mark(-1e6, 1, Tone.ALARM), Mark(1e6, 2, Tone.ALARM)))
    assert plots.png(outside) == plots.png(replace(TREND, marks=()))


def test_a_line_breaks_where_nothing_was_measured() -> None:
    times, values = plots._broken(np.array([0.0, 1.0, 2.0, 9.0, 10.0]), np.ones(5))
    assert np.isnan(times).tolist() == [False, False, False, True, False, False]
    assert np.isnan(values).tolist() == [False, False, False, True, False, False]


@given(st.lists(st.tuples(st.floats(0.0, 1.0), st.floats(0.001, 0.3)), max_size=40))
def test_labels_in_one_row_never_meet(labels: list[tuple[float, float]]) -> None:
    labels.sort()
    rows = plots._rows([place for place, _ in labels], [width for _, width in labels])
    for row in {row for row in rows if row is not None}:
        own = [label for label, other in zip(labels, rows, strict=True) if other == row]
        for (left, wide), (right, other_wide) in pairwise(own):
            assert left + wide / 2.0 <= right - other_wide / 2.0 + 1e-12


def luminance(colour: str) -> float:
    """WCAG 2.1, definition of relative luminance."""
    parts = [int(colour[k : k + 2], 16) / 255.0 for k in (1, 3, 5)]
    linear = [part / 12.92 if part <= 0.03928 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


@pytest.mark.parametrize("tone", list(Tone))
def test_every_ink_can_be_read_on_white(tone: Tone) -> None:
    assert 1.05 / (luminance(plots.TONES[tone]) + 0.05) >= 4.5


def test_a_forecast_lengthens_the_time_axis_at_most_twofold_and_changes_the_picture() -> None:
    day = 86_400.0
    bare = TrendPlot("mm/s", (0.0, day), (1.0, 2.0), (True, True), 0.0, day, (LimitLine(4.5, "alarm", Tone.ALARM),))
    ends = {
        None: 1.0,
        (1.2, 1.4, 1.5): 1.5 + 0.03,
        (1.2, 1.4, None): 1.4 + 0.03,
        (1.2, 3.0, 9.0): 2.0,
    }
    for times, end in ends.items():
        crossings: tuple[Crossing, ...] = ()
        if times is not None:
            earliest, likely, latest = (None if one is None else one * day for one in times)
            assert earliest is not None
            crossings = (Crossing(4.5, earliest, likely, latest, Tone.ALARM),)
        plot = replace(bare, crossings=crossings)
        figure = plots._draw(plot)
        (axes,) = figure.axes
        assert axes.get_xlim() == pytest.approx((0.0, end))
        assert axes.get_ylim()[1] > 4.5
        assert (plots.svg(plot, "a") == plots.svg(bare, "a")) is (times is None)
