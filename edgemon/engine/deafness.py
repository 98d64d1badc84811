"""Whether the gateway hears nothing although its link is up, from what is remembered of its sensors."""

from collections.abc import Iterator

from edgemon.alarms.deafness import Expected, is_deaf, missed
from edgemon.alarms.silence import due_at
from edgemon.engine.draft import Draft
from edgemon.model.instant import Duration, Instant

BUSY_S: Duration = 2.0
"""While reports come that quickly, the sensors are not gone through at every tick. House choice."""


def hears_nothing(draft: Draft, quiet_since: Instant, delay_s: Duration) -> bool:
    """Say whether so much did not come since then that it is the gateway, and no longer to be waited for.

    Parameters
    ----------
    draft : Draft
        With the time that counts.
    quiet_since : Instant
        Since when nothing was heard by a gateway that listens.
    delay_s : float
        How long a loss must last before it calls; it is not waited for once a point would be called lost.
    """
    policy = draft.setting.plant.alarms
    if policy.gateway_sensors <= 0 or draft.now - quiet_since < BUSY_S:
        return False
    found = missed(_expected(draft), quiet_since, draft.now)
    if not is_deaf(found, policy.gateway_sensors, policy.gateway_chance):
        return False
    return draft.now - quiet_since >= delay_s or _a_point_would_be_lost(draft)


def _expected(draft: Draft) -> Iterator[Expected]:
    """Give the sensors whose reports count; on a gateway of real data, no simulated ones."""
    plant = draft.setting.plant
    for sensor, state in draft.sensors.items():
        known = plant.sensors.get(sensor)
        if known is None or state.heard_at is None or state.sim is not draft.setting.gateway.simulated:
            continue
        yield Expected(min(state.heard_at, draft.now), known.interval_s, 1.0 - state.completeness)


def _a_point_would_be_lost(draft: Draft) -> bool:
    rules = draft.setting.rules
    dues = (due_at(rules[track[0]], state) for track, state in draft.points.items() if track[0] in rules)
    return any(due is not None and due <= draft.now for due in dues)
