import gc
import getpass
import shutil
import socket
import subprocess
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import paho.mqtt.client as mqtt
import pytest
from paho.mqtt.enums import CallbackAPIVersion

from simulators.__main__ import duration, main
from simulators.errors import SimulatorError
from simulators.play import Delivery
from simulators.publish import Broker, Publisher, parse_broker, publish_timed

DEADLINE_S = 20.0


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def wait_for(what: str, condition: Any) -> None:
    deadline = time.monotonic() + DEADLINE_S
    while not condition():
        assert time.monotonic() < deadline, f"{what} did not happen in {DEADLINE_S:g} s"
        time.sleep(0.02)


class Mosquitto:
    """A real broker on a port of its own, which can be killed and started again."""

    def __init__(self, folder: Path, passwords: Path | None = None, tls: bool = False) -> None:
        program = shutil.which("mosquitto") or "/usr/sbin/mosquitto"
        if not Path(program).exists():
            pytest.skip("no mosquitto on this machine: install the Debian package `mosquitto`")
        self.port = free_port()
        secure = f"cafile {folder}/cert.pem\ncertfile {folder}/cert.pem\nkeyfile {folder}/key.pem\n" if tls else ""
        access = f"allow_anonymous false\npassword_file {passwords}" if passwords else "allow_anonymous true"
        self._command = [program, "-c", str(folder / "broker.conf")]
        (folder / "broker.conf").write_text(
            f"user {getpass.getuser()}\nlistener {self.port} 127.0.0.1\n{secure}{access}\n"
            f"persistence true\npersistence_location {folder}/\nautosave_interval 1\n"
        )
        self._process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        self._process = subprocess.Popen(self._command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        wait_for("broker listening", self._listens)

    def _listens(self) -> bool:
        with socket.socket() as probe:
            return probe.connect_ex(("127.0.0.1", self.port)) == 0

    def stop(self) -> None:
        if self._process is not None:
            self._process.terminate()
            self._process.wait(DEADLINE_S)
            self._process = None


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Mosquitto]:
    started = Mosquitto(tmp_path)
    started.start()
    yield started
    started.stop()


class Listener:
    """A subscriber with a session that outlives the broker."""

    def __init__(self, port: int) -> None:
        self.heard: list[tuple[str, bytes]] = []
        self._client = mqtt.Client(CallbackAPIVersion.VERSION2, client_id="listener", clean_session=False)
        self._client.reconnect_delay_set(1, 1)
        self._client.on_message = lambda _client, _data, message: self.heard.append((message.topic, bytes(message.payload)))
        self._ready = False
        self._client.on_connect = lambda client, *_: client.subscribe("#", qos=1)
        self._client.on_subscribe = lambda *_: setattr(self, "_ready", True)
        self._client.connect("127.0.0.1", port)
        self._client.loop_start()
        wait_for("subscription", lambda: self._ready)

    def close(self) -> None:
        self._client.disconnect()
        self._client.loop_stop()


def silent(_text: str) -> None:
    return None


@pytest.mark.parametrize(
    ("url", "expected"),
    [
        ("mqtt://127.0.0.1:1900", Broker("127.0.0.1", 1900)),
        ("mqtt://plant-broker", Broker("plant-broker", 1883)),
        ("mqtts://user@plant-broker", Broker("plant-broker", 8883, tls=True, username="user")),
        ("mqtt://[::1]:1883", Broker("::1", 1883)),
    ],
)
def test_addresses_are_read(url: str, expected: Broker) -> None:
    assert parse_broker(url) == expected


@pytest.mark.parametrize(
    ("url", "says"),
    [
        ("http://x", "looks like mqtt://"),
        ("mqtt://", "looks like mqtt://"),
        ("mqtt://x:port", "not an address"),
        ("mqtt://u:secret@x", "no password in an address"),
        ("mqtt://x/topic", "ends with the port"),
    ],
)
def test_addresses_that_cannot_be_used_are_told(url: str, says: str) -> None:
    with pytest.raises(SimulatorError) as caught:
        parse_broker(url)
    assert says in str(caught.value)
    assert "secret" not in str(caught.value)


def test_durations_are_read() -> None:
    assert [duration(text) for text in ("30", "30s", "3m", "1.5h", "2min")] == [30.0, 30.0, 180.0, 5400.0, 120.0]


@pytest.mark.parametrize(
    ("line", "code", "says"),
    [
        (["scene", "no-such-scene"], 2, "no such scene"),
        (["scene", "--broker", "ftp://x"], 2, "looks like mqtt://"),
        (["scene", "--password-file", "/no/such/file"], 2, "/no/such/file: cannot be read"),
        (["scene", "--ca-file", "ca.pem"], 2, "need an address that starts with mqtts://"),
        (["recordings", "/no/such/folder"], 2, "manifest.json: not a manifest"),
        (["plant-file", "/no/such/folder"], 2, "manifest.json: not a manifest"),
    ],
)
def test_exit_codes(line: list[str], code: int, says: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(line) == code
    assert says in capsys.readouterr().err


@pytest.mark.parametrize(
    "line",
    [
        [],
        ["scene", "--for", "soon"],
        ["scene", "--speed", "0"],
        ["scene", "--root", "a/#"],
        ["recordings", "x", "--samples", "3"],
    ],
)
def test_bad_usage_ends_with_2(line: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as caught:
        main(line)
    assert caught.value.code == 2
    assert "usage" in capsys.readouterr().err


@pytest.mark.parametrize("line", [["--help"], ["scene", "--help"], ["recordings", "--help"], ["plant-file", "--help"]])
def test_help_is_there(line: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as caught:
        main(line)
    assert caught.value.code == 0
    assert "usage" in capsys.readouterr().out


def test_a_broker_that_is_not_there_is_told(capsys: pytest.CaptureFixture[str]) -> None:
    port = free_port()
    assert main(["scene", "--broker", f"mqtt://127.0.0.1:{port}", "--patience", "0.2s", "--quiet"]) == 1
    assert f"127.0.0.1:{port}: cannot be reached" in capsys.readouterr().err


@pytest.mark.live
def test_what_the_broker_has_taken_is_heard(broker: Mosquitto) -> None:
    listener = Listener(broker.port)
    sent = [Delivery(0.0, f"t/{k}", bytes([k % 256]) * 100) for k in range(300)]
    with Publisher(Broker("127.0.0.1", broker.port), 10.0, silent) as publisher:
        assert publish_timed(publisher, sent, time.monotonic()) == 300
        assert publisher.accepted == 300
    wait_for("all messages heard", lambda: len(listener.heard) >= 300)
    listener.close()
    assert listener.heard == [(one.topic, one.payload) for one in sent]


@pytest.mark.live
def test_nothing_is_lost_when_the_broker_stops_and_comes_back(broker: Mosquitto) -> None:
    listener = Listener(broker.port)
    with Publisher(Broker("127.0.0.1", broker.port), DEADLINE_S, silent) as publisher:
        for k in range(20):
            publisher.publish(f"t/{k}", b"before")
        broker.stop()
        for k in range(20, 40):
            publisher.publish(f"t/{k}", b"during")
        broker.start()
        publisher.settle()
        assert publisher.accepted == 40
    wait_for("all messages heard", lambda: len({topic for topic, _ in listener.heard}) == 40)
    listener.close()


@pytest.mark.live
def test_messages_go_out_when_their_time_comes(broker: Mosquitto) -> None:
    with Publisher(Broker("127.0.0.1", broker.port), 10.0, silent) as publisher:
        started = time.monotonic()
        publish_timed(publisher, [Delivery(0.1, "t", b"a"), Delivery(0.4, "t", b"b")], started)
        assert 0.4 <= time.monotonic() - started < DEADLINE_S


@pytest.mark.live
def test_a_scene_is_played_and_every_message_taken(broker: Mosquitto, capsys: pytest.CaptureFixture[str]) -> None:
    listener = Listener(broker.port)
    address = f"mqtt://127.0.0.1:{broker.port}"
    assert main(["scene", "--broker", address, "--root", "try/v1", "--for", "3s", "--speed", "2"]) == 0
    said = capsys.readouterr().err
    count = int(said.split(" messages published")[0].split()[-1])
    assert f"{count} messages published, {count} taken by the broker" in said
    wait_for("all messages heard", lambda: len(listener.heard) >= count)
    listener.close()
    topics = {topic for topic, _ in listener.heard}
    assert "try/v1/simulation" in topics
    assert "try/v1/sensor/s-0011/capture" in topics


@pytest.mark.live
def test_a_wrong_password_is_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    maker = shutil.which("mosquitto_passwd")
    if maker is None:
        pytest.skip("no mosquitto_passwd on this machine: install the Debian package `mosquitto`")
    passwords = tmp_path / "passwords"
    subprocess.run([maker, "-c", "-b", str(passwords), "sensors", "right"], check=True, capture_output=True)
    passwords.chmod(0o644)
    guarded = Mosquitto(tmp_path, passwords)
    guarded.start()
    try:
        given = tmp_path / "given"
        line = ["scene", "--broker", f"mqtt://sensors@127.0.0.1:{guarded.port}", "--password-file", str(given), "--for", "0.5s"]
        given.write_text("wrong\n")
        assert main([*line, "--patience", "5s"]) == 1
        assert "refuses the connection" in capsys.readouterr().err
        given.write_text("right\n")
        assert main(line) == 0
    finally:
        guarded.stop()


# Paho leaves the socket of a failed handshake to the garbage collector.
@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning", "ignore::ResourceWarning")
@pytest.mark.live
def test_tls_needs_the_authority_that_signed(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    maker = shutil.which("openssl")
    if maker is None:
        pytest.skip("no openssl on this machine: install the Debian package `openssl`")
    files = ["-keyout", str(tmp_path / "key.pem"), "-out", str(tmp_path / "cert.pem")]
    names = ["-subj", "/CN=localhost", "-addext", "subjectAltName=IP:127.0.0.1"]
    self_signed = [maker, "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-days", "2"]
    subprocess.run([*self_signed, *files, *names], check=True, capture_output=True)
    secured = Mosquitto(tmp_path, tls=True)
    secured.start()
    try:
        line = ["scene", "--broker", f"mqtts://127.0.0.1:{secured.port}", "--for", "0.5s", "--patience", "1s"]
        assert main([*line, "--ca-file", str(tmp_path / "cert.pem")]) == 0
        assert main(line) == 1
        assert "its certificate is not trusted" in capsys.readouterr().err
        gc.collect()
    finally:
        secured.stop()
