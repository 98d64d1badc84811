"""The words of the way upstream: what is sent to whom, one item of it, and how it stands."""

from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path

from edgemon.model.instant import Duration, Instant
from edgemon.model.secret import Secret

BEHIND_S: Duration = 600.0
"""An upstream whose oldest item waits for longer is behind. House choice."""


class Source(StrEnum):
    """What can be sent upstream."""

    READINGS = "readings"
    """Every value of a trend: levels of points, and what sensors say."""
    CAPTURES = "captures"
    JOURNAL = "journal"
    FINDINGS = "findings"
    """Diagnoses alone, out of the journal."""


class UpstreamKind(StrEnum):
    """Which protocol an upstream speaks."""

    MQTT = "mqtt"
    POSTGRESQL = "postgresql"
    NATS = "nats"


@dataclass(frozen=True, slots=True)
class Server:
    """Where a broker, a database or a cluster of streams is, and how to log in."""

    urls: tuple[str, ...]
    """Any of them will do; no secret stands in one."""
    username: str | None = None
    password: Secret | None = None
    tls: bool = False
    ca_file: Path | None = None
    certificate_file: Path | None = None
    key_file: Path | None = None


@dataclass(frozen=True, slots=True)
class Upstream:
    """One upstream, as `gateway.toml` describes it."""

    name: str
    kind: UpstreamKind
    what: tuple[Source, ...]
    server: Server
    into: str
    """Where in the server: first levels of topics (MQTT), schema (PostgreSQL), stream (NATS)."""
    per_second: float = 1000.0
    """Most items a second while catching up."""
    batch: int = 200
    """Most items under way at once."""
    newest_first: bool = False
    """What comes now overtakes what has been waiting; else everything of a point is sent in order."""
    overlap_s: Duration = 0.0
    """What was confirmed within so many seconds is sent again to a server that has taken another's place."""
    pooled: bool = False
    """Before the database is a pooler that changes connections from one transaction to the next."""


@dataclass(frozen=True, slots=True)
class Item:
    """One thing to send; whoever gets it twice knows it by its key."""

    source: Source
    position: int
    """Its place in what the store holds of that source."""
    key: str
    """The same wherever and whenever this thing is sent: site and gateway are in it."""
    subject: str
    """What it is about: the point, the sensor, the journal. Items of one subject are sent in order."""
    t: Instant
    sim: bool
    body: bytes
    """JSON, with the key in it."""
    late: bool = False
    """Newer ones of its subject went before it; among the late ones of a subject there is order, too."""


@dataclass(frozen=True, slots=True)
class Parked:
    """An item that a server refused."""

    number: int
    upstream: str
    item: Item
    parked_at: Instant
    why: str
    again: bool
    """It is tried once more."""


@dataclass(frozen=True, slots=True)
class Depth:
    """What of the sources of one upstream is not sent yet."""

    waiting: int
    oldest: Instant | None
    """When the oldest of it was measured or recorded."""
    parked: int


@dataclass(frozen=True, slots=True)
class UpstreamView:
    """How one upstream stands."""

    name: str
    kind: str
    up: bool
    detail: str
    """For people: why not, or what it does."""
    waiting: int = 0
    oldest_unsent: Instant | None = None
    parked: int = 0
    sent: int = 0
    """Items since the start of the daemon."""
    sent_at: Instant | None = None
    """When the last of them was confirmed."""

    def behind_s(self, now: Instant) -> Duration:
        """Say how long the oldest has waited; zero while that is no longer than a moment of trouble lasts."""
        waited = 0.0 if self.oldest_unsent is None or not self.waiting else now - self.oldest_unsent
        return waited if waited > BEHIND_S else 0.0


@dataclass(frozen=True, slots=True)
class RetryOrdered:
    """Somebody had what servers refused tried once more."""

    at: Instant
    count: int
    by: str
    station: str
    upstream: str = ""
    """Of one upstream; empty: of all."""
