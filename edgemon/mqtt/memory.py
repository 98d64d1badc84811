"""A broker in a dict, and a link to it: for tests, and where there is nothing to connect to."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace

from edgemon.clock import Clock
from edgemon.errors import LinkDown, LinkRefused
from edgemon.model.message import Message
from edgemon.model.outgoing import Outgoing
from edgemon.mqtt.inbox import Inbox
from edgemon.mqtt.plan import check_topic, matches
from edgemon.mqtt.port import Delivery, LinkStatus


@dataclass(slots=True)
class _Session:
    """What the broker keeps for one client id: its subscriptions, and what it has not acknowledged, by packet id."""

    subscriptions: tuple[str, ...] = ()
    unacknowledged: dict[int, tuple[Outgoing, int]] = field(default_factory=dict)
    last_packet_id: int = 0
    link: "MemoryLink | None" = None


class MemoryBroker:
    """Sessions, retained messages, and everything that was ever published."""

    def __init__(self) -> None:
        self.published: list[Outgoing] = []
        """In the order they came, whoever sent them."""
        self.retained: dict[str, Outgoing] = {}
        """The last retained message of each topic; an empty payload takes it away."""
        self._sessions: dict[str, _Session] = {}

    def publish(self, outgoing: Outgoing, qos: int = 1) -> None:
        """Take a message and give it to every session that subscribed to it, connected or not."""
        check_topic(outgoing.topic)
        self.published.append(outgoing)
        if outgoing.retain:
            self.retained.pop(outgoing.topic, None)
            if outgoing.payload:
                self.retained[outgoing.topic] = outgoing
        for session in self._sessions.values():
            if any(matches(topic_filter, outgoing.topic) for topic_filter in session.subscriptions):
                self._queue(session, replace(outgoing, retain=False), qos)

    def connect(self, client_id: str, link: "MemoryLink", subscriptions: tuple[str, ...]) -> None:
        """Open or resume a session: first what it has not acknowledged, then what is retained under new subscriptions."""
        session = self._sessions.setdefault(client_id, _Session())
        if session.link is not None and session.link is not link:
            session.link.drop("another client connected with the same client id")
        session.link = link
        new = [topic_filter for topic_filter in subscriptions if topic_filter not in session.subscriptions]
        session.subscriptions = subscriptions
        for packet_id, (outgoing, qos) in session.unacknowledged.items():
            link.take(outgoing, packet_id, qos, dup=True)
        for outgoing in list(self.retained.values()):
            if any(matches(topic_filter, outgoing.topic) for topic_filter in new):
                self._queue(session, outgoing, 1)

    def disconnect(self, client_id: str) -> None:
        """Close the connection; the session stays."""
        self._sessions[client_id].link = None

    def acknowledge(self, client_id: str, packet_id: int) -> None:
        """Forget a message: the client has it."""
        self._sessions[client_id].unacknowledged.pop(packet_id, None)

    def unacknowledged(self, client_id: str) -> list[str]:
        """Give the topics of what a client has not acknowledged, oldest first."""
        session = self._sessions.get(client_id, _Session())
        return [outgoing.topic for outgoing, _ in session.unacknowledged.values()]

    def forget_sessions(self) -> None:
        """Lose every session, as a broker without persistence does when it restarts; links must be down."""
        self._sessions.clear()

    def _queue(self, session: _Session, outgoing: Outgoing, qos: int) -> None:
        packet_id = 0
        if qos > 0:
            session.last_packet_id += 1
            packet_id = session.last_packet_id
            session.unacknowledged[packet_id] = (outgoing, qos)
        if session.link is not None:
            session.link.take(outgoing, packet_id, qos)


class MemoryLink:
    """A link to a `MemoryBroker`; implements `Link`. It connects when told (`start`, `restore`), and never by itself.

    Parameters
    ----------
    clock : Clock
        Stamps messages.
    subscriptions : sequence of str
        Topic filters.
    broker : MemoryBroker, optional
        Shared with other links; its own otherwise.
    will : Outgoing, optional
        Published by the broker when the link is dropped, by the link when it is stopped.
    birth : callable
        Gives what to publish after every connection.
    client_id : str
        Name of the session.
    """

    def __init__(
        self,
        clock: Clock,
        subscriptions: Sequence[str] = (),
        broker: MemoryBroker | None = None,
        will: Outgoing | None = None,
        birth: Callable[[], Sequence[Outgoing]] = tuple,
        client_id: str = "memory",
    ) -> None:
        self.broker = broker or MemoryBroker()
        self._clock = clock
        self._subscriptions = tuple(subscriptions)
        self._will = will
        self._birth = birth
        self._client_id = client_id
        self._inbox = Inbox(queue=512)
        self._epoch = 0
        self._status = LinkStatus(False, "not started", clock.now(), 0, 0)
        self.refuse_publish: str | None = None
        """While set, the broker refuses to take messages, for this reason."""

    @property
    def published(self) -> list[Outgoing]:
        """What the broker was given, by anyone, in order."""
        return self.broker.published

    @property
    def retained(self) -> dict[str, bytes]:
        """Topic to payload of what the broker retains."""
        return {topic: outgoing.payload for topic, outgoing in self.broker.retained.items()}

    @property
    def status(self) -> LinkStatus:
        """How the link is now."""
        return replace(self._status, waiting=len(self._inbox), connections=self._epoch)

    async def start(self) -> None:
        """Connect."""
        self.restore()

    async def stop(self) -> None:
        """Publish the will, disconnect in order."""
        if self._status.up:
            if self._will is not None:
                self.broker.publish(self._will)
            self._down("stopped")

    async def receive(self, at_most: int) -> list[Delivery]:
        """Wait for a message, then take all that have come, up to `at_most`."""
        return await self._inbox.take(at_most)

    def acknowledge(self, deliveries: Sequence[Delivery]) -> None:
        """Acknowledge to the broker; deliveries of an earlier connection are left to come again."""
        for delivery in deliveries:
            if self._status.up and delivery.epoch == self._epoch and delivery.qos > 0:
                self.broker.acknowledge(self._client_id, delivery.packet_id)

    async def renew(self, why: str) -> None:
        """Connect anew: what is not acknowledged comes again."""
        if self._status.up:
            self._down(why)
            self.restore()

    async def publish(self, outgoing: Outgoing) -> None:
        """Hand to the broker. Raises `LinkDown` if the link is down, `LinkRefused` while `refuse_publish` is set."""
        if not self._status.up:
            raise LinkDown(self._status.detail)
        if self.refuse_publish is not None:
            raise LinkRefused(self.refuse_publish, outgoing.topic)
        self.broker.publish(outgoing)

    # ---- what tests do to it

    def inject(self, topic: str, payload: bytes, *, qos: int = 1, retain: bool = False) -> None:
        """Publish as a sensor would, past this link."""
        self.broker.publish(Outgoing(topic, payload, retain), qos)

    def drop(self, detail: str = "dropped") -> None:
        """Lose the connection: the broker publishes the will."""
        if self._status.up:
            self._down(detail)
            if self._will is not None:
                self.broker.publish(self._will)

    def restore(self) -> None:
        """Connect: what was not acknowledged comes again."""
        if self._status.up:
            return
        self._epoch += 1
        self._status = LinkStatus(True, "connected to the broker in memory", self._clock.now(), 0, 0)
        self.broker.connect(self._client_id, self, self._subscriptions)
        for outgoing in self._birth():
            self.broker.publish(outgoing)

    def take(self, outgoing: Outgoing, packet_id: int, qos: int, dup: bool = False) -> None:
        """Receive a message from the broker."""
        message = Message(outgoing.topic, outgoing.payload, self._clock.now(), outgoing.retain, dup)
        self._inbox.put(Delivery(message, self._epoch, packet_id, qos))

    def _down(self, detail: str) -> None:
        self._status = LinkStatus(False, detail, self._clock.now(), 0, 0)
        self.broker.disconnect(self._client_id)
