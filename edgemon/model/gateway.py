"""What `gateway.toml` says, resolved: broker, store, access, borders of the input."""

from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path

from edgemon.model.annunciation import Output
from edgemon.model.retention import Retention
from edgemon.model.secret import Secret
from edgemon.model.upstream import Upstream


class Protocol(StrEnum):
    """Version of MQTT to speak."""

    V5 = "5"
    V311 = "3.1.1"


@dataclass(frozen=True, slots=True)
class Broker:
    """How to reach an MQTT broker. `host` empty stands for the embedded one."""

    host: str
    port: int
    protocol: Protocol = Protocol.V5
    username: str | None = None
    password: Secret | None = None
    tls: bool = False
    ca_file: Path | None = None
    certificate_file: Path | None = None
    key_file: Path | None = None
    client_id: str = ""
    """Must be the same at every start, or the broker's queue is lost; made of site and machine id where not set."""
    keepalive_s: int = 20
    session_expiry_s: int = 7 * 86_400
    queue: int = 512
    """Messages held in memory at most; past it the socket is not read."""

    @property
    def is_embedded(self) -> bool:
        """Say whether the broker is the gateway's own."""
        return not self.host


@dataclass(frozen=True, slots=True)
class InputBorders:
    """What the gateway accepts at most from a sensor."""

    message_bytes: int = 4 * 1024 * 1024
    samples: int = 1 << 20
    """Samples of one axis of a whole capture."""
    parts: int = 1024
    """Parts of one capture."""
    open_captures: int = 256
    """Captures waiting for parts, of all sensors together."""
    records: int = 1000
    """Records of a SenML pack."""
    part_wait_s: float = 600.0
    """A capture whose next part does not come for so long is closed with parts missing."""
    future_skew_s: float = 60.0
    """A measurement from further in the future gets the time of arrival."""
    rejections_kept: int = 1000
    """Messages kept in quarantine."""
    rejection_interval_s: float = 600.0
    """One journal entry for each cause and interval."""


@dataclass(frozen=True, slots=True)
class Access:
    """Who may do what on the local socket; anyone who can reach the socket may look."""

    socket: Path
    operators: tuple[str, ...] = ()
    """Operating-system groups whose members are operators."""
    engineers: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Gateway:
    """All of `gateway.toml`."""

    root: str
    """Topic root of the message contract."""
    broker: Broker
    store: Path
    access: Access
    simulated: bool = False
    """The gateway hears simulated sensors only (demo, rehearsal): no real data is due, none is missed."""
    borders: InputBorders = InputBorders()
    outputs: tuple[Output, ...] = ()
    """Where the plant's own horn and beacon hang."""
    ballast_bytes: int = 0
    """Space held in reserve beside the store, given up when the disk is full: journal and alarm states are written on in it."""
    health_port: int | None = None
    """Port of loopback for health and figures; None: they are not served."""
    retention: Retention = Retention()
    """How long what is stored is kept."""
    id: str = "gateway"
    """Its name among the gateways of the company; in the key of everything sent upstream."""
    upstreams: tuple[Upstream, ...] = ()
    """Who is sent what the gateway knows."""
