"""`edgemon record`, `replay` and `simulate` as programs on a real Mosquitto."""

import base64
import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import cbor2
import pytest

from tests.support.bare_client import BareClient
from tests.support.broker import Mosquitto
from tests.support.captures import capture, parts
from tests.support.daemon import Heard, Observer, capture_topic, reading_topic, wait_until

pytestmark = pytest.mark.live

FOLDER = Path(os.environ.get("EDGEMON_RECORDINGS", "no-such-folder"))
SENSORS = "edgemon/v1/sensor/#"


def edgemon(*arguments: str) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "edgemon", *arguments]
    return subprocess.run(command, capture_output=True, text=True, timeout=60, check=False)


def lines_of(path: Path) -> list[dict[str, Any]]:
    if not path.exists():
        return []
    return [json.loads(line) for line in path.read_text("ascii").splitlines()]


def traffic(t: float) -> list[tuple[str, bytes]]:
    pack = f'[{{"bt":{t!r},"n":"temperature","u":"Cel","v":41.5}}]'
    return [
        (capture_topic("s-0001"), capture(t, 2.0, capture_id="whole")),
        *((capture_topic("s-0002"), part) for part in parts(t + 0.5, 3.0, 3)),
        (capture_topic("s-0001"), capture(t, 2.0, capture_id="whole")),
        (reading_topic("s-0001"), pack.encode()),
        ("edgemon/v1/sensor/s-0001/schedule", b'{"interval_s":60}'),  # what the gateway tells the sensor
    ]


def test_what_is_recorded_is_replayed_marked_and_moved_to_now(tmp_path: Path) -> None:
    out = tmp_path / "traffic.jsonl"
    t = time.time() - 5.0
    with Mosquitto(tmp_path / "broker") as broker, BareClient(broker.port) as hand:
        recording = subprocess.Popen(
            [sys.executable, "-m", "edgemon", "record", "--broker", broker.url, "--out", str(out)], stderr=subprocess.PIPE
        )
        wait_until(lambda: "edgemon-record-" in broker.log and "SUBACK to edgemon-record-" in broker.log, 30.0)
        sent = traffic(t)
        hand.publish_all(sent)
        wait_until(lambda: len(lines_of(out)) == 1 + len(sent))
        recording.send_signal(signal.SIGTERM)
        _, said = recording.communicate(timeout=60)
        assert (recording.returncode, said) == (0, b"")  # quiet where nobody watches
        header, *lines = lines_of(out)
        assert (header["format"], header["version"], header["root"]) == ("edgemon-traffic", 1, "edgemon/v1")
        assert [(line["topic"], base64.b64decode(line["payload"]), line["qos"]) for line in lines] == [
            (*one, 1) for one in sent
        ]

        again = edgemon("record", "--broker", broker.url, "--out", str(out), "--for", "1s")
        assert (again.returncode, f"{out}: is there already" in again.stderr) == (2, True)

        with Observer(broker.port, SENSORS) as witness:
            began = time.time()
            done = edgemon("replay", str(out), "--broker", broker.url, "--speed", "0")
            assert (done.returncode, done.stderr, done.stdout) == (0, "", "")
            heard = wait_until(lambda: len(witness.heard) >= len(sent) - 1 and witness.heard)
        check_replayed(heard, sent, began)

        with Observer(broker.port, SENSORS) as witness:
            done = edgemon("replay", str(out), "--broker", broker.url, "--speed", "0", "--as-live", "--keep-times")
            assert done.returncode == 0
            wait_until(lambda: len(witness.heard) == len(sent) - 1)
            assert [(one.topic, one.payload) for one in witness.heard] == sent[:-1]


def check_replayed(heard: list[Heard], sent: list[tuple[str, bytes]], began: float) -> None:
    assert [one.topic for one in heard] == [topic for topic, _ in sent[:-1]]  # a schedule is not the sensors' and stays away
    assert {one.qos for one in heard} == {1}
    captures = [(cbor2.loads(one.payload), cbor2.loads(payload)) for one, (_, payload) in zip(heard[:5], sent, strict=False)]
    for found, before in captures:
        assert found["sim"] is True
        assert {**before, "t": found["t"], "sim": True} == found
        assert began - 10.0 < found["t"] <= time.time()
    moved = [found["t"] - before["t"] for found, before in captures]
    assert max(moved) - min(moved) < 1e-5  # as a whole: parts stay parts, and the repeat a repeat
    (temperature, mark) = json.loads(heard[5].payload)
    assert (temperature["v"], mark) == (41.5, {"bn": "", "n": "sim", "vb": True})


def recorded(path: Path, spacing_s: float, damage: bool = False) -> Path:
    """A file written here, without the product's code."""
    stamps = [f"2026-01-01T00:00:{number * spacing_s:06.3f}Z" for number in range(3)]
    head = {"format": "edgemon-traffic", "version": 1, "root": "edgemon/v1", "started_at": stamps[0]}
    lines = [json.dumps(head)]
    for number, stamp in enumerate(stamps):
        payload = base64.b64encode(capture(1_767_225_600.0 + number, 2.0, capture_id=f"c{number}")).decode()
        line = {"received_at": stamp, "topic": capture_topic("s-0001"), "qos": 1, "retained": False, "payload": payload}
        lines.append(json.dumps(line))
    if damage:
        lines.insert(2, lines[1][: len(lines[1]) // 2])
        lines.append(json.dumps({**line, "payload": base64.b64encode(b"rubbish").decode()}))
    path.write_text("\n".join(lines) + "\n")
    return path


def test_the_rhythm_is_kept_and_can_be_made_faster(tmp_path: Path) -> None:
    path = recorded(tmp_path / "traffic", 2.0)
    with Mosquitto(tmp_path / "broker") as broker, Observer(broker.port, SENSORS) as witness:
        assert edgemon("replay", str(path), "--broker", broker.url, "--speed", "4").returncode == 0
        first, second, third = wait_until(lambda: len(witness.heard) == 3 and witness.heard)
    assert second.at - first.at == pytest.approx(0.5, abs=0.25)
    assert third.at - first.at == pytest.approx(1.0, abs=0.25)


def test_damaged_lines_are_named_and_the_rest_is_played(tmp_path: Path) -> None:
    path = recorded(tmp_path / "traffic", 0.01, damage=True)
    with Mosquitto(tmp_path / "broker") as broker, Observer(broker.port, SENSORS) as witness:
        done = edgemon("replay", str(path), "--broker", broker.url)
        wait_until(lambda: len(witness.heard) == 3)
    assert done.returncode == 1
    torn, rubbish = done.stderr.splitlines()
    assert torn.startswith(f"{path}:3: left out: not JSON")
    assert rubbish.startswith(f"{path}:6: left out: ")


def test_what_cannot_be_used_is_told_with_exit_code_2(tmp_path: Path) -> None:
    (tmp_path / "notes").write_text("nothing\n")
    cases = [
        (("replay", str(tmp_path / "notes")), f"{tmp_path / 'notes'}:1: is not recorded traffic"),
        (("replay", str(tmp_path / "none")), "cannot be read"),
        (("replay", str(tmp_path), "--speed", "2"), "for recorded traffic only"),
        (("replay", str(tmp_path / "x.npz")), "no manifest.json beside it"),
        (("record", "--broker", "http://x", "--out", "-"), "--broker: the address starts with"),
        (("record", "--config", str(tmp_path), "--broker", "mqtt://x", "--out", "-"), "both name a broker"),
        (("simulate", "--speed", "-1"), "--speed"),
        (("simulate", "no-such-scene"), "no-such-scene"),
    ]
    for arguments, words in cases:
        done = edgemon(*arguments)
        assert (done.returncode, words in done.stderr, "Traceback" in done.stderr) == (2, True, False), (arguments, done.stderr)


def fields_of(payload: bytes) -> dict[str, Any]:
    """Read a capture, JSON or CBOR."""
    fields: dict[str, Any] = json.loads(payload) if payload.startswith(b"{") else cbor2.loads(payload)
    return fields


def test_a_scene_and_recordings_are_played_by_the_simulators(tmp_path: Path) -> None:
    with Mosquitto(tmp_path / "broker") as broker, Observer(broker.port, SENSORS) as witness:
        done = edgemon("simulate", "saltmarsh", "--broker", broker.url, "--for", "4s", "--speed", "4", "--seed", "3")
        assert (done.returncode, done.stderr) == (0, "")
        wait_until(lambda: len(witness.heard) > 20)
        captures = [fields_of(one.payload) for one in witness.heard if one.topic.endswith("/capture")]
        assert captures
        assert all(one["sim"] is True for one in captures)
        if (FOLDER / "manifest.json").exists():
            done = edgemon("replay", str(FOLDER / "cwru-105-ir.npz"), "--broker", broker.url)
            assert done.returncode == 0, done.stderr
            wait_until(lambda: "edgemon/v1/sensor/cwru-105-ir/capture" in witness.newest)


def test_a_told_end_reaches_the_simulators(tmp_path: Path) -> None:
    with Mosquitto(tmp_path / "broker") as broker, Observer(broker.port, SENSORS) as witness:
        command = [sys.executable, "-m", "edgemon", "simulate", "--broker", broker.url]
        playing = subprocess.Popen(command, stderr=subprocess.PIPE)
        wait_until(lambda: witness.heard, 30.0)
        (child,) = (int(one) for one in Path(f"/proc/{playing.pid}/task/{playing.pid}/children").read_text().split())
        playing.send_signal(signal.SIGTERM)
        _, said = playing.communicate(timeout=60)
        assert (playing.returncode, said) == (0, b"")
        assert not Path(f"/proc/{child}").exists()
