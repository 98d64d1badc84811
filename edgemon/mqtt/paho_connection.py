"""One connection to a broker: one Paho client on the asyncio loop, from CONNECT to its end, never used again.

So packet ids, waiting publishes and late callbacks cannot leak into the next connection. Paho's callbacks only note down: what
they raise would end the reading, and what they parse would hold up the loop. Paho acknowledges nothing by itself, and its own
reconnecting is not used.
"""

import asyncio
import logging
import socket
import ssl
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from typing import Any

import paho.mqtt
from paho.mqtt.client import Client, ConnectFlags, DisconnectFlags, MQTTMessage
from paho.mqtt.enums import CallbackAPIVersion, MQTTErrorCode, MQTTProtocolVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode
from paho.mqtt.subscribeoptions import SubscribeOptions

from edgemon.clock import Clock
from edgemon.errors import LinkDown, LinkRefused
from edgemon.model.gateway import Broker, Protocol
from edgemon.model.instant import Duration
from edgemon.model.message import Message
from edgemon.model.outgoing import Outgoing
from edgemon.mqtt import plan, tls
from edgemon.mqtt.inbox import Inbox
from edgemon.mqtt.port import Delivery
from edgemon.mqtt.readahead import ReadAhead

_log = logging.getLogger(__name__)

CONNECT_WAIT_S: Duration = 10.0
"""From the open socket to the last SUBACK; a broker that is so slow is as good as none."""

STOP_WAIT_S: Duration = 2.0
"""What is under way when the link stops gets so long to arrive."""

PUBLISHES_IN_FLIGHT = 128
"""Published and not yet acknowledged at most, fewer where the broker says so; the others wait their turn."""

PACKETS_PER_TURN = 64
"""So many packets are read before the loop gets to do something else."""

PACKET_BYTES = 8 * 1024 * 1024
"""Largest packet asked for (MQTT 5): above what a sensor may send, or too large a message would vanish at the broker unseen."""

_KNOWN_PAHO = ("2.1.", "2.2.")
"""Versions whose insides were looked at; with any other the read-ahead and the long pause do without them."""


@dataclass(frozen=True, slots=True)
class Terms:
    """What every connection of a link is made with; `protocol` is the one to speak, whatever the broker's says."""

    broker: Broker
    protocol: Protocol
    subscriptions: tuple[str, ...]
    will: Outgoing | None
    will_delay_s: int


def address(broker: Broker) -> str:
    """Say where the broker is, without secrets."""
    return f"{broker.host}:{broker.port}"


class Connection:
    """Opens, subscribes, reads into the inbox, publishes, ends once.

    Parameters
    ----------
    terms : Terms
        Whom to connect to and what for.
    epoch : int
        Number of this connection; its deliveries carry it.
    inbox : Inbox
        Where messages go. While it is full, the socket is not read.
    clock : Clock
        Stamps messages, and measures how long answers take.
    """

    def __init__(self, terms: Terms, epoch: int, inbox: Inbox, clock: Clock) -> None:
        self._terms = terms
        self._broker = terms.broker
        self._clock = clock
        self._inbox = inbox
        self._loop = asyncio.get_running_loop()
        self.epoch = epoch
        self.unsupported = False
        self.ready: asyncio.Future[None] = self._loop.create_future()
        self.over: asyncio.Future[str] = self._loop.create_future()
        self._socket: Any = None
        self._attached = False
        self._writing = False
        self._flush_due = False
        self._answered = False
        self._leaving = False
        self._opened = self._clock.elapsed()
        self._slots = asyncio.Semaphore(PUBLISHES_IN_FLIGHT)
        self._packet_limit = 268_435_455
        self._acks: dict[int, tuple[asyncio.Future[None], Duration]] = {}
        self._is_known = paho.mqtt.__version__.startswith(_KNOWN_PAHO)
        self._client = _make_client(terms)
        self._ahead = ReadAhead(self._client._sock_recv)
        if self._is_known:
            self._client._sock_recv = self._ahead.receive  # type: ignore[assignment, method-assign]
        self._client.on_socket_open = self._on_socket_open
        self._client.on_socket_close = lambda *_: self._detach()
        self._client.on_socket_register_write = lambda *_: self._want_flush()
        self._client.on_connect = self._on_connect
        self._client.on_subscribe = self._on_subscribe
        self._client.on_message = self._on_message
        self._client.on_publish = self._on_publish
        self._client.on_disconnect = self._on_disconnect

    # ---- opening

    async def open(self) -> None:
        """Connect in a thread, for names, TCP and TLS block; then hand the socket to the loop."""
        work = self._loop.run_in_executor(None, self._connect)
        try:
            await asyncio.shield(work)
        except asyncio.CancelledError:
            work.add_done_callback(self._abandon)
            raise
        except LinkRefused as error:
            self.end(str(error))
        except (OSError, ValueError) as error:
            self.end(tls.trouble_words(error, during="the TLS handshake; is this its TLS port?"))
        else:
            self._opened = self._clock.elapsed()
            self._attached = True
            self._loop.add_reader(self._socket.fileno(), self._read)
            self._want_flush()

    def _abandon(self, work: asyncio.Future[None]) -> None:
        if not work.cancelled():
            work.exception()
        self.end("stopped")

    def _connect(self) -> None:
        if self._broker.tls:
            self._client.tls_set_context(tls.make_context(self._broker))
        options = _connect_options(self._terms)
        self._client.connect(self._broker.host, self._broker.port, self._broker.keepalive_s, **options)

    def _on_socket_open(self, client: Client, userdata: object, sock: Any) -> None:
        # Small acknowledgements must not wait for one another (Nagle), and while we do not read, only the kernel
        # can tell that the far end is gone.
        self._socket = sock
        sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_USER_TIMEOUT, 2000 * max(1, self._broker.keepalive_s))

    def _on_connect(
        self, client: Client, userdata: object, flags: ConnectFlags, reason: ReasonCode, properties: Properties | None
    ) -> None:
        self._answered = True
        if reason.value >= plan.SUCCESS_BELOW:
            self.unsupported = reason.value == plan.UNSUPPORTED_PROTOCOL
            self.end(f"refused: {plan.reason_words(reason.value)}")
            return
        self._slots = asyncio.Semaphore(min(PUBLISHES_IN_FLIGHT, getattr(properties, "ReceiveMaximum", PUBLISHES_IN_FLIGHT)))
        self._packet_limit = getattr(properties, "MaximumPacketSize", self._packet_limit)
        if not self._terms.subscriptions:
            self.ready.set_result(None)
        elif self._terms.protocol is Protocol.V5:
            # An existing subscription must not replay every retained message at each reconnect.
            options = SubscribeOptions(qos=1, retainHandling=SubscribeOptions.RETAIN_SEND_IF_NEW_SUB)
            client.subscribe([(topic_filter, options) for topic_filter in self._terms.subscriptions])
        else:
            client.subscribe([(topic_filter, 1) for topic_filter in self._terms.subscriptions])

    def _on_subscribe(
        self, client: Client, userdata: object, mid: int, reasons: Sequence[ReasonCode], properties: Properties | None
    ) -> None:
        for topic_filter, reason in zip(self._terms.subscriptions, reasons, strict=False):
            if reason.value >= plan.SUCCESS_BELOW:
                self.end(f"the subscription to {topic_filter} is refused: {plan.reason_words(reason.value)}")
                return
        if not self.ready.done():
            self.ready.set_result(None)

    # ---- reading

    def _read(self) -> None:
        for _ in range(PACKETS_PER_TURN):
            if not self._attached or self._ahead.paused:
                return
            self._guard(self._client.loop_read)
            if not self._has_unread():
                return
        self._loop.call_soon(self._read)

    def _has_unread(self) -> bool:
        # Bytes that are already decrypted or read ahead raise no further readiness of the socket.
        return self._attached and bool(self._ahead.pending or (self._broker.tls and self._socket.pending()))

    def _on_message(self, client: Client, userdata: object, message: MQTTMessage) -> None:
        try:
            topic = message.topic
        except UnicodeDecodeError:
            topic = "\N{REPLACEMENT CHARACTER}"
        received = Message(topic, bytes(message.payload), self._clock.now(), message.retain)
        self._inbox.put(Delivery(received, self.epoch, message.mid, message.qos))
        if self._inbox.is_full and not self._ahead.paused:
            self._ahead.paused = True
            if self._attached:
                self._loop.remove_reader(self._socket.fileno())

    def resume(self) -> None:
        """Read again, if reading was paused."""
        if self._ahead.paused and self._attached:
            self._ahead.paused = False
            self._loop.add_reader(self._socket.fileno(), self._read)
            self._loop.call_soon(self._read)

    # ---- writing

    def _want_flush(self) -> None:
        if self._attached and not self._flush_due:
            self._flush_due = True
            self._loop.call_soon(self._flush)

    def _flush(self) -> None:
        self._flush_due = False
        if not self._attached:
            return
        self._guard(self._client.loop_write)
        if self._attached and self._client.want_write() != self._writing:
            self._writing = not self._writing
            if self._writing:
                self._loop.add_writer(self._socket.fileno(), self._flush)
            else:
                self._loop.remove_writer(self._socket.fileno())

    def acknowledge(self, packet_id: int, qos: int) -> None:
        """Acknowledge one message of this connection."""
        if self._attached:
            self._client.ack(packet_id, qos)

    async def publish(self, outgoing: Outgoing) -> None:
        """Hand one message over and wait for its PUBACK."""
        size = plan.check_topic(outgoing.topic) + len(outgoing.payload) + 16
        if size > self._packet_limit:
            raise LinkRefused(f"{size} bytes, the broker takes {self._packet_limit}", outgoing.topic)
        slots = self._slots
        async with slots:
            if self.over.done():
                raise LinkDown(self.over.result(), address(self._broker))
            info = self._client.publish(outgoing.topic, outgoing.payload, qos=1, retain=outgoing.retain)
            if info.rc != MQTTErrorCode.MQTT_ERR_SUCCESS:
                raise LinkDown("not taken for sending", address(self._broker))
            acknowledged = self._loop.create_future()
            self._acks[info.mid] = (acknowledged, self._clock.elapsed())
            try:
                await acknowledged
            except LinkRefused as error:
                raise LinkRefused(error.what, outgoing.topic) from error
            finally:
                self._acks.pop(info.mid, None)

    def _on_publish(
        self, client: Client, userdata: object, mid: int, reason: ReasonCode, properties: Properties | None
    ) -> None:
        acknowledged, _ = self._acks.pop(mid, (None, 0.0))
        if acknowledged is None or acknowledged.done():
            return
        if reason.value >= plan.SUCCESS_BELOW:
            acknowledged.set_exception(LinkRefused(f"the broker does not take it: {plan.reason_words(reason.value)}"))
        else:
            acknowledged.set_result(None)

    # ---- time, and the end

    def tick(self) -> None:
        """Let Paho send its pings, and end what has been silent too long."""
        if not self._attached:
            return
        if self._is_known and self._ahead.paused:
            # It is we who do not read: the answer to the ping lies unread in the socket. Go on pinging.
            self._client._ping_t = 0.0
        self._guard(self._client.loop_misc)
        now = self._clock.elapsed()
        if not self.ready.done() and now - self._opened > CONNECT_WAIT_S:
            self.end(plan.unanswered_words(self._broker, self._terms.protocol, f"did not answer within {CONNECT_WAIT_S:.0f} s"))
        oldest = next(iter(self._acks.values()), None)
        if oldest is not None and now - oldest[1] > 2 * self._broker.keepalive_s:
            self.end("a published message was not acknowledged in time")

    def _on_disconnect(
        self, client: Client, userdata: object, flags: DisconnectFlags, reason: ReasonCode, properties: Properties | None
    ) -> None:
        error = self._ahead.error
        if self._leaving:
            self.end("stopped")
        elif flags.is_disconnect_packet_from_server or reason.value == plan.KEEP_ALIVE_TIMEOUT:
            self.end(plan.reason_words(reason.value))
        elif not self._answered and not isinstance(error, ssl.SSLError):
            self.end(plan.unanswered_words(self._broker, self._terms.protocol, "closed the connection without an answer"))
        else:
            self.end("the broker closed the connection" if error is None else tls.trouble_words(error))

    def end(self, why: str) -> None:
        """End the connection, now; again changes nothing."""
        self._detach()
        if self._socket is not None:
            with suppress(OSError):
                self._socket.close()
        if self.over.done():
            return
        self.over.set_result(why)
        for acknowledged, _ in self._acks.values():
            if not acknowledged.done():
                acknowledged.set_exception(LinkDown(why, address(self._broker)))

    def _detach(self) -> None:
        if not self._attached:
            return
        self._attached = False
        # Paho may have closed it already.
        if (fileno := self._socket.fileno()) >= 0:
            self._loop.remove_reader(fileno)
            self._loop.remove_writer(fileno)

    async def leave(self) -> None:
        """Wait briefly for what is under way, then say goodbye."""
        under_way = [acknowledged for acknowledged, _ in self._acks.values()]
        if under_way:
            await asyncio.wait(under_way, timeout=STOP_WAIT_S)
        if self._attached:
            self._leaving = True
            self._client.disconnect()
            await asyncio.wait([self.over], timeout=STOP_WAIT_S)
        self.end("stopped")

    def _guard(self, step: Callable[[], object]) -> None:
        # Whatever Paho raises on bytes it does not understand ends this connection, not the link.
        try:
            step()
        except Exception as error:
            _log.warning("the connection to %s ends on an error", address(self._broker), exc_info=error)
            self.end(f"not understood: {type(error).__name__}")


def _make_client(terms: Terms) -> Client:
    broker = terms.broker
    if terms.protocol is Protocol.V5:
        client = Client(
            CallbackAPIVersion.VERSION2,
            broker.client_id,
            protocol=MQTTProtocolVersion.MQTTv5,
            reconnect_on_failure=False,
            manual_ack=True,
        )
    else:
        client = Client(
            CallbackAPIVersion.VERSION2,
            broker.client_id,
            clean_session=broker.session_expiry_s == 0,  # before MQTT 5 a session ends with its connection, or never
            protocol=MQTTProtocolVersion.MQTTv311,
            reconnect_on_failure=False,
            manual_ack=True,
        )
    client.max_inflight_messages = 0  # bounded by ours; Paho's own way looks through all that wait at each PUBACK
    if broker.username is not None:
        client.username_pw_set(broker.username, broker.password)
    if terms.will is not None:
        properties = None
        if terms.protocol is Protocol.V5:
            properties = Properties(PacketTypes.WILLMESSAGE)  # type: ignore[no-untyped-call]
            properties.WillDelayInterval = terms.will_delay_s
        client.will_set(terms.will.topic, terms.will.payload, 1, terms.will.retain, properties)
    return client


def _connect_options(terms: Terms) -> dict[str, Any]:
    # Without both, clean start and expiry, the broker's queue would be lost at each start of ours.
    if terms.protocol is not Protocol.V5:
        return {}
    properties = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]
    properties.SessionExpiryInterval = terms.broker.session_expiry_s
    properties.ReceiveMaximum = plan.receive_maximum(terms.broker.queue)
    properties.MaximumPacketSize = PACKET_BYTES
    return {"clean_start": False, "properties": properties}
