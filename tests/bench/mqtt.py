"""`python -m tests.bench.mqtt`: receiving and acknowledging through the link, against Paho's own loop that only counts.

Both get the same messages from the same broker, in turns, in one run; the publisher is a process of its own. Absolute numbers
say little about another machine; the ratios do.
"""

import argparse
import asyncio
import os
import socket
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion

from edgemon.clock import SystemClock
from edgemon.model.gateway import Broker
from edgemon.mqtt.paho_client import PahoLink
from tests.support.broker import LOOPBACK, Mosquitto, until

TOPIC = "bench/sensor/s-1/capture"
CASES = ((200, 10_000), (16_384, 4_000))
BATCH = 32
WITHIN_S = 60.0


@dataclass(frozen=True)
class Cost:
    """What one round took."""

    wall_s: float
    cpu_s: float


def publish(port: int, count: int, size: int) -> None:
    """Publish as fast as the broker takes it."""
    client = Client(CallbackAPIVersion.VERSION2, "publisher", protocol=MQTTProtocolVersion.MQTTv5)
    client.max_inflight_messages = 500
    client.on_socket_open = no_delay
    client.connect(LOOPBACK, port)
    client.loop_start()
    payload = os.urandom(size)
    for _ in range(count):
        info = client.publish(TOPIC, payload, 1)
    info.wait_for_publish(WITHIN_S)
    client.disconnect()
    client.loop_stop()


def no_delay(client: Client, userdata: object, sock: Any) -> None:
    """Let small packets go at once."""
    sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)


def start_publisher(port: int, count: int, size: int) -> "subprocess.Popen[bytes]":
    """Start `publish` in a process of its own."""
    return subprocess.Popen([sys.executable, "-m", "tests.bench.mqtt", "--publish", str(port), str(count), str(size)])


def run_bare(port: int, count: int, size: int) -> Cost:
    """Receive with Paho's network thread: acknowledged by Paho itself, counted, thrown away."""
    subscribed, done = threading.Event(), threading.Event()
    seen = 0
    marks: list[float] = []

    def on_message(*_: object) -> None:
        nonlocal seen
        if not seen:
            marks[:] = [time.perf_counter(), time.process_time()]
        seen += 1
        if seen == count:
            done.set()

    client = Client(CallbackAPIVersion.VERSION2, "bare", protocol=MQTTProtocolVersion.MQTTv5)
    client.on_message = on_message
    client.on_subscribe = lambda *_: subscribed.set()
    client.connect(LOOPBACK, port)
    client.subscribe(TOPIC, 1)
    client.loop_start()
    assert subscribed.wait(WITHIN_S)
    publisher = start_publisher(port, count, size)
    assert done.wait(WITHIN_S), f"{seen} of {count}"
    cost = Cost(time.perf_counter() - marks[0], time.process_time() - marks[1])
    client.disconnect()
    client.loop_stop()
    publisher.wait(WITHIN_S)
    return cost


def run_link(port: int, count: int, size: int) -> Cost:
    """Receive through the link in batches, acknowledging each batch."""
    return asyncio.run(_run_link(port, count, size))


async def _run_link(port: int, count: int, size: int) -> Cost:
    link = PahoLink(Broker(LOOPBACK, port, client_id="link", session_expiry_s=0), SystemClock(), [TOPIC])
    await link.start()
    await until(lambda: link.status.up)
    publisher = start_publisher(port, count, size)
    async with asyncio.timeout(WITHIN_S):
        some = await link.receive(BATCH)
        wall, cpu = time.perf_counter(), time.process_time()
        seen = len(some)
        link.acknowledge(some)
        while seen < count:
            some = await link.receive(BATCH)
            seen += len(some)
            link.acknowledge(some)
    cost = Cost(time.perf_counter() - wall, time.process_time() - cpu)
    await link.stop()
    await asyncio.to_thread(publisher.wait, WITHIN_S)
    return cost


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--publish", nargs=3, type=int, metavar=("PORT", "COUNT", "SIZE"), help=argparse.SUPPRESS)
    parser.add_argument("--rounds", type=int, default=3)
    arguments = parser.parse_args()
    if arguments.publish:
        publish(*arguments.publish)
        return
    runners: dict[str, Callable[[int, int, int], Cost]] = {"bare": run_bare, "link": run_link}
    with tempfile.TemporaryDirectory() as folder, Mosquitto(Path(folder), max_inflight=200, quiet=True) as broker:
        for size, count in CASES:
            rounds = [{name: run(broker.port, count, size) for name, run in runners.items()} for _ in range(arguments.rounds)]
            for name in runners:
                rate = statistics.median(count / costs[name].wall_s for costs in rounds)
                cpu_us = statistics.median(costs[name].cpu_s / count * 1e6 for costs in rounds)
                print(f"{size:6d} B  {name}  {rate:9.0f} messages/s  {cpu_us:6.1f} us CPU/message")
            ratio = statistics.median(costs["link"].cpu_s / costs["bare"].cpu_s for costs in rounds)
            print(f"{size:6d} B  CPU of the link over bare: {ratio:.2f}")


if __name__ == "__main__":
    main()
