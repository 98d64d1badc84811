"""What horn and beacon show, and the outputs that carry it."""

from dataclasses import dataclass
from enum import StrEnum

from edgemon.model.instant import Duration, Instant


@dataclass(frozen=True, slots=True)
class Call:
    """The newest alarm that sounds."""

    id: str
    occurrence: int
    severity: str
    priority: str
    text: str
    sim: bool = False


@dataclass(frozen=True, slots=True)
class Annunciation:
    """What every output shows at one instant."""

    horn: bool = False
    beacon: str = "off"
    """off, alert or alarm."""
    ringback: bool = False
    """An alarm went before anybody acknowledged it."""
    test: bool = False
    """Horn and beacon are on for a test; where something calls besides, `call` says what."""
    call: Call | None = None
    """The newest alarm that sounds; None where none does."""
    proof: str = ""
    """The proof that is on, in words; empty where none is. What calls by it alone has `test`, too."""
    silenced_at: Instant | None = None
    """When what calls was silenced last; None where nothing that calls is silenced."""


class OutputKind(StrEnum):
    """How an output is reached."""

    COMMAND = "command"
    MQTT = "mqtt"


@dataclass(frozen=True, slots=True)
class Output:
    """One `[[annunciator]]`."""

    name: str
    kind: OutputKind
    argv: tuple[str, ...] = ()
    """Program and arguments; no shell reads them."""
    topic: str = ""
    """Below the site's topics."""
    timeout_s: Duration = 5.0
    """A command that takes longer is ended and has failed."""
    retry_s: Duration = 5.0
    """A command that failed is tried again so long after."""
