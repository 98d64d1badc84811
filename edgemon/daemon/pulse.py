"""The daemon's pulse: noted by whoever does the work, read by the watchdog and the meters."""

from edgemon.clock import Clock
from edgemon.model.instant import Duration
from edgemon.model.vitals import Vitals


class Pulse:
    """Counts what the data path does; a bare timer would beat on while the path is stuck."""

    def __init__(self, clock: Clock) -> None:
        self._clock = clock
        self._beat_at = clock.elapsed()
        self._rounds = self._commits = 0
        self._commit_s = self._lag_s = self._loop_lag_s = 0.0

    def beat(self) -> None:
        """Note that the path came round."""
        self._rounds += 1
        self._beat_at = self._clock.elapsed()

    def committed(self, took_s: Duration) -> None:
        """Note a commit."""
        self._commits += 1
        self._commit_s += took_s

    def lagged(self, lag_s: Duration) -> None:
        """Note how long the oldest message of a batch waited for its commit."""
        self._lag_s = max(0.0, lag_s)

    def late(self, by_s: Duration) -> None:
        """Note how late a second began."""
        self._loop_lag_s = max(0.0, by_s)

    def vitals(self) -> Vitals:
        """Give what was noted."""
        idle_s = self._clock.elapsed() - self._beat_at
        return Vitals(idle_s, self._rounds, self._commits, self._commit_s, self._lag_s, self._loop_lag_s)
