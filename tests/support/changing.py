"""What another rig, rate, length, speed or sensor makes of a recording; none of it may turn a verdict into a wrong one."""

from collections.abc import Callable, Iterator
from dataclasses import replace

import numpy as np
import scipy.signal
from numpy.typing import NDArray

from edgemon.diagnosis.record import MIN_SAMPLES, MachineFacts, Record
from edgemon.model.speed import SpeedOrigin

Asked = tuple[Record, MachineFacts]
Rng = np.random.Generator
LENGTHS = (1024, 2048, 4096, 8192, 16384, 32768, 65536)
AS_IT_IS = "as it is"
RATIOS = ((2, 3), (3, 4), (5, 6), (6, 5), (4, 3), (3, 2))


def changed(record: Record, samples: NDArray[np.float64], fs_hz: float | None = None) -> Record:
    """Give a record other samples."""
    return Record(samples, fs_hz or record.fs_hz, record.channels, record.quantity)


def at_rate(record: Record, up: int, down: int) -> Record:
    """Resample by a ratio of whole numbers."""
    return changed(record, scipy.signal.resample_poly(record.samples, up, down, axis=1), record.fs_hz * up / down)


def without_scale(record: Record, factor: float) -> Record:
    """Take calibration away: another size, of which nothing is known."""
    channels = tuple(replace(channel, calibrated=False) for channel in record.channels)
    return Record(factor * record.samples, record.fs_hz, channels, record.quantity)


def over(record: Record) -> Record:
    """Turn the sensor over."""
    return changed(record, -record.samples)


def with_noise(record: Record, ratio: float, rng: Rng) -> Record:
    """Add white noise, `ratio` times the r.m.s. of each channel."""
    draw = rng.standard_normal(record.samples.shape)
    return changed(record, record.samples + ratio * record.samples.std(axis=1, keepdims=True) * draw)


def crop(record: Record, rng: Rng) -> Record:
    """Cut a piece of a random length out of a random place; a record that is shorter than all lengths is halved."""
    n = record.samples.shape[1]
    fits = [length for length in LENGTHS if 2 * length <= n and length >= MIN_SAMPLES] or [n // 2]
    length = int(rng.choice(fits))
    start = int(rng.integers(0, n - length + 1))
    return changed(record, record.samples[:, start : start + length])


def resampled(record: Record, facts: MachineFacts, rng: Rng) -> Asked:
    """Take it at another rate."""
    return at_rate(record, *RATIOS[int(rng.integers(len(RATIOS)))]), facts


def unscaled(record: Record, facts: MachineFacts, rng: Rng) -> Asked:
    """Take it at another size, of which nothing is known."""
    return without_scale(record, float(10.0 ** rng.uniform(-3.0, 3.0))), facts


def turned_over(record: Record, facts: MachineFacts, rng: Rng) -> Asked:
    """Take it from the other side."""
    return over(record), facts


def noisy(ratio: float) -> Callable[[Record, MachineFacts, Rng], Asked]:
    """Take it with noise, `ratio` times its r.m.s."""
    return lambda record, facts, rng: (with_noise(record, ratio, rng), facts)


def wrong_speed(record: Record, facts: MachineFacts, rng: Rng) -> Asked:
    """Say a speed that is 1 to 2 % off."""
    if facts.speed_hz is None:
        return record, facts
    off = float(rng.uniform(0.01, 0.02) * rng.choice((-1.0, 1.0)))
    return record, replace(facts, speed_hz=facts.speed_hz * (1.0 + off))


def nominal_speed(record: Record, facts: MachineFacts, rng: Rng) -> Asked:
    """Know the nominal speed only, within the slip of a motor."""
    if facts.speed_hz is None:
        return record, facts
    return record, replace(facts, speed_hz=facts.speed_hz * float(rng.uniform(0.98, 1.02)), speed_origin=SpeedOrigin.NOMINAL)


def no_speed(record: Record, facts: MachineFacts, rng: Rng) -> Asked:
    """Know no speed."""
    return record, replace(facts, speed_hz=None, speed_origin=SpeedOrigin.UNKNOWN)


CHANGES: dict[str, Callable[[Record, MachineFacts, Rng], Asked]] = {
    "at another rate": resampled,
    "of unknown scale": unscaled,
    "turned over": turned_over,
    "noise of half its r.m.s.": noisy(0.5),
    "noise of its own r.m.s.": noisy(1.0),
    "speed 1 to 2 % wrong": wrong_speed,
    "nominal speed only": nominal_speed,
    "no speed": no_speed,
}
"""Each is laid on a crop of its own."""


def crops(record: Record, facts: MachineFacts, count: int, rng: Rng) -> Iterator[tuple[str, Record, MachineFacts]]:
    """Give `count` pieces as they are and as many with a change, one change after the other."""
    names = list(CHANGES)
    first = int(rng.integers(len(names)))
    for number in range(count):
        yield AS_IT_IS, crop(record, rng), facts
        name = names[(first + number) % len(names)]
        yield name, *CHANGES[name](crop(record, rng), facts, rng)
