"""How the daemon itself fares: what a supervisor and a meter want to know beside the states of the machines."""

from dataclasses import dataclass

from edgemon.model.instant import Duration

STUCK_S = 30.0
"""The path comes round every second; one that has not for so long is stuck. House choice."""


@dataclass(frozen=True, slots=True)
class Vitals:
    """What the owner of the memory has done, and when it came round last."""

    idle_s: Duration
    """Seconds since the data path came round last; it does so every second, also while the store fails."""
    rounds: int
    """How often it came round."""
    commits: int
    commit_s: Duration
    """Seconds spent in commits, all together."""
    lag_s: Duration
    """From the arrival of the oldest message of the newest batch to its commit."""
    loop_lag_s: Duration
    """How much later than wanted the newest second began."""

    @property
    def is_stuck(self) -> bool:
        """Say whether the data path no longer comes round."""
        return self.idle_s > STUCK_S
