"""How long the battery of a sensor lasts: sleep current, what happens so many times a day, capacity and self-discharge."""

from collections.abc import Iterable
from dataclasses import dataclass

from edgemon.errors import ParameterError
from edgemon.planning.bounds import within
from edgemon.units import to_si

DAY_S = 86_400.0
YEAR_H = 8766.0
"""Hours of a Julian year, 365.25 days."""
USABLE_SHARE = 0.8
"""Share of the rated capacity that is counted on. House choice, no source."""
SELF_DISCHARGE_PER_YEAR = 0.01
"""Upper bound of lithium thionyl chloride cells at room temperature. Source: a cell maker's handbook."""
VOLTAGE_V = 3.6
"""Open-circuit voltage of a lithium thionyl chloride cell. Source: a cell maker's handbook."""
_LEAST, _MOST = 1e-12, 1e6


@dataclass(frozen=True, slots=True)
class Pulse:
    """A current that is drawn for a time, above the sleep current.

    Raises
    ------
    ParameterError
        Current or time is not possible.
    """

    current_a: float
    time_s: float

    def __post_init__(self) -> None:
        """Check both."""
        within(self.current_a, _LEAST, 100.0, "current_a")
        within(self.time_s, 1e-6, DAY_S, "time_s")

    @property
    def charge_c(self) -> float:
        """Charge it takes, coulomb: current x time."""
        return self.current_a * self.time_s


@dataclass(frozen=True, slots=True)
class Daily:
    """What happens so many times a day beside the captures.

    Raises
    ------
    ParameterError
        The number is not possible, or does not fit into a day.
    """

    pulse: Pulse
    times_per_day: float

    def __post_init__(self) -> None:
        """Check that it fits into a day."""
        within(self.times_per_day, 0.0, DAY_S / self.pulse.time_s, "times_per_day")

    @property
    def charge_c_per_day(self) -> float:
        """Charge it takes a day, coulomb."""
        return self.pulse.charge_c * self.times_per_day


@dataclass(frozen=True, slots=True)
class Battery:
    """A battery as rated, and what of it is counted on.

    Raises
    ------
    ParameterError
        A number is not possible.
    """

    capacity_ah: float
    usable_share: float = USABLE_SHARE
    self_discharge_per_year: float = SELF_DISCHARGE_PER_YEAR
    """Share of the rated capacity."""

    def __post_init__(self) -> None:
        """Check the numbers."""
        within(self.capacity_ah, 1e-6, _MOST, "capacity_ah")
        within(self.usable_share, 1e-3, 1.0, "usable_share")
        within(self.self_discharge_per_year, 0.0, 1.0, "self_discharge_per_year")

    @property
    def usable_ah(self) -> float:
        """Capacity that is counted on."""
        return self.capacity_ah * self.usable_share


@dataclass(frozen=True, slots=True)
class Drain:
    """What a sensor draws: asleep, at a capture, and at what else happens a day.

    Raises
    ------
    ParameterError
        The sleep current is not possible, a capture draws nothing, or what else happens does not fit into a day.
    """

    sleep_a: float
    capture: tuple[Pulse, ...]
    """What follows one another at a capture: measuring, sending."""
    daily: tuple[Daily, ...] = ()

    def __post_init__(self) -> None:
        """Check that there is a capture, and that the rest fits into a day."""
        within(self.sleep_a, 0.0, 100.0, "sleep_a")
        if not self.capture:
            raise ParameterError("a capture draws nothing", "capture")
        if self._daily_s > DAY_S:
            raise ParameterError(
                f"what happens beside captures takes {self._daily_s:g} s a day of {DAY_S:g} s", "times_per_day"
            )

    @property
    def _daily_s(self) -> float:
        return sum(one.pulse.time_s * one.times_per_day for one in self.daily)

    @property
    def capture_s(self) -> float:
        """How long a capture draws current."""
        return sum(one.time_s for one in self.capture)

    @property
    def charge_c_per_capture(self) -> float:
        """Charge of a capture, coulomb, above the sleep current."""
        return sum(one.charge_c for one in self.capture)

    def energy_j_per_capture(self, voltage_v: float) -> float:
        """Energy of a capture, joule: charge x voltage. Raises `ParameterError` where the voltage is not possible."""
        return self.charge_c_per_capture * within(voltage_v, 0.1, 1000.0, "voltage_v")

    def fits(self, interval_s: float) -> bool:
        """Say whether a day has time for captures that often beside the rest. Raises `ParameterError` for no interval."""
        within(interval_s, 1e-3, YEAR_H * 3600.0, "interval_s")
        return self.capture_s / interval_s + self._daily_s / DAY_S <= 1.0

    def average_a(self, interval_s: float) -> float:
        """Average current with a capture each interval: the sleep current, and what is drawn a day over a day.

        Raises
        ------
        ParameterError
            The interval is not possible, or a capture does not fit into it.
        """
        if not self.fits(interval_s):
            raise ParameterError(f"{interval_s:g} s is too often: a capture takes {self.capture_s:g} s", "interval_s")
        captures = self.charge_c_per_capture / interval_s
        return self.sleep_a + captures + sum(one.charge_c_per_day for one in self.daily) / DAY_S

    def sleep_share(self, interval_s: float) -> float:
        """Share of the sleep current in the average current; raises as `average_a`."""
        return self.sleep_a / self.average_a(interval_s)


def life_years(battery: Battery, average_a: float) -> float:
    """Life of a battery, years: usable capacity over what is drawn and what discharges by itself in a year.

    Raises
    ------
    ParameterError
        The current is not possible.

    Notes
    -----
    Self-discharge counts as a share of the rated capacity, whatever is left. Source: balance of charge.
    """
    within(average_a, _LEAST, 100.0, "average_a")
    return battery.usable_ah / (average_a * YEAR_H + battery.capacity_ah * battery.self_discharge_per_year)


def captures_per_percent(battery: Battery, drain: Drain) -> float:
    """Give the captures that cost one percent of the usable capacity, beside sleep and self-discharge, which go on anyway."""
    return 0.01 * to_si(battery.usable_ah, "h") / drain.charge_c_per_capture


@dataclass(frozen=True, slots=True)
class Row:
    """What an interval leads to; None where a capture does not fit into it."""

    interval_s: float
    captures_per_day: float
    average_a: float | None
    sleep_share: float | None
    life_years: float | None


def rows(battery: Battery, drain: Drain, intervals_s: Iterable[float]) -> tuple[Row, ...]:
    """Give what each interval leads to. Raises `ParameterError` for one that is not possible whatever a capture takes."""
    return tuple(_row(battery, drain, one) for one in intervals_s)


def _row(battery: Battery, drain: Drain, interval_s: float) -> Row:
    if not drain.fits(interval_s):
        return Row(interval_s, DAY_S / interval_s, None, None, None)
    average = drain.average_a(interval_s)
    return Row(interval_s, DAY_S / interval_s, average, drain.sleep_share(interval_s), life_years(battery, average))
