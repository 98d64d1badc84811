"""What happens to messages between sensor and broker: loss on the radio, repeats, disorder, lateness.

Loss is of the radio only: what is lost was never accepted by anyone. What reaches the publisher is published at QoS 1 until
the broker has it.
"""

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True, slots=True)
class Traffic:
    """How a network treats what it is given; shares from 0 to 1, delays in seconds."""

    latency_s: float = 0.05
    jitter_s: float = 0.15
    repeat_share: float = 0.03
    """The sensor missed the acknowledgement and sends again."""
    repeat_after_s: float = 0.8
    late_share: float = 0.03
    """Held back on the way, past messages sent after it."""
    late_by_s: float = 2.5

    def arrivals(self, sent_s: float, loss: float, rng: np.random.Generator) -> tuple[float, ...]:
        """Give the times at which one message arrives: none if the radio lost it, several if it was sent again.

        Parameters
        ----------
        sent_s : float
            When it was sent, s.
        loss : float
            Chance that the radio loses it, 0 to 1.
        rng : numpy.random.Generator
            Drawn from four times whatever happens, so that one fate does not shift the next.

        Returns
        -------
        tuple of float
            Arrival times, s, none before `sent_s`.
        """
        lost, late, jitter, again = (float(draw) for draw in rng.random(4))
        if lost < loss:
            return ()
        first = sent_s + self.latency_s + self.jitter_s * jitter
        if late < self.late_share:
            first += self.late_by_s * (0.4 + 0.6 * jitter)
        return (first, first + self.repeat_after_s * (0.5 + jitter)) if again < self.repeat_share else (first,)
