"""Starts, ends and losses of the daemon: asked to end, killed, without its broker, with each way to log in."""

import asyncio
import json
import os
import pty
import random
import select
import sqlite3
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cbor2
import numpy as np
import pytest

from edgemon.model.ids import CaptureId, CaptureKey, SensorId
from edgemon.store.reader import SqliteReader
from tests.support.bare_client import BareClient
from tests.support.broker import Mosquitto
from tests.support.captures import capture, parts
from tests.support.certificates import make_ca, make_client, make_server
from tests.support.daemon import (
    SITE,
    DaemonProcess,
    Observer,
    capture_topic,
    gateway_toml,
    plant_toml,
    reading_topic,
    wait_until,
)
from tests.support.forks import ForkedDaemon, Nursery

pytestmark = pytest.mark.live

KILLS = int(os.environ.get("EDGEMON_KILLS", "200"))
"""Kills of the test that draws their instants; the traffic grows with them."""


def is_status(status: str) -> Any:
    return lambda state: state["status"] == status


# ---- start, end, last will


def test_online_when_started_offline_when_told_to_end_and_when_killed(tmp_path: Path) -> None:
    with (
        Mosquitto(tmp_path / "broker") as broker,
        Observer(broker.port) as witness,
        DaemonProcess(tmp_path / "em", plant_toml(1), gateway_toml(broker.url)) as daemon,
    ):
        witness.wait_for("gateway", is_status("online"))
        code, took_s = daemon.terminate()
        assert code == 0
        assert took_s < 9.0  # what has not ended after 10 s is cut off
        assert witness.wait_for("gateway", is_status("offline"))["version"]
        wait_until(lambda: witness.events("gateway-stopped"))
        assert not daemon.socket.exists()
        for words in ("Traceback", "ERROR", "CRITICAL", "Exception", "never retrieved"):
            assert words not in daemon.log

        daemon.start()
        witness.wait_for("gateway", is_status("online"))
        daemon.kill()
        assert daemon.socket.exists()
        witness.wait_for("gateway", is_status("offline"))  # the broker says it, a few seconds later
        with Observer(broker.port) as late:
            assert late.wait_for("gateway", bool)["status"] == "offline"
        daemon.start()  # over the socket file that the dead one left
        witness.wait_for("gateway", is_status("online"))


# ---- kill -9 and what it may not change


def test_a_daemon_that_was_killed_carries_on_with_delays_states_and_counts(tmp_path: Path) -> None:
    t = time.time() - 60.0
    point, other = "machine/hp-pump-1/pump-de-h", "machine/hp-pump-2/pump-de-h"
    with site(tmp_path) as (daemon, witness, hand):
        for number in range(2):
            hand.publish(capture_topic("s-0002"), capture(t + number, 5.0, axial_mm_s=1.0, capture_id=f"other-{number}"))
        (alarm,) = witness.wait_for(other, lambda state: state["state"] == "alarm")["alarms"]
        occurrence = daemon.snapshot().machines[1].points[0].alarms[0].occurrence
        assert daemon.acknowledge(alarm["id"], occurrence).done
        acknowledged = witness.wait_for(other, lambda state: state["alarms"][0]["alarm_state"] == "ACKED")
        first, *rest = parts(t + 1.0, 5.0, 3, "whole")
        hand.publish(capture_topic("s-0001"), capture(t, 5.0, capture_id="one"))
        hand.publish(capture_topic("s-0001"), first)
        wait_until(lambda: daemon.snapshot().gateway.open_captures == 1)
        assert witness.wait_for(point, lambda state: state["capture"] == "one")["state"] == "normal"  # one of two readings
        before = daemon.snapshot().gateway
        daemon.kill()
        seen = len(witness.heard)

        after = daemon.start()
        counts = ("captures", "open_captures", "messages", "repeats", "readings")
        assert [getattr(after.gateway, name) for name in counts] == [getattr(before, name) for name in counts]
        (kept,) = after.machines[1].points[0].alarms
        assert (kept.alarm_state, kept.occurrence) == ("ACKED", occurrence)
        wait_until(lambda: f"{SITE}/{other}" in {one.topic for one in witness.heard[seen:]})
        assert witness.state(other) == acknowledged
        for part in rest:
            hand.publish(capture_topic("s-0001"), part)
        # the second reading beyond the limit: one came before the kill, one is joined of parts from before and after it
        assert witness.wait_for(point, lambda state: state["capture"] == "whole")["state"] == "alarm"
        hand.publish(capture_topic("s-0001"), capture(t, 5.0, capture_id="one"))
        wait_until(lambda: daemon.snapshot().gateway.repeats == 1)
        assert daemon.snapshot().gateway.captures == 4


@dataclass(frozen=True)
class Sent:
    """Traffic of a while, and what of it must be in a store afterwards."""

    messages: list[tuple[str, bytes]]
    captures: dict[tuple[str, str, float], dict[str, bytes]]
    """(sensor, id, t) to the samples of each axis."""
    readings: int


def traffic(t: float, seed: int, count: int) -> Sent:
    """Rising and falling levels of two pumps; whole captures, captures in parts out of order, repeats of any age."""
    rng = random.Random(seed)
    messages: list[tuple[str, bytes]] = []
    captures: dict[tuple[str, str, float], dict[str, bytes]] = {}
    for number in range(count):
        sensor = f"s-000{1 + number % 2}"
        at, name = t + number, f"c{number}"
        level = 1.0 + 5.0 * abs(np.sin(number / 6.0))
        pieces = [capture(at, level, capture_id=name)] if number % 3 else parts(at, level, 4, name)
        captures[sensor, name, at] = joined(pieces)
        rng.shuffle(pieces)
        messages += [(capture_topic(sensor), piece) for piece in pieces]
        pack = f'[{{"bt":{at!r},"n":"temperature","u":"Cel","v":{40 + number % 7}}}]'
        messages.append((reading_topic(sensor), pack.encode()))
        if number % 4 == 0:
            messages += rng.choices(messages, k=2)
    return Sent(messages, captures, readings=count)


def joined(pieces: list[bytes]) -> dict[str, bytes]:
    maps = [cbor2.loads(piece) for piece in pieces]
    return {axis: b"".join(one["axes"][axis] for one in maps) for axis in maps[0]["axes"]}


@contextmanager
def site(folder: Path, nursery: Nursery | None = None) -> Iterator[tuple[DaemonProcess, Observer, BareClient]]:
    with (
        Mosquitto(folder / "broker", quiet=True) as broker,
        Observer(broker.port) as witness,
        BareClient(broker.port) as hand,
        daemon_of(folder / "em", plant_toml(2, on_delay=2), gateway_toml(broker.url), nursery) as daemon,
    ):
        yield daemon, witness, hand


def daemon_of(folder: Path, plant: str, gateway: str, nursery: Nursery | None) -> DaemonProcess:
    return ForkedDaemon(nursery, folder, plant, gateway) if nursery else DaemonProcess(folder, plant, gateway)


def settled(daemon: DaemonProcess, hand: BareClient, sent: Sent, t: float) -> None:
    """Wait until a last message, behind all others in the broker's queue, is worked off."""
    at = t + sent.readings + 50.0
    hand.publish(capture_topic("s-0001"), capture(at, 2.0, capture_id="last"))
    sent.captures["s-0001", "last", at] = joined([capture(at, 2.0)])
    wait_until(lambda: daemon.snapshot().machines[0].points[0].capture == "last", 30.0 + KILLS, lambda: daemon.log[-2000:])


def conclusion(witness: Observer, store: Path) -> dict[str, Any]:
    """What a run leaves: published states, alarm records, the alarms' changes in order, and how much is stored."""
    paths = [f"machine/hp-pump-{m}{point}" for m in (1, 2) for point in ("", "/pump-de-h", "/pump-de-a")]
    with closing(sqlite3.connect(store)) as base:
        changes = base.execute(
            "SELECT machine, point, body FROM journal WHERE kind = 'alarm-changed' ORDER BY machine, point, seq"
        )
        trend = base.execute(
            "SELECT kind, owner, place, name, count(*), sum(value), min(t), max(t), min(fit) FROM trend"
            " JOIN series ON series = id GROUP BY id ORDER BY kind, owner, place, name"
        )
        counters = dict(base.execute("SELECT name, value FROM counters"))
        points = base.execute("SELECT machine, point, body FROM point_states ORDER BY machine, point")
        return {
            "states": {path: witness.state(path) for path in paths},
            "changes": changes.fetchall(),
            "trend": trend.fetchall(),
            "counters": {name: counters.get(name, 0) for name in ("captures", "readings", "late", "rejected", "unfit")},
            "alarms": [(machine, point, alarms_of(body)) for machine, point, body in points],
            "open parts": base.execute("SELECT count(*) FROM parts").fetchone(),
        }


def alarms_of(body: str) -> dict[str, Any]:
    """Give the alarm records of a point, without the times that the gateway's own clock told."""
    alarms: dict[str, Any] = json.loads(body)["alarms"]
    del alarms["monitoring"]["since"]
    for record in alarms.values():
        record.pop("told_at", None)
    return alarms


@pytest.mark.timeout(180 + 5 * KILLS)
def test_kills_at_random_instants_change_nothing_and_store_everything_once(tmp_path: Path) -> None:
    seed = int(os.environ.get("EDGEMON_KILL_SEED", time.time_ns() % 1_000_000))
    print(f"EDGEMON_KILL_SEED={seed}")
    rng = random.Random(seed)
    count = 5 * KILLS
    t = float(int(time.time())) - 250.0 - count
    with Nursery() as nursery, site(tmp_path / "disturbed", nursery) as (daemon, witness, hand):
        sent = traffic(t, seed, count)
        share = -(-len(sent.messages) // KILLS)
        for first in range(0, len(sent.messages), share):
            some = sent.messages[first : first + share]
            cut = rng.randrange(len(some))
            flow = threading.Thread(target=hand.publish_all, args=(some[:cut],))
            flow.start()
            time.sleep(rng.uniform(0.0, 0.12))  # the instant of the kill is what this test draws
            daemon.kill()
            flow.join()
            hand.publish_all(some[cut:])  # while it is dead
            daemon.start()
        settled(daemon, hand, sent, t)
        daemon.terminate()
        numbers = {entry["seq"] for entry in witness.events()}
        assert numbers == set(range(1, max(numbers) + 1))  # those of killed runs are published by their successors
        assert (
            len({entry["seq"] for entry in witness.events("gateway-started")}) == len(range(0, len(sent.messages), share)) + 1
        )
        found = conclusion(witness, daemon.store)
        stored_once(daemon.store, sent)
        assert "Traceback" not in daemon.log
    with site(tmp_path / "undisturbed") as (daemon, witness, hand):
        same = traffic(t, seed, count)
        hand.publish_all(same.messages)
        settled(daemon, hand, same, t)
        daemon.terminate()
        expected = conclusion(witness, daemon.store)
        stored_once(daemon.store, same)
    assert expected["changes"], "a run without alarms proves nothing"
    for name, value in expected.items():
        assert found[name] == value, name


def stored_once(store: Path, sent: Sent) -> None:
    """Every capture that the broker took is there, once, with every sample."""
    with closing(sqlite3.connect(store)) as base:
        rows = base.execute("SELECT sensor, id, taken_at, count(*) FROM captures GROUP BY sensor, id, taken_at").fetchall()
        held = base.execute("SELECT count(*) FROM trend JOIN series ON series = id WHERE kind = 'sensor'").fetchone()
    assert {(sensor, name, at) for sensor, name, at, _ in rows} == set(sent.captures)
    assert {count for *_, count in rows} == {1}
    assert held == (sent.readings,)

    async def samples() -> None:
        reader = await SqliteReader.open(store)
        try:
            for (sensor, name, at), axes in sent.captures.items():
                capture = await reader.capture(CaptureKey(SensorId(sensor), CaptureId(name), at))
                assert capture is not None
                assert {axis: counts.astype("<i2").tobytes() for axis, counts in capture.axes.items()} == axes
                assert capture.missing_parts == ()
        finally:
            await reader.close()

    asyncio.run(samples())


# ---- the broker


def link_is(daemon: DaemonProcess, up: bool) -> Any:
    (link,) = daemon.snapshot().gateway.links
    return link if link.up is up else None


def test_a_broker_that_comes_late_and_goes_and_comes_again(tmp_path: Path) -> None:
    broker = Mosquitto(tmp_path / "broker", persistence=True)
    broker.start()
    broker.stop()
    try:
        with DaemonProcess(tmp_path / "em", plant_toml(1), gateway_toml(broker.url)) as daemon:
            assert "nothing listens there" in wait_until(lambda: link_is(daemon, False)).detail
            broker.start()
            wait_until(lambda: link_is(daemon, True), 30.0)
            with BareClient(broker.port) as hand:
                hand.publish(capture_topic("s-0001"), capture(time.time(), 5.0, capture_id="one"))
            with Observer(broker.port, client_id="witness") as witness:  # what comes before it is back is kept for it
                witness.wait_for("machine/hp-pump-1", lambda state: state["state"] == "alarm")
                seen = len(witness.heard)
                events = daemon.snapshot().gateway.events
                broker.kill()
                wait_until(lambda: link_is(daemon, False))
                wait_until(lambda: daemon.snapshot().gateway.events > events)
                broker.start()
                wait_until(lambda: link_is(daemon, True), 30.0)
                # the broker may have forgotten what it kept: everything is said again
                wait_until(lambda: f"{SITE}/machine/hp-pump-1/pump-de-a" in {one.topic for one in witness.heard[seen:]}, 30.0)
                witness.wait_for("gateway", is_status("online"))
                with BareClient(broker.port) as hand:
                    hand.publish(capture_topic("s-0001"), capture(time.time(), 1.0, capture_id="two"))
                witness.wait_for("machine/hp-pump-1/pump-de-h", lambda state: state["capture"] == "two")
                wait_until(lambda: [entry["up"] for entry in witness.events("link-changed")][-2:] == [False, True])
    finally:
        broker.stop()


@pytest.mark.parametrize("protocol", ["5", "3.1.1"])
def test_user_and_password_and_either_version(tmp_path: Path, protocol: str) -> None:
    folder = tmp_path / "em"
    folder.mkdir()
    (folder / "password").write_text("correct horse\n")
    (folder / "password").chmod(0o600)
    login = f'username = "gateway"\npassword_file = "password"\nprotocol = "{protocol}"\n'
    with Mosquitto(tmp_path / "broker", users={"gateway": "correct horse", "sensor": "s"}) as broker:
        with BareClient(broker.port, username="sensor", password="s") as hand:
            hand.publish(f"{SITE}/x", b"")
        with DaemonProcess(folder, plant_toml(1), gateway_toml(broker.url, login)) as daemon:
            assert f"MQTT {protocol}" in wait_until(lambda: link_is(daemon, True)).detail
            with BareClient(broker.port, username="sensor", password="s") as hand:
                hand.publish(capture_topic("s-0001"), capture(time.time(), 1.0))
            wait_until(lambda: daemon.snapshot().gateway.captures == 1)
            assert daemon.terminate()[0] == 0
            assert "correct horse" not in daemon.log


def test_tls_with_a_client_certificate(tmp_path: Path) -> None:
    folder = tmp_path / "em"
    ca = make_ca(folder)
    client = make_client(folder, ca)
    tls = f'ca_file = "{ca.certificate.name}"\ncertificate_file = "{client.certificate.name}"\nkey_file = "{client.key.name}"\n'
    with Mosquitto(tmp_path / "broker", server=make_server(tmp_path, ca), client_ca=ca) as broker:
        url = f"mqtts://127.0.0.1:{broker.port}"
        with DaemonProcess(folder, plant_toml(1), gateway_toml(url, tls)) as daemon:
            wait_until(lambda: link_is(daemon, True))
            assert daemon.terminate()[0] == 0


# ---- the board beside it


class Terminal:
    """A program in a terminal of 100 columns and 30 rows, and what it has drawn."""

    def __init__(self, *arguments: str) -> None:
        self._near, far = pty.openpty()
        env = {**os.environ, "TERM": "xterm-256color", "COLUMNS": "100", "LINES": "30"}
        command = [sys.executable, "-m", "edgemon", *arguments]
        self._process = subprocess.Popen(command, stdin=far, stdout=far, stderr=far, env=env, start_new_session=True)
        os.close(far)
        self.drawn = ""

    def __enter__(self) -> "Terminal":
        return self

    def __exit__(self, *_: object) -> None:
        self._process.kill()
        self._process.wait()
        os.close(self._near)

    def wait_for(self, words: str, within_s: float = 60.0) -> None:
        """Read until the words are drawn; what was drawn before does not count the next time."""
        deadline = time.monotonic() + within_s
        while words not in self.drawn:
            assert time.monotonic() < deadline, f"{words!r} not drawn within {within_s} s: {self.drawn[-3000:]!r}"
            self.read(0.1)
        self.drawn = ""

    def read(self, within_s: float) -> None:
        if select.select([self._near], [], [], within_s)[0]:
            try:
                self.drawn += os.read(self._near, 65_536).decode(errors="replace")
            except OSError:  # EIO: the program has ended
                time.sleep(0.01)

    def press(self, keys: str) -> None:
        os.write(self._near, keys.encode())

    def ended(self, within_s: float = 60.0) -> int:
        """Wait until it has ended, reading what it still draws; gives its exit code."""
        deadline = time.monotonic() + within_s
        while (code := self._process.poll()) is None:
            assert time.monotonic() < deadline, self.drawn[-3000:]
            self.read(0.1)
        return code


def test_the_board_sees_the_daemon_die_comes_back_and_quits_without_disturbing_it(tmp_path: Path) -> None:
    with (
        Mosquitto(tmp_path / "broker") as broker,
        DaemonProcess(tmp_path / "em", plant_toml(1), gateway_toml(broker.url)) as daemon,
        Terminal("board", "--config", str(daemon.folder), "--still") as board,
    ):
        board.wait_for("High-pressure pump 1")
        daemon.kill()
        board.wait_for("no daemon answers")
        started = daemon.start().gateway.started_at
        with BareClient(broker.port) as hand:
            hand.publish(capture_topic("s-0001"), capture(time.time(), 5.0))
        board.wait_for("1 alarm")
        board.press("q")
        assert board.ended() == 0
        gateway = daemon.snapshot().gateway
        assert (gateway.started_at, gateway.captures) == (started, 1)
        assert "Traceback" not in daemon.log
