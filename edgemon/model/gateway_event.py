"""What happens to the gateway itself: its runs, links, settings, clock and store."""

from dataclasses import dataclass

from edgemon.model.instant import Instant


@dataclass(frozen=True, slots=True)
class GatewayStarted:
    """The daemon started."""

    at: Instant
    version: str
    plant: str
    """Fingerprint of the settings in force."""


@dataclass(frozen=True, slots=True)
class GatewayStopped:
    """The daemon was told to stop and did, in order."""

    at: Instant
    reason: str


@dataclass(frozen=True, slots=True)
class LinkChanged:
    """A link came up or went down."""

    at: Instant
    link: str
    up: bool
    detail: str = ""


@dataclass(frozen=True, slots=True)
class SettingsChanged:
    """The settings are others than before; refused ones change nothing and stand in the log."""

    at: Instant
    changes: tuple[str, ...]
    """`plant.toml: machine[hp-pump-1].point[motor-de-h].limit[velocity_rms].alert: 2.8, before 2.5`; as many as are shown."""
    count: int
    """All of them; several entries hold those that are too many for one."""
    found_at_start: bool = False
    """Not read anew while the gateway ran: the files were found changed at a start, and nobody is known to have done it."""


@dataclass(frozen=True, slots=True)
class ClockStepped:
    """The gateway's clock jumped against its monotonic clock."""

    at: Instant
    step_s: float


@dataclass(frozen=True, slots=True)
class StoreChanged:
    """The store stopped taking what comes, or takes it again; what was not kept is with the broker, unacknowledged."""

    at: Instant
    keeps: str
    """`everything`, `journal and alarm states` or `nothing`."""
    detail: str
    since: Instant | None = None
    """When it stopped; None where it only does so now."""
    late: int = 0
    """Entries of the journal just before this one that were made while nothing could be written, and written only now."""


@dataclass(frozen=True, slots=True)
class StoreMended:
    """A damaged store was set aside, and what could be read of it was taken over into a new one."""

    at: Instant
    kept_as: str
    """Where the damaged file lies now; empty where it was left in its place."""
    why: str
    saved: tuple[str, ...]
    """What was taken over and what could not be read, a line a table."""
    journal: str
    """How far the journal's chain is whole."""
