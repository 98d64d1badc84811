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
from typing import Any

import paho.mqtt
from paho.mqtt.client import Client, ConnectFlags, DisconnectFlags, MQTTMessage
from paho.mqtt.enums import MQTTErrorCode
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode
from paho.mqtt.subscribeoptions import SubscribeOptions

from edgemon import tls
from edgemon.clock import Clock
from edgemon.errors import LinkDown, LinkRefused, LinkUnwilling
from edgemon.model.gateway import Protocol
from edgemon.model.instant import Duration
from edgemon.model.message import Message
from edgemon.model.outgoing import Outgoing
from edgemon.mqtt import plan
from edgemon.mqtt.inbox import Inbox
from edgemon.mqtt.paho_setup import Terms, address, connect_options, make_client
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

_KNOWN_PAHO = ("2.1.", "2.2.")
"""Versions whose insides were looked at; with any other the read-ahead and the long pause do without them."""


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
        self._leaving = ""
        self._opened = self._clock.elapsed()
        self._slots = asyncio.Semaphore(PUBLISHES_IN_FLIGHT)
        self._packet_limit = 268_435_455
        self._acks: dict[int, tuple[asyncio.Future[None], Duration]] = {}
        self._is_known = paho.mqtt.__version__.startswith(_KNOWN_PAHO)
        self._client = make_client(terms)
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
        options = connect_options(self._terms)
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
        if flags.session_present or not self._terms.subscriptions:
            # A resumed session has its subscriptions; their answer may lie behind much that waited.
            self.ready.set_result(None)
        if not self._terms.subscriptions:
            return
        if self._terms.protocol is Protocol.V5:
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
        received = Message(topic, bytes(message.payload), self._clock.now(), message.retain, message.dup)
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
                raise type(error)(error.what, outgoing.topic) from error
            finally:
                self._acks.pop(info.mid, None)

    def _on_publish(
        self, client: Client, userdata: object, mid: int, reason: ReasonCode, properties: Properties | None
    ) -> None:
        acknowledged, _ = self._acks.pop(mid, (None, 0.0))
        if acknowledged is None or acknowledged.done():
            return
        if reason.value >= plan.SUCCESS_BELOW:
            what = f"the broker does not take it: {plan.reason_words(reason.value)}"
            acknowledged.set_exception(LinkUnwilling(what) if reason.value in plan.CURABLE else LinkRefused(what))
        else:
            acknowledged.set_result(None)

    # ---- time, and the end

    def tick(self) -> None:
        """Let Paho send its pings, and end what has been silent too long."""
        if not self._attached:
            return
        now = self._clock.elapsed()
        if self._ahead.paused:
            # It is we who do not read: answers lie unread in the socket, the one to the ping too. Go on pinging.
            self._opened = now
            if self._is_known:
                self._client._ping_t = 0.0
        self._guard(self._client.loop_misc)
        if not self.ready.done() and now - self._opened > CONNECT_WAIT_S:
            what = f"did not answer within {CONNECT_WAIT_S:.0f} s"
            self.end(plan.unanswered_words(self._broker, self._terms.protocol, what))
        self._check_acks(now)

    def _check_acks(self, now: Duration) -> None:
        for acknowledged, since in self._acks.values():
            if acknowledged.done():
                continue
            if now - since <= 2 * self._broker.keepalive_s:
                return
            if not self._ahead.paused:
                self.end("a published message was not acknowledged in time")
                return
            # Whoever waits for it may be the one who ought to receive.
            acknowledged.set_exception(LinkDown("not acknowledged in time, for too much waits to be received"))

    def _on_disconnect(
        self, client: Client, userdata: object, flags: DisconnectFlags, reason: ReasonCode, properties: Properties | None
    ) -> None:
        error = self._ahead.error
        if self._leaving:
            self.end(self._leaving)
        elif flags.is_disconnect_packet_from_server or reason.value == plan.KEEP_ALIVE_TIMEOUT:
            self.end(plan.reason_words(reason.value))
        elif reason.value == plan.PROTOCOL_ERROR:
            self.end(f"what came is not MQTT {self._terms.protocol}")
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

    async def leave(self, why: str = "stopped") -> None:
        """Wait briefly for what is under way, then say goodbye."""
        under_way = [acknowledged for acknowledged, _ in self._acks.values()]
        if under_way:
            await asyncio.wait(under_way, timeout=STOP_WAIT_S)
        if self._attached:
            self._leaving = why
            self._client.disconnect()
            await asyncio.wait([self.over], timeout=STOP_WAIT_S)
        self.end(why)

    def _guard(self, step: Callable[[], object]) -> None:
        # Whatever Paho raises on bytes it does not understand ends this connection, not the link.
        try:
            step()
        except Exception as error:
            _log.warning("the connection to %s ends on an error", address(self._broker), exc_info=error)
            self.end(f"not understood: {type(error).__name__}")
