"""How the alarms of a gateway do over a period, as people and programs are shown it."""

from dataclasses import dataclass

from edgemon.model.instant import Instant


@dataclass(frozen=True, slots=True)
class Figure:
    """One figure of alarm performance beside what is asked of it."""

    name: str
    title: str
    value: float | None
    """None where the period is too short, or nothing was announced."""
    unit: str
    """`1` for counts, `%` for shares."""
    target: str
    """As people read it; empty where the sources give none."""
    verdict: str
    """`met`, `tolerable`, `missed`; empty where there is no target or no value."""
    source: str


@dataclass(frozen=True, slots=True)
class Share:
    """How many annunciations something has, and how much of all that is."""

    name: str
    count: int
    share: float
    """0 to 1."""


@dataclass(frozen=True, slots=True)
class Flood:
    """A time in which more was announced than one person can deal with."""

    begin: Instant
    end: Instant
    count: int
    most: int
    """In any of its bins of ten minutes."""


@dataclass(frozen=True, slots=True)
class Standing:
    """An alarm that stood for long."""

    alarm: str
    since: Instant
    until: Instant | None
    """None where it still stands at the end of the period."""


@dataclass(frozen=True, slots=True)
class Performance:
    """All figures of one period, real or simulated, never both."""

    since: Instant
    until: Instant
    sim: bool
    annunciations: int
    """What called the operator; everything below counts these, unless it says otherwise."""
    after_restart: int
    """Said again because the gateway started; not counted."""
    not_announced: int
    """Alerts that called no operator; not counted."""
    other: int
    """Simulated ones beside real figures, or real ones beside simulated figures; not counted."""
    figures: tuple[Figure, ...]
    priorities: tuple[Share, ...]
    severities: tuple[Share, ...]
    contributors: tuple[Share, ...]
    """The ten alarms announced most often, worst first."""
    floods: tuple[Flood, ...]
    chattering: tuple[Share, ...]
    """Alarms that chattered, with how many of their annunciations belong to it and the share of all."""
    fleeting: tuple[Share, ...]
    stale: tuple[Standing, ...]
    remarks: tuple[str, ...]
