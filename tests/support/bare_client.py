"""A client of Paho's own making, with its own network thread: an independent witness beside the link under test."""

import threading
import time

from paho.mqtt.client import Client, MQTTMessage
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion

WITHIN_S = 60.0


class BareClient:
    """Publishes, and notes what it gets. All calls block; from a coroutine use `asyncio.to_thread` where they may wait.

    Parameters
    ----------
    port : int
        The broker's port on loopback.
    subscription : str
        Topic filter, QoS 1; empty: none.
    """

    def __init__(
        self, port: int, subscription: str = "", client_id: str = "bare", username: str = "", password: str = ""
    ) -> None:
        self._lock = threading.Lock()
        self._messages: list[tuple[str, bytes, bool]] = []
        self._subscribed = threading.Event()
        self._subscription = subscription
        self._client = Client(CallbackAPIVersion.VERSION2, client_id, protocol=MQTTProtocolVersion.MQTTv311)
        if username:
            self._client.username_pw_set(username, password)
        self._client.on_message = self._note
        self._client.on_connect = lambda *_: self._subscribe()
        self._client.on_subscribe = lambda *_: self._subscribed.set()
        self._client.max_inflight_messages = 1000
        self._client.connect("127.0.0.1", port)
        self._client.loop_start()
        assert self._subscribed.wait(WITHIN_S), "no SUBACK"

    def __enter__(self) -> "BareClient":
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    @property
    def messages(self) -> list[tuple[str, bytes, bool]]:
        """Topic, payload, retain flag of all that came so far."""
        with self._lock:
            return list(self._messages)

    def publish(self, topic: str, payload: bytes, qos: int = 1, retain: bool = False) -> None:
        """Publish one message and wait until the broker has it."""
        self.publish_all([(topic, payload)], qos, retain)

    def publish_all(self, messages: list[tuple[str, bytes]], qos: int = 1, retain: bool = False) -> None:
        """Publish many and wait until the broker has them."""
        infos = [self._client.publish(topic, payload, qos, retain) for topic, payload in messages]
        for info in infos:
            info.wait_for_publish(WITHIN_S)
            assert info.is_published(), "not acknowledged by the broker"

    def wait_for(self, count: int, within_s: float = WITHIN_S) -> list[tuple[str, bytes, bool]]:
        """Wait until at least so many messages have come."""
        deadline = time.monotonic() + within_s
        while len(self.messages) < count:
            assert time.monotonic() < deadline, f"{len(self.messages)} of {count} messages within {within_s} s"
            time.sleep(0.01)
        return self.messages

    def close(self) -> None:
        """Disconnect."""
        self._client.disconnect()
        self._client.loop_stop()

    def _subscribe(self) -> None:
        if self._subscription:
            self._client.subscribe(self._subscription, 1)
        else:
            self._subscribed.set()

    def _note(self, client: Client, userdata: object, message: MQTTMessage) -> None:
        with self._lock:
            self._messages.append((message.topic, bytes(message.payload), message.retain))
