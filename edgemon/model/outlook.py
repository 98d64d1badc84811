"""What has been learnt of a level and where it is heading, as people and programs are shown it; in the unit beside it."""

from dataclasses import dataclass

from edgemon.model.instant import Instant


@dataclass(frozen=True, slots=True)
class BaselineView:
    """The baseline of one level at one point, or how far its learning is."""

    machine: str
    point: str
    level: str
    title: str
    unit: str
    state: str
    """learning, proposed, approved or retired; a retired one stays until another is proposed."""
    count: int
    """Values it was learnt from; while learning: fit values in like conditions so far."""
    wanted: int
    """Values it is learnt from."""
    baseline: float | None = None
    """Median: the baseline value."""
    mean: float | None = None
    spread: float | None = None
    """Robust standard deviation of single values."""
    rpm: float | None = None
    """Running speed it holds for, r/min; null where speeds are not known."""
    first_at: Instant | None = None
    last_at: Instant | None = None
    proposed_at: Instant | None = None
    approved_by: str = ""
    approved_at: Instant | None = None
    retired_by: str = ""
    retired_at: Instant | None = None
    retired_because: str = ""
    alert: float | None = None
    """Alert limit in force now."""
    alarm: float | None = None
    """Alarm limit in force now; a baseline never changes it."""
    alert_follows: float | None = None
    """Alert limit that follows from the baseline by the rule; null where none does."""
    alarm_at_most: float | None = None
    """1.25 x C/D: the alarm limit should not be above it; null where there are no zones."""
    change: float | None = None
    """A change by more than this either way is significant: 25 % of B/C; null where there are no zones."""
    doubt: str = ""
    """Why it should not be approved as it is: it was learnt while the machine was beyond zone B."""
    note: str = ""
    """The rule by which the limit follows, why none does, or what the learning waits for."""
    sim: bool = False

    def changed_by(self, value: float | None) -> float | None:
        """Give how far a value lies from an approved baseline where that is significant, in either direction; else None.

        Notes
        -----
        Source: ISO 10816-3:2009 5.3 (criterion II). A change of exactly so much is not more, whatever rounding does.
        """
        if value is None or self.baseline is None or self.change is None or self.state != "approved":
            return None
        by = value - self.baseline
        return by if abs(by) > self.change * (1.0 + 1e-9) else None


@dataclass(frozen=True, slots=True)
class CrossingView:
    """Forecast of the crossing of one limit; `reason` says why there is none, then the times are null."""

    severity: str
    limit: float
    earliest: Instant | None
    likely: Instant | None
    latest: Instant | None
    confidence: float
    model: str
    """linear or exponential; empty without a forecast."""
    reason: str
    """Empty with a forecast."""
    text: str


QUICK = 2.0
"""Times its own value by which a level may change in a unit of time that its slope is told in. House choice."""
PACES = ((1.0, "a day"), (24.0, "an hour"), (1440.0, "a minute"))
"""Parts of a day, and how people say it."""


def pace(per_day: float, value: float | None) -> tuple[float, str]:
    """Give a slope in the longest unit of time in which the level would not change to several times what it is."""
    told = ((per_day / parts, words) for parts, words in PACES)
    return next(
        (one for one in told if value is None or abs(one[0]) <= QUICK * abs(value)), (per_day / PACES[-1][0], PACES[-1][1])
    )


@dataclass(frozen=True, slots=True)
class SlopeView:
    """Robust slope through all values in like conditions (Theil and Sen), with its interval and its test (Mann and Kendall)."""

    per_day: float
    low: float
    high: float
    confidence: float
    p: float
    """Two-sided probability of such a trend without any."""
    is_significant: bool
    n: int
    """Values, or medians of blocks of them, that it rests on."""


@dataclass(frozen=True, slots=True)
class ChangeView:
    """Where one step divides the values best, if that is significant."""

    at: Instant
    """Time of the first value after it."""
    before: float
    after: float
    p: float


@dataclass(frozen=True, slots=True)
class ShiftView:
    """A lasting shift of the level: the CUSUM chart signals, and the EWMA chart says that it still holds."""

    at: Instant
    """Time of the first value of the run of the sum that signals."""
    before: float
    """Centre of the reference, the earliest values."""
    after: float
    """Median of the values since."""
    sigma: float
    """What the charts reckon with: the scatter of the reference, but no less than the shift that matters, 25 % of B/C (of the
    centre where there is no B/C)."""
    reference_n: int
    """Values, or medians of blocks of them, in the reference."""
    run_length: float
    """Nominal: values between two signals for nothing on average, were they independent and normally distributed."""


@dataclass(frozen=True, slots=True)
class OutlookView:
    """Trend and forecast of one level at one point, from its values in like conditions."""

    machine: str
    point: str
    level: str
    title: str
    unit: str
    made_at: Instant
    count: int
    """Values in like conditions."""
    left_out: dict[str, int]
    """How many values took no part, by reason."""
    rpm: float | None
    """Speed about which values count as alike, r/min; null where speeds are not known."""
    since: Instant | None
    """Values before it belong to the machine before its repair; null where nothing was repaired."""
    value: float | None
    """The newest one in like conditions."""
    slope: SlopeView | None
    """None with too few values."""
    change: ChangeView | None
    """None without a significant one."""
    forecasts: tuple[CrossingView, ...]
    """One for each limit that is set, alert first."""
    sim: bool
    shift: ShiftView | None = None
    """None without one that holds now, with too few values, or where no shift is known that would matter."""
