"""The collection wanted of a sensor, and timed fast collection: for a while it measures more often, then as always again.

What is expected of a sensor (silence, lateness, completeness) stays its routine interval: nothing makes it stricter.
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import TypeAlias

from edgemon.errors import ParameterError
from edgemon.model.ids import MachineId, SensorId
from edgemon.model.instant import Duration, Instant, format_instant

LONGEST_S: Duration = 7 * 86_400.0
"""A fast collection ends after a week: it is for an investigation, not a way to change the routine. House choice, no source."""


@dataclass(frozen=True, slots=True)
class Collection:
    """What the plant file lets the gateway command of a sensor: without it no schedule is published."""

    fs_hz: float
    samples: int
    axes: tuple[str, ...]
    captures_per_percent: float | None = None
    """Captures that cost one percent of its battery; None: not known."""

    @property
    def takes_s(self) -> Duration:
        """How long a capture itself takes."""
        return self.samples / self.fs_hz


@dataclass(frozen=True, slots=True)
class Cost:
    """What a fast collection takes beyond the routine."""

    captures: int
    battery_pct: float | None
    """None: the plant file does not say what a capture costs."""

    def __str__(self) -> str:
        """Say it in a few words."""
        more = f"{self.captures} more capture{'' if self.captures == 1 else 's'}"
        if self.battery_pct is None:
            return f"{more}; battery cost not known (captures_per_percent is not set in plant.toml)"
        return f"{more}; about {self.battery_pct:.2g} % of the battery"


def cost_of(routine_s: Duration, interval_s: Duration, duration_s: Duration, captures_per_percent: float | None) -> Cost:
    """Say what measuring every `interval_s` for `duration_s` takes beyond the routine; part captures count as whole ones.

    Raises
    ------
    ValueError
        An interval is not above zero.
    """
    if not (routine_s > 0.0 and interval_s > 0.0):
        raise ValueError("an interval is above zero")
    more = max(0, math.ceil(duration_s / interval_s - duration_s / routine_s - 1e-9))
    return Cost(more, None if captures_per_percent is None else more / captures_per_percent)


def how_to_command(sensor: str) -> str:
    """Say what makes the gateway command a sensor."""
    return f'add fs_hz and samples to [[sensor]] "{sensor}" in plant.toml'


def check(routine_s: Duration, takes_s: Duration, interval_s: Duration, duration_s: Duration) -> None:
    """Say which border a fast collection is beyond; what is no number is beyond all.

    Parameters
    ----------
    takes_s : float
        How long a capture itself takes.

    Raises
    ------
    ParameterError
        It may not be.
    """
    if not interval_s < routine_s:
        raise ParameterError(f"every {interval_s:g} s is not faster than the routine, every {routine_s:g} s", "interval")
    if not interval_s >= takes_s:
        raise ParameterError(f"every {interval_s:g} s is too often: a capture takes {takes_s:.3g} s", "interval")
    if not interval_s <= duration_s <= LONGEST_S:
        what = f"a fast collection lasts one interval at least and {LONGEST_S / 86_400:g} days at most"
        raise ParameterError(f"{what}, not {duration_s:g} s", "duration")


def on_already(sensor: str, until: Instant, by: str) -> ParameterError:
    """Give the refusal of a second fast collection of a sensor."""
    what = f"sensor {sensor} collects faster already, until {format_instant(until)}, by {by}"
    return ParameterError(what, hint="stop it first, or wait")


@dataclass(frozen=True, slots=True)
class StartFast:
    """An engineer has a sensor measure more often for a while."""

    target: str
    """The sensor, or a point it watches: `machine/point`."""
    interval_s: Duration
    duration_s: Duration
    reason: str


@dataclass(frozen=True, slots=True)
class StopFast:
    """An engineer takes a fast collection back before its end."""

    target: str
    reason: str


FastCommand = StartFast | StopFast


@dataclass(frozen=True, slots=True)
class FastCollectionStarted:
    """A sensor was told to measure more often until some time."""

    at: Instant
    until: Instant
    sensor: SensorId
    machine: MachineId
    interval_s: Duration
    routine_s: Duration
    """What it was before, and is again at the end."""
    captures: int
    """More than the routine takes."""
    battery_pct: float | None
    by: str
    station: str
    reason: str

    @property
    def cost(self) -> Cost:
        """What was said before the order."""
        return Cost(self.captures, self.battery_pct)


@dataclass(frozen=True, slots=True)
class FastCollectionEnded:
    """The routine schedule is in force again, or none where the sensor is not commanded any more."""

    at: Instant
    sensor: SensorId
    machine: MachineId
    reason: str
    by: str = ""
    """Empty where its time ended it."""
    station: str = ""
    is_commanded: bool = True
    """False: the plant file no longer has the gateway command the sensor, and its schedule is withdrawn."""


FastEvent: TypeAlias = FastCollectionStarted | FastCollectionEnded


def still_on(events: Iterable[object]) -> tuple[FastCollectionStarted, ...]:
    """Give the fast collections that are on by what the journal says, oldest first."""
    on: dict[SensorId, FastCollectionStarted] = {}
    for event in events:
        if isinstance(event, FastCollectionStarted):
            on[event.sensor] = event
        elif isinstance(event, FastCollectionEnded):
            on.pop(event.sensor, None)
    return tuple(on.values())


@dataclass(frozen=True, slots=True)
class FastView:
    """A fast collection that is on, as boards and programs are shown it."""

    since: Instant
    until: Instant
    interval_s: Duration
    by: str
    reason: str


@dataclass(frozen=True, slots=True)
class CollectionView:
    """The collection of a sensor that the gateway commands."""

    interval_s: Duration
    """Of the routine."""
    fs_hz: float
    samples: int
    axes: tuple[str, ...]
    captures_per_percent: float | None
    fast: FastView | None = None

    @property
    def takes_s(self) -> Duration:
        """How long a capture itself takes."""
        return self.samples / self.fs_hz

    def cost(self, interval_s: Duration, duration_s: Duration) -> Cost:
        """Say what a fast collection would take; raises `ParameterError` where it may not be."""
        check(self.interval_s, self.takes_s, interval_s, duration_s)
        return cost_of(self.interval_s, interval_s, duration_s, self.captures_per_percent)
