"""What the link decides without touching a socket: when to try again, how much to hold, what a code means in words."""

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

from edgemon.errors import ParameterError
from edgemon.model.gateway import Broker, Protocol
from edgemon.model.instant import Duration

FIRST_DELAY_S: Duration = 1.0
"""Ceiling of the first wait. Common practice, no source."""

LONGEST_DELAY_S: Duration = 60.0
"""Ceiling of every later wait. Common practice, no source."""

STABLE_S: Duration = 60.0
"""A connection that lasted so long starts the waits anew."""

SHORT_S: Duration = 10.0
"""A working connection that ends sooner was taken, not lost."""

FIGHT = 3
"""So many short connections in a row make two clients with one client id likely."""

SUCCESS_BELOW = 128
"""Reason codes from here on are failures. Source: MQTT 5.0 section 2.4."""

PROTOCOL_ERROR = 130
UNSUPPORTED_PROTOCOL = 132
KEEP_ALIVE_TIMEOUT = 141

REASONS: Mapping[int, str] = MappingProxyType(
    {
        128: "the broker gives no reason",
        129: "the broker could not read our packet",
        130: "the broker says we broke the protocol",
        131: "the broker cannot do this",
        132: "the broker does not speak this version of MQTT",
        133: "the broker refuses the client id",
        134: "wrong user name or password",
        135: "not authorised: check user name, password and the broker's access list",
        136: "the broker is not available",
        137: "the broker is busy",
        138: "this client is banned at the broker",
        139: "the broker is shutting down",
        140: "the broker wants another way to authenticate",
        141: "nothing heard from the broker for longer than the keepalive",
        142: "another client connected with the same client id; give each its own",
        143: "the broker finds the topic filter invalid",
        144: "the broker finds the topic invalid",
        147: "the broker says we sent more at once than it allows",
        148: "the broker says the topic alias is invalid",
        149: "the packet is larger than the broker accepts",
        150: "the broker says we send too fast",
        151: "the broker's quota is used up",
        152: "closed by the broker's administrator",
        153: "the broker says the payload is not what it claims to be",
        154: "the broker does not keep retained messages",
        155: "the broker does not support QoS 1",
        156: "the broker asks to use another server",
        157: "the broker has moved to another server",
        158: "the broker does not allow shared subscriptions",
        159: "the broker says we connect too often",
        160: "the broker's longest connection time is over",
        161: "the broker does not support subscription identifiers",
        162: "the broker does not support wildcards in subscriptions",
    }
)
"""Reason codes that mean failure, in words. Source: MQTT 5.0 section 2.4, table 2-6."""


CURABLE = frozenset({128, 131, 135, 147, 150, 151})
"""Refusals of a single message that a person at the broker can lift: no rights, quota, or no reason given. House choice."""
_FORBIDDEN = frozenset("+#\0")


@dataclass(frozen=True, slots=True)
class WaterMarks:
    """At `high` messages the socket is no longer read, at `low` it is read again."""

    high: int
    low: int


def reconnect_delay(failures: int, chance: float) -> Duration:
    """Say how long to wait before the next try.

    Parameters
    ----------
    failures : int
        Tries that failed, or connections that were lost, in a row; at least 1.
    chance : float
        Random, from 0 to 1: gateways that lost one broker together must not come back together.

    Notes
    -----
    Doubling from 1 s to 60 s, drawn evenly below that ("full jitter"). Common practice, no source.
    """
    if failures < 1:
        raise ParameterError(f"{failures} failures; there is nothing to wait for")
    ceiling = min(LONGEST_DELAY_S, FIRST_DELAY_S * 2.0 ** min(failures - 1, 16))
    return ceiling * chance


def failures_after(failures: int, lasted_s: Duration) -> int:
    """Count one more failure, or begin anew after a connection that lasted a stable while."""
    return 1 if lasted_s >= STABLE_S else failures + 1


def is_fight(lasted_s: Sequence[Duration]) -> bool:
    """Say whether the last working connections ended so soon that another client must be taking them.

    Before MQTT 5 a broker does not tell: it closes the older connection without a word.
    """
    return len(lasted_s) >= FIGHT and all(lasted < SHORT_S for lasted in lasted_s[-FIGHT:])


def water_marks(queue: int) -> WaterMarks:
    """Give the marks of a queue that holds at most `queue` messages."""
    if queue < 1:
        raise ParameterError(f"a queue of {queue} messages holds none")
    return WaterMarks(high=queue, low=queue // 2)


def receive_maximum(queue: int) -> int:
    """Give how many unacknowledged messages to ask the broker for at most; half the queue, for brokers overshoot it.

    Source: MQTT 5.0 section 3.1.2.11.3, 1 to 65,535.
    """
    return max(1, min(65_535, queue // 2))


def reason_words(code: int) -> str:
    """Say a reason code in words.

    Parameters
    ----------
    code : int
        Reason code of MQTT 5.0; codes of 3.1.1 are translated by the client library before.
    """
    return REASONS.get(code, f"reason code {code}")


def unanswered_words(broker: Broker, protocol: Protocol, what: str) -> str:
    """Guess why a broker that was reached did not answer; brokers that do not like a CONNECT often just close.

    Parameters
    ----------
    protocol : Protocol
        The one spoken, which may not be the broker's first.
    what : str
        What the broker did instead: `closed the connection without an answer`.
    """
    if not broker.tls:
        doubt = "is this its TLS port (mqtts://)?"
    elif broker.certificate_file is None:
        doubt = "perhaps it wants a client certificate?"
    else:
        doubt = "perhaps it does not trust our client certificate?"
    if protocol is Protocol.V5:
        doubt += ' Or does it speak MQTT 3.1.1 only (protocol = "3.1.1")?'
    return f"the broker {what}: {doubt}"


def client_id(site: str, machine_id: str) -> str:
    """Make a client id that is the same at every start and nobody else's.

    Parameters
    ----------
    site : str
        The plant's site id.
    machine_id : str
        Text that only this computer has, such as `/etc/machine-id`. It is hashed, not shown: machine-id(5) asks for that.

    Notes
    -----
    23 letters and digits, what every broker must accept. Source: MQTT 5.0 section 3.1.3.1.
    """
    if not machine_id.strip():
        raise ParameterError("no machine id to make a client id of", hint="set `client_id` of the broker in gateway.toml")
    digest = hashlib.sha256(f"{machine_id.strip()}\0{site}".encode()).hexdigest()
    return f"edgemon{digest[:16]}"


def check_topic(topic: str) -> int:
    """Refuse what no broker takes as a topic to publish on, for most of them answer by closing the connection.

    Returns
    -------
    int
        Length in bytes.

    Raises
    ------
    ParameterError
        Empty, longer than 65,535 bytes, with a wildcard or a null character. Source: MQTT 5.0 sections 4.7.1 and 4.7.3.
    """
    size = len(topic.encode())
    if not 0 < size <= 65_535 or not _FORBIDDEN.isdisjoint(topic):
        raise ParameterError("not a topic to publish on", topic[:100])
    return size


def matches(topic_filter: str, topic: str) -> bool:
    """Say whether a subscription takes a topic.

    Source: MQTT 5.0 section 4.7: `+` is one level, `#` the rest and its parent, neither matches a leading `$`.
    """
    wanted, given = topic_filter.split("/"), topic.split("/")
    if given[0].startswith("$") and wanted[0] in ("+", "#"):
        return False
    for index, level in enumerate(wanted):
        if level == "#":
            return True
        if index >= len(given) or level not in ("+", given[index]):
            return False
    return len(wanted) == len(given)
