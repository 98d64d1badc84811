"""The link is up, and yet nothing comes: whether it is the sensors, or the gateway that hears nothing at all.

Every sensor that was heard is expected again at its interval. Where the radio base is dead, a bridge is down or the broker
withholds what it should pass on, the reports of all of them fail at once. One report fails by chance, as often as that sensor's
reports failed before; that those of many sensors fail one after the other, and none comes in between, has the product of their
chances. Once that is below what the site allows, and enough sensors are in it, the gateway is taken to be deaf.

So many sensors are missed sooner than few, and poor links later than good ones. Sensors that were overdue already when the last
report came say nothing: the gateway heard, and not them. Neither does one that was never heard. With fewer sensors than the
site asks for nothing can be concluded: then each point's own loss of monitoring calls, as ever.

Source: independent failures, elementary probability; the figures are house choices, no source.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from math import floor, log10

from edgemon.model.instant import Duration, Instant

LEAST_MISSING = 0.01
"""Even of the best link one report in a hundred is taken to fail: none is known well enough to say less. House choice."""
LATE_SHARE = 0.5
"""A report is missed once it is late by that share of its interval; as `alarms.health` counts what came. House choice."""

_ROUNDING = 1e-9


@dataclass(frozen=True, slots=True)
class Expected:
    """A sensor, as far as its next reports go."""

    heard_at: Instant
    """Gateway time of its newest report."""
    interval_s: Duration
    missing: float
    """Share of its reports that failed so far, 0 to 1."""


@dataclass(frozen=True, slots=True)
class Missed:
    """What did not come since the gateway heard nothing any more."""

    sensors: int
    """Of which at least one report did not come."""
    decades: float
    """Powers of ten by which it is unlikely that all of that is chance: 6 is one in a million."""


def missed(sensors: Iterable[Expected], quiet_since: Instant, now: Instant) -> Missed:
    """Say what should have come since then, and how unlikely it is that none of it did.

    Parameters
    ----------
    sensors : iterable of Expected
        All that were ever heard.
    quiet_since : Instant
        Gateway time of the last report of any of them; or when the gateway began to listen, if that was later.
    now : Instant
        Gateway time; nothing was heard between the two.
    """
    known = list(sensors)
    newest = max((one.heard_at for one in known), default=quiet_since)
    count, decades = 0, 0.0
    for one in known:
        if _overdue(one.heard_at, one.interval_s, newest):
            continue
        was_away = _overdue(one.heard_at, one.interval_s, quiet_since)  # then a whole interval must pass first
        failed = _overdue(quiet_since if was_away else one.heard_at, one.interval_s, now)
        count += failed > 0
        decades -= failed * log10(min(1.0, max(LEAST_MISSING, one.missing)))
    return Missed(count, decades)


def _overdue(heard_at: Instant, interval_s: Duration, at: Instant) -> int:
    """Give how many reports are overdue, of a sensor last heard then."""
    return max(0, floor((at - heard_at) / interval_s - LATE_SHARE))


def is_deaf(found: Missed, sensors_least: int, chance: float) -> bool:
    """Say whether so much was missed that it is the gateway; never where the site asks for no sensor."""
    return 0 < sensors_least <= found.sensors and found.decades >= -log10(chance) - _ROUNDING
