"""Whether a capture is fit to change a state, and why not."""

from dataclasses import dataclass
from enum import StrEnum


class Flaw(StrEnum):
    """What can be wrong with a capture; the value is the short code of the contract's `reasons`."""

    CLIPPED = "clipped"
    FLAT_LINE = "flat-line"
    TOO_SHORT = "too-short"
    MISSING_SAMPLES = "missing-samples"
    LOW_FREQUENCY_RISE = "low-frequency-rise"
    IMPLAUSIBLE = "implausible"
    REPEATED = "repeated"
    BAND_NOT_COVERED = "band-not-covered"


class Quality(StrEnum):
    """Quality of what a state rests on, as the contract publishes it."""

    GOOD = "good"
    STALE = "stale"
    BAD = "bad"


@dataclass(frozen=True, slots=True)
class Verdict:
    """Flaws found in one axis of one capture, each with a sentence for people."""

    flaws: tuple[Flaw, ...] = ()
    remarks: tuple[str, ...] = ()
    left_out: tuple[tuple[str, str], ...] = ()
    """Levels of one's own that could not be measured, each with the reason."""

    @property
    def is_fit(self) -> bool:
        """Say whether the capture may change a state."""
        return not self.flaws
