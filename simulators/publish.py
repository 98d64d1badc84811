"""Publishes over MQTT at QoS 1: what is handed in is kept until the broker has said that it has it."""

import ssl
import threading
import time
from collections import deque
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion, MQTTErrorCode
from paho.mqtt.reasoncodes import ReasonCode

from simulators.errors import SimulatorError
from simulators.play import Delivery

WINDOW = 64
"""Messages under way at most; past it the oldest is waited for."""

_SCHEMES = {"mqtt": (1883, False), "mqtts": (8883, True)}


@dataclass(frozen=True, slots=True)
class Broker:
    """Where the broker is and how to be let in."""

    host: str
    port: int
    tls: bool = False
    username: str | None = None
    password: str | None = None
    ca_file: Path | None = None
    certificate_file: Path | None = None
    key_file: Path | None = None

    def __str__(self) -> str:
        """Write the address, never the password."""
        return f"{self.host}:{self.port}"


def parse_broker(url: str) -> Broker:
    """Read `mqtt://host:port` or `mqtts://host:port`; SimulatorError says what is wrong."""
    try:
        parts = urlsplit(url)
        port = parts.port
    except ValueError as error:
        raise SimulatorError(f"not an address: {error}", url) from error
    if parts.scheme not in _SCHEMES or not parts.hostname:
        raise SimulatorError("an address looks like mqtt://host:1883, or mqtts://host:8883 for TLS", url)
    if parts.password:
        raise SimulatorError("no password in an address, where everybody sees it; use --password-file", parts.hostname)
    if parts.path.strip("/") or parts.query:
        raise SimulatorError("an address ends with the port", url)
    usual, tls = _SCHEMES[parts.scheme]
    return Broker(parts.hostname, port or usual, tls, username=parts.username)


class Publisher:
    """One connection that publishes; use as a context manager.

    Parameters
    ----------
    broker : Broker
        Where to.
    patience_s : float
        How long to wait for the first connection, and for the broker to take a message, before giving up.
    say : callable
        Told in words when the link goes and comes.
    """

    def __init__(self, broker: Broker, patience_s: float = 30.0, say: Callable[[str], None] = print) -> None:
        self._broker = broker
        self._patience_s = patience_s
        self._say = say
        self._refusal = ""
        self._under_way: deque[int] = deque()
        self._taken: set[int] = set()
        self._moved = threading.Event()
        self.accepted = 0
        """Messages that the broker has said it has."""
        self._client = mqtt.Client(CallbackAPIVersion.VERSION2, protocol=mqtt.MQTTv311)
        self._client.max_inflight_messages_set(WINDOW)
        self._client.reconnect_delay_set(1, 10)
        self._client.on_connect = self._on_connect
        self._client.on_disconnect = self._on_disconnect
        self._client.on_publish = self._on_publish
        self._secure()

    def _secure(self) -> None:
        """Set user, password and TLS."""
        broker = self._broker
        if broker.username is not None:
            self._client.username_pw_set(broker.username, broker.password)
        if not broker.tls:
            return
        try:
            context = ssl.create_default_context(cafile=str(broker.ca_file) if broker.ca_file else None)
            if broker.certificate_file is not None:
                context.load_cert_chain(broker.certificate_file, broker.key_file)
        except (OSError, ssl.SSLError) as error:
            raise SimulatorError(f"certificates cannot be used: {error}", str(broker)) from error
        self._client.tls_set_context(context)

    def _on_connect(self, _client: Any, _data: Any, _flags: Any, reason: ReasonCode, _properties: Any) -> None:
        if reason.is_failure:
            self._refusal = str(reason)
        else:
            self._refusal = ""
            self._say(f"connected to {self._broker}")

    def _on_disconnect(self, _client: Any, _data: Any, _flags: Any, reason: ReasonCode, _properties: Any) -> None:
        if reason.is_failure and not self._refusal:
            self._say(f"connection to {self._broker} lost: {reason}; what is under way is kept and sent again")

    def _on_publish(self, _client: Any, _data: Any, packet: int, _reason: Any, _properties: Any) -> None:
        self._taken.add(packet)
        self._moved.set()

    def __enter__(self) -> "Publisher":
        """Connect, trying again until patience ends."""
        deadline = time.monotonic() + self._patience_s
        while True:
            try:
                self._client.connect(self._broker.host, self._broker.port, keepalive=20)
                break
            except ssl.SSLCertVerificationError as error:
                raise SimulatorError(f"its certificate is not trusted: {error}", str(self._broker), exit_code=1) from error
            except OSError as error:
                if time.monotonic() >= deadline:
                    raise SimulatorError(f"cannot be reached: {error}", str(self._broker), exit_code=1) from error
                time.sleep(0.25)
        self._client.loop_start()
        while not self._client.is_connected():
            if self._refusal or time.monotonic() >= deadline:
                self._client.loop_stop()
                why = f"refuses the connection: {self._refusal}" if self._refusal else "does not answer"
                raise SimulatorError(why, str(self._broker), exit_code=1)
            time.sleep(0.02)
        return self

    def publish(self, topic: str, payload: bytes) -> None:
        """Hand a message over; waits for the oldest one under way where too many are."""
        info = self._client.publish(topic, payload, qos=1)
        if info.rc not in (MQTTErrorCode.MQTT_ERR_SUCCESS, MQTTErrorCode.MQTT_ERR_NO_CONN):
            raise SimulatorError(f"cannot publish: {mqtt.error_string(info.rc)}", topic, exit_code=1)
        self._under_way.append(info.mid)
        while len(self._under_way) > WINDOW or (self._under_way and self._under_way[0] in self._taken):
            self._settle_oldest()

    def _settle_oldest(self) -> None:
        """Wait until the broker has the oldest message under way."""
        oldest = self._under_way[0]
        deadline = time.monotonic() + self._patience_s
        while oldest not in self._taken:
            left_s = deadline - time.monotonic()
            if left_s <= 0.0:
                raise SimulatorError(f"does not take messages for {self._patience_s:g} s", str(self._broker), exit_code=1)
            self._moved.clear()
            if oldest not in self._taken:
                self._moved.wait(min(left_s, 1.0))
        self._under_way.popleft()
        self._taken.discard(oldest)
        self.accepted += 1

    def settle(self) -> None:
        """Wait until the broker has everything."""
        while self._under_way:
            self._settle_oldest()

    def __exit__(self, kind: object, *_: object) -> None:
        """Disconnect; in order, after everything is taken, unless something failed."""
        try:
            if kind is None:
                self.settle()
        finally:
            self._client.disconnect()
            self._client.loop_stop()


def publish_timed(publisher: Publisher, deliveries: Iterable[Delivery], started: float) -> int:
    """Publish each message when its time comes; gives how many, all of them taken by the broker.

    Parameters
    ----------
    started : float
        Reading of `time.monotonic` that stands for time 0 of the deliveries.
    """
    count = 0
    for delivery in deliveries:
        wait_s = started + delivery.at_s - time.monotonic()
        if wait_s > 0.0:
            time.sleep(wait_s)
        publisher.publish(delivery.topic, delivery.payload)
        count += 1
    publisher.settle()
    return count
