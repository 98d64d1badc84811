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
    """A test of the outputs is under way, which shows everything; or a proof shows what it raised, and nothing real is shown.

    So a state with `test` may be left out in a proof, and no real alarm with it. What a proof sounds beside a real beacon is no
    `test`: `call` is simulated there, and says so.
    """
    call: Call | None = None
    """The newest alarm that sounds; None where none does."""
    proof: str = ""
    """The proof that is on, in words; empty where none is."""
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
