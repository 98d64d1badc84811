"""Hostile messages by the hundred thousand to a real daemon: `python -m tests.bench.hostile [COUNT]`; needs mosquitto.

Prints what was sent and counted, whether a state moved, and the daemon's memory at each tenth.
"""

import sys
import time
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from tests.support.bare_client import BareClient
from tests.support.broker import Mosquitto
from tests.support.captures import capture
from tests.support.daemon import DaemonProcess, Observer, capture_topic, gateway_toml, plant_toml, wait_until
from tests.support.hostile import hostile

STEP = 500
WITHIN_S = 60.0
HEARD = ("/capture", "/reading", "/spectrum")
"""What a daemon subscribes; the broker hands over nothing else."""
MOST_BYTES = 1 << 20
"""Larger ones stay in the broker."""


def resident_mb(pid: int) -> float:
    """Give a process's memory, MB."""
    pages = int(Path(f"/proc/{pid}/statm").read_text().split()[1])
    return pages * 4096 / 1e6


def is_delivered(topic: str, payload: bytes) -> bool:
    """Say whether a broker hands a message over."""
    is_plain = topic.isascii() and topic.isprintable() and topic.count("/") == 4
    return is_plain and topic.endswith(HEARD) and len(payload) < MOST_BYTES


def real(state: dict[str, Any]) -> list[dict[str, Any]]:
    """Give a machine's alarms without simulated ones: what survives its damage is simulated, and may call as such."""
    return [alarm for alarm in state["alarms"] if not alarm["id"].endswith("/sim")]


def main(count: int) -> None:
    """Send, wait, print."""
    with (
        TemporaryDirectory() as name,
        Mosquitto(Path(name) / "broker") as broker,
        Observer(broker.port) as witness,
        DaemonProcess(Path(name) / "em", plant_toml(3), gateway_toml(broker.url)) as daemon,
        BareClient(broker.port) as hand,
    ):
        now = time.time()
        hand.publish(capture_topic("s-0001"), capture(now, 6.0))
        before = witness.wait_for("machine/hp-pump-1", lambda state: state["state"] == "alarm")
        memory = [resident_mb(daemon.pid)]
        sent = 1
        batch: list[tuple[str, bytes]] = []

        def is_taken() -> bool:
            return daemon.snapshot().gateway.messages >= sent

        began = time.monotonic()
        for number, (topic, payload) in enumerate(hostile(count, now), 1):
            if is_delivered(topic, payload):
                batch.append((topic, payload))
            if number % STEP == 0 or number == count:
                hand.publish_all(batch)
                sent, batch = sent + len(batch), []
                wait_until(is_taken, WITHIN_S, lambda: daemon.snapshot().gateway)
            if number % (count // 10 or 1) == 0:
                memory.append(resident_mb(daemon.pid))
        took = time.monotonic() - began
        gateway = daemon.snapshot().gateway
        after = witness.state("machine/hp-pump-1")
        print(f"{sent - 1} messages in {took:.0f} s: {gateway.messages - 1} counted, {gateway.rejected} rejected")
        moved = [key for key in before if key != "alarms" and after[key] != before[key]] + (
            [] if real(after) == real(before) else ["alarms"]
        )
        print(f"states that moved: {moved or 'none'}; store ok: {gateway.store_ok}, {gateway.store_bytes / 1e6:.1f} MB")
        print("errors in the log:", daemon.log.count("ERROR"), daemon.log.count("Traceback"))
        print("memory, MB, at each tenth:", *(f"{size:.0f}" for size in memory))


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 100_000)
