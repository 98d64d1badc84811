"""The whole path beside a script that only stores: `python -m tests.bench.path`.

A real Mosquitto, a real daemon, and a publisher. Processor time of the daemon is set against that of a bare Paho
subscriber which puts each payload into SQLite, in the same run and rounds that take turns; the latency is from publish to
published state, one capture at a time. Nothing here can fail: figures are for people.
"""

import argparse
import os
import resource
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import cbor2
import numpy as np
import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion

from tests.support.broker import LOOPBACK, Mosquitto

FS_HZ = 6400.0
SENSORS = 32
PATIENCE_S = 60.0

STORING = """
import sqlite3, sys, time
import paho.mqtt.client as mqtt
port, path, count = int(sys.argv[1]), sys.argv[2], int(sys.argv[3])
base = sqlite3.connect(path, check_same_thread=False, isolation_level=None)
base.executescript("PRAGMA journal_mode=WAL; PRAGMA synchronous=FULL; CREATE TABLE m(t REAL, topic TEXT, payload BLOB);")
seen = 0
def on_message(client, data, message):
    global seen
    base.execute("INSERT INTO m VALUES (?, ?, ?)", (time.time(), message.topic, message.payload))
    client.ack(message.mid, message.qos)
    seen += 1
    if seen % count == 0:
        client.publish("bench/done", str(seen), 1)
client = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2, manual_ack=True)
client.on_message = on_message
client.on_connect = lambda c, *rest: c.subscribe("edgemon/v1/sensor/+/+", 1)
client.connect("127.0.0.1", port)
client.loop_forever()
"""


def plant_file() -> str:
    """Write a plant of `SENSORS` machines with a point on each of three axes."""
    lines = ["[site]", 'id = "saltmarsh"', 'name = "Saltmarsh Desalination Works"']
    for index in range(SENSORS):
        lines += [f'[[sensor]]\nid = "s-{index:04d}"\ninterval_s = 600']
    for index in range(SENSORS):
        lines += [f'[[machine]]\nid = "pump-{index:04d}"\nseverity_class = "iso20816-3/group2/rigid"\nrpm = 2975']
        for axis in "xyz":
            lines += [f'[[machine.point]]\nid = "de-{axis}"\nsensor = "s-{index:04d}"\naxis = "{axis}"']
    return "\n".join(lines)


def payload(sensor: int, number: int, samples: int, velocity_mm_s: float) -> bytes:
    """Make a capture of three axes; each differs from every other."""
    t = np.arange(samples) / FS_HZ
    amplitude = np.sqrt(2.0) * velocity_mm_s * 1e-3 * 2.0 * np.pi * 50.0
    rng = np.random.default_rng([sensor, number])
    axes = {}
    for axis in "xyz":
        signal = amplitude * np.sin(2.0 * np.pi * 50.0 * t + number) + rng.normal(0.0, 0.05, samples)
        axes[axis] = np.round(signal / 0.005).astype("<i2").tobytes()
    # Times lie a little in the past, ten seconds apart for each sensor, so that each capture is judged.
    taken_at = time.time() - 50_000.0 + 10.0 * number
    return cbor2.dumps({"id": f"{number}", "t": taken_at, "fs": FS_HZ, "u": "m/s2", "scale": 0.005, "axes": axes})


def cpu_s(pid: int) -> float:
    """Read the processor time of a process. Source: proc(5), fields 14 and 15 of /proc/PID/stat."""
    fields = Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def rss_mib(pid: int) -> float:
    """Read the resident memory of a process."""
    return int(Path(f"/proc/{pid}/statm").read_text().split()[1]) * resource.getpagesize() / 2**20


class Observer:
    """Sees when states are published."""

    def __init__(self, port: int) -> None:
        self.seen: dict[str, float] = {}
        self.captures: dict[str, str] = {}
        self.changed = threading.Condition()
        self.client = mqtt.Client(CallbackAPIVersion.VERSION2)
        self.client.on_message = self._on_message
        self.client.on_connect = lambda client, *rest: client.subscribe([("edgemon/v1/site/#", 0), ("bench/done", 0)])
        self.client.connect(LOOPBACK, port)
        self.client.loop_start()

    def _on_message(self, client: Any, data: Any, message: mqtt.MQTTMessage) -> None:
        text = message.payload.decode(errors="replace")
        with self.changed:
            self.seen[message.topic] = time.perf_counter()
            start = text.find('"capture":"')
            if start >= 0:
                self.captures[message.topic] = text[start + 11 : text.index('"', start + 11)]
            elif message.topic == "bench/done":
                self.captures[message.topic] = text
            self.changed.notify_all()

    def wait(self, topic: str, value: str) -> float:
        """Wait until a topic shows a value; give when it did."""
        with self.changed:
            if not self.changed.wait_for(lambda: self.captures.get(topic) == value, PATIENCE_S):
                raise TimeoutError(f"{topic} did not show {value}: {self.captures.get(topic)}")
            return self.seen[topic]


@contextmanager
def process(*arguments: str) -> Iterator[subprocess.Popen[bytes]]:
    """Run a program until the block ends."""
    child = subprocess.Popen([sys.executable, *arguments])
    try:
        yield child
    finally:
        child.terminate()
        child.wait(20)


def publisher(port: int) -> mqtt.Client:
    """Connect a publisher."""
    client = mqtt.Client(CallbackAPIVersion.VERSION2)
    client.max_inflight_messages_set(64)
    client.connect(LOOPBACK, port)
    client.loop_start()
    return client


def send(client: mqtt.Client, first: int, samples: int, rounds: int) -> tuple[int, float]:
    """Publish `rounds` captures of every sensor; give how many and how long it took to hand them over."""
    made = [
        (f"edgemon/v1/sensor/s-{sensor:04d}/capture", payload(sensor, first + number, samples, 1.0 + sensor / 10.0))
        for number in range(rounds)
        for sensor in range(SENSORS)
    ]
    start = time.perf_counter()
    last = None
    for topic, content in made:
        last = client.publish(topic, content, 1)
    assert last is not None
    last.wait_for_publish(PATIENCE_S)
    return len(made), start


def throughput(samples: int, rounds: int, turns: int) -> None:
    """Print processor time per capture of the daemon and of the storing script."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        ours: list[tuple[float, float]] = []
        theirs: list[tuple[float, float]] = []
        for turn in range(turns):
            for is_ours, results in ((True, ours), (False, theirs)):
                results.append(one_turn(folder / f"{turn}-{is_ours}", samples, rounds, is_ours))
        daemon_cpu, daemon_rate = (statistics.median(column) for column in zip(*ours, strict=True))
        script_cpu, script_rate = (statistics.median(column) for column in zip(*theirs, strict=True))
        ratio = statistics.median(one[0] / other[0] for one, other in zip(ours, theirs, strict=True))
        print(
            f"3 axes x {samples:>5}: daemon {daemon_cpu * 1e6:7.0f} us/capture, {daemon_rate:6.0f} captures/s; "
            f"storing script {script_cpu * 1e6:7.0f} us, {script_rate:6.0f}/s; ratio {ratio:.2f}"
        )


def one_turn(folder: Path, samples: int, rounds: int, is_ours: bool) -> tuple[float, float]:
    """Give processor seconds per capture, and captures per second."""
    broker = Mosquitto(folder, max_inflight=64)
    broker.start()
    observer = Observer(broker.port)
    client = publisher(broker.port)
    count = SENSORS * rounds
    try:
        if is_ours:
            write_config(folder, broker.port)
            arguments = ("-m", "edgemon", "run", "--config", str(folder))
        else:
            arguments = ("-c", STORING, str(broker.port), str(folder / "m.sqlite"), str(count))
        with process(*arguments) as child:
            ready(observer, client, samples, is_ours, count)
            before = cpu_s(child.pid)
            _, start = send(client, 1, samples, rounds)
            if is_ours:
                end = max(observer.wait(topic_of(sensor), str(rounds)) for sensor in range(SENSORS))
            else:
                end = observer.wait("bench/done", str(2 * count))
            used = cpu_s(child.pid) - before
    finally:
        client.loop_stop()
        observer.client.loop_stop()
        broker.stop()
    return used / count, count / (end - start)


def ready(observer: Observer, client: mqtt.Client, samples: int, is_ours: bool, count: int) -> None:
    """Wait until the other side works: it has seen a first round."""
    if is_ours:
        with observer.changed:
            observer.changed.wait_for(lambda: topic_of(0) in observer.seen, PATIENCE_S)
        send(client, 0, samples, 1)
        for sensor in range(SENSORS):
            observer.wait(topic_of(sensor), "0")
    else:
        time.sleep(1.0)
        send(client, 10_000, samples, count // SENSORS)
        observer.wait("bench/done", str(count))


def topic_of(sensor: int) -> str:
    """Say where a sensor's last point is published."""
    return f"edgemon/v1/site/saltmarsh/machine/pump-{sensor:04d}/de-z"


def write_config(folder: Path, port: int) -> None:
    """Write the daemon's two files."""
    (folder / "plant.toml").write_text(plant_file())
    (folder / "gateway.toml").write_text(f'[broker]\nurl = "mqtt://{LOOPBACK}:{port}"\n[store]\npath = "s.sqlite"\n')


def latency(samples: int, count: int) -> None:
    """Print how long it takes from publish to published state, one capture at a time."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        broker = Mosquitto(folder)
        broker.start()
        observer, client = Observer(broker.port), publisher(broker.port)
        write_config(folder, broker.port)
        took: list[float] = []
        with process("-m", "edgemon", "run", "--config", str(folder)) as child:
            ready(observer, client, samples, True, 0)
            for number in range(1, count + 1):
                content = payload(0, number, samples, 1.0)
                start = time.perf_counter()
                client.publish("edgemon/v1/sensor/s-0000/capture", content, 1)
                took.append(observer.wait(topic_of(0), str(number)) - start)
                time.sleep(0.02)
            memory = rss_mib(child.pid)
        client.loop_stop()
        observer.client.loop_stop()
        broker.stop()
    took.sort()
    print(
        f"publish to published state, 3 axes x {samples}: median {took[len(took) // 2] * 1e3:.1f} ms, "
        f"99 % {took[int(len(took) * 0.99)] * 1e3:.1f} ms, worst {took[-1] * 1e3:.1f} ms; daemon's memory {memory:.0f} MiB"
    )


def main() -> None:
    """Print the figures."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rounds", type=int, default=30, help="captures of each sensor in a turn")
    parser.add_argument("--turns", type=int, default=3)
    options = parser.parse_args()
    for samples in (4096, 16384):
        throughput(samples, options.rounds, options.turns)
    latency(4096, 200)


if __name__ == "__main__":
    main()
