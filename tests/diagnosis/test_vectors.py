"""1x of axes that share a clock, against a baseline: a motion that has turned is told though no size has changed."""

import numpy as np
import pytest

from edgemon.diagnosis import Channel, MachineFacts, Record, diagnose

FS, N, HZ = 6400.0, 16384, 24.7
H, V = Channel("h", "horizontal"), Channel("v", "vertical")


def record(
    sizes: tuple[float, ...],
    angles_deg: tuple[float, ...],
    start: float,
    hz: float = HZ,
    channels: tuple[Channel, ...] = (H, V),
) -> Record:
    """Velocities of 1x, mm/s r.m.s., at angles of each axis; the record begins anywhere in the turn; noise of 0.2 m/s2."""
    time, random = np.arange(N) / FS, np.random.default_rng(int(1000 * start))
    peaks = np.sqrt(2.0) * 1e-3 * 2.0 * np.pi * hz * np.array(sizes)
    phases = 2.0 * np.pi * (hz * time + start)[None] + np.radians(angles_deg)[:, None]
    return Record(peaks[:, None] * np.cos(phases) + 0.2 * random.normal(size=(len(sizes), N)), FS, channels)


def said(now: Record, then: list[Record], now_hz: float = HZ, border: float | None = None) -> str:
    """What the diagnosis says of 1x against the baseline; the speeds told with the records are 0.2 % off."""
    before = [(one, MachineFacts(1.002 * HZ)) for one in then]
    found = diagnose(now, MachineFacts(0.998 * now_hz, change_m_s=border), before)
    return next((remark for remark in found.remarks if remark.startswith("1x against")), "")


THEN = [record((3.0, 2.0), (0.0, -90.0), start) for start in (0.11, 0.52, 0.83)]


def test_axes_that_turned_against_each_other_though_no_size_changed() -> None:
    """(3, -2i) to (3, 2i): least change twice the smaller, 4 mm/s (closed form), whatever the angle each record began at."""
    told = said(record((3.0, 2.0), (0.0, 90.0), 0.37), THEN, border=0.7e-3)
    assert (
        "vectors of h, v together have changed by at least 4 mm/s r.m.s., beyond a quarter of zone boundary B/C (0.7 mm/s)"
        in told
    )
    assert "cannot be known without a phase reference" in told
    sizes = float(told.split("sizes alone by ")[1].split(" mm/s")[0])
    assert sizes < 0.1


def test_the_same_motion_begun_elsewhere_in_the_turn_has_not_changed() -> None:
    assert said(record((3.0, 2.0), (0.0, -90.0), 0.29), THEN) == ""
    assert said(record((3.0, 2.0), (140.0, 50.0), 0.29), THEN) == ""  # both turned alike: the force may have, who knows


def test_of_one_axis_only_the_size_is_compared() -> None:
    one = [record((3.0,), (0.0,), 0.4, channels=(H,))]
    told = said(record((2.0,), (0.0,), 0.9, channels=(H,)), one, border=2e-3)
    assert "how far in all cannot be known" in told
    assert float(told.split("the size of h has changed by at least ")[1].split(" mm/s")[0]) == pytest.approx(1.0, rel=0.02)
    assert said(record((3.0,), (180.0,), 0.9, channels=(H,)), one) == ""


def test_at_another_speed_or_without_sizes_nothing_is_compared() -> None:
    assert said(record((3.0, 2.0), (0.0, 90.0), 0.37, hz=0.9 * HZ), THEN, now_hz=0.9 * HZ) == ""
    unsized = tuple(Channel(one.name, one.direction, calibrated=False) for one in (H, V))
    assert said(record((3.0, 2.0), (0.0, 90.0), 0.37, channels=unsized), THEN) == ""


@pytest.mark.parametrize("border", [None, 5e-3])
def test_a_change_below_what_is_significant_is_told_without_saying_it_is(border: float | None) -> None:
    told = said(record((3.0, 2.0), (0.0, 90.0), 0.37), THEN, border=border)
    assert told
    assert "beyond" not in told


@pytest.mark.parametrize("n", [0, 1, 2, 600, 1024])
def test_a_record_too_short_to_hold_1x_is_compared_with_nothing(n: int) -> None:
    """600 samples are 2 turns: no line of 1x apart from the mean, in the baseline or now; its absence is no change."""
    whole = record((3.0,), (0.0,), 0.4, channels=(H,))
    short = Record(whole.samples[:, :n], FS, (H,))
    assert said(whole, [short]) == ""
    if short.samples.shape[1] >= 512:
        assert said(short, [whole]) == ""


def test_records_of_a_baseline_that_nothing_is_compared_with_are_told() -> None:
    now, facts = record((3.0,), (0.0,), 0.4, channels=(H,)), MachineFacts(HZ)
    short = Record(now.samples[:, :100], FS, (H,))
    said = diagnose(now, facts, [(one, facts) for one in (now, short, Record(now.samples, FS, (V,)))]).remarks
    assert "of 3 records of the baseline 1 left out: too short" in said
    assert "of 3 records of the baseline 1 left out: without a channel named as here (h)" in said
    assert not [remark for remark in diagnose(now, facts, [(now, facts)]).remarks if "left out" in remark]
