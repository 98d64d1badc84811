"""On-delay and off-delay: a change counts once it has held, confirmed by a reading.

A delay is so many consecutive readings, or so many seconds of source time confirmed by a reading at or after their end. It is
never a free-running clock: with sparse wireless data that would make an alarm of one spike followed by radio silence.
"""

from edgemon.model.alarm import Condition, Pending
from edgemon.model.instant import Instant
from edgemon.model.limit import Delay

INACTIVE = Condition()
ACTIVE = Condition(active=True)
RESOLUTION_S = 1e-6
"""An instant of today has a resolution of 0.24 us as a double; a difference that close to a delay has reached it."""


def advance(condition: Condition, changing: bool, delay: Delay, at: Instant, bridged: bool) -> Condition:
    """Let one reading act on a condition.

    Parameters
    ----------
    condition : Condition
        What was known before.
    changing : bool
        The reading speaks for the other state: beyond the limit while inactive, back below the deadband while active.
    delay : Delay
        How long it must go on doing so.
    at : Instant
        Source time of the reading.
    bridged : bool
        The reading before it is not so old that the time between counts as silence; a delay never spans silence.

    Returns
    -------
    Condition
        The very same object where nothing changed.
    """
    if not changing:
        return condition if condition.pending is None else (ACTIVE if condition.active else INACTIVE)
    before = condition.pending if bridged else None
    pending = Pending(at, 1) if before is None else Pending(before.since, before.readings + 1)
    if _has_held(pending, delay, at):
        return INACTIVE if condition.active else ACTIVE
    return Condition(condition.active, pending)


def _has_held(pending: Pending, delay: Delay, at: Instant) -> bool:
    if delay.seconds is None:
        return pending.readings >= delay.readings
    return at - pending.since >= delay.seconds - RESOLUTION_S


def drop_pending(condition: Condition) -> Condition:
    """Forget what was pending: the chain of good readings broke."""
    return condition if condition.pending is None else (ACTIVE if condition.active else INACTIVE)
