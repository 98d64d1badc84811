"""The file of recorded traffic: what is written is read back, damage is named and the rest is read."""

import base64
import json
from pathlib import Path

import pytest

from edgemon.cli.replay import How, shift_of
from edgemon.cli.traffic import Damaged, Header, Recorded, header_line, message_line, read_header, read_messages
from edgemon.errors import SettingsError
from edgemon.model.message import Message
from edgemon.mqtt.port import Delivery

AT = 1_760_000_000.125
HEADER = Header("edgemon/v1", AT)


def delivery(payload: bytes, at: float = AT, topic: str = "edgemon/v1/sensor/s-0001/capture") -> Delivery:
    return Delivery(Message(topic, payload, at, retained=True), 1, 7, 1)


def written(path: Path, *lines: bytes) -> Path:
    path.write_bytes(header_line(HEADER) + b"".join(lines))
    return path


def test_every_byte_comes_back(tmp_path: Path) -> None:
    payload = bytes(range(256)) * 3
    path = written(
        tmp_path / "a.jsonl", message_line(delivery(payload)), message_line(delivery(b"", topic="edgemon/v1/sensor/ü/x"))
    )
    assert read_header(path) == HEADER
    assert list(read_messages(path)) == [
        Recorded(AT, "edgemon/v1/sensor/s-0001/capture", 1, True, payload),
        Recorded(AT, "edgemon/v1/sensor/ü/x", 1, True, b""),
    ]


def test_a_line_is_plain_json_that_other_programs_read(tmp_path: Path) -> None:
    first, second = written(tmp_path / "a", message_line(delivery(b"\x00\n"))).read_text("ascii").splitlines()
    assert json.loads(first) == {
        "format": "edgemon-traffic",
        "version": 1,
        "root": "edgemon/v1",
        "started_at": "2025-10-09T08:53:20.125Z",  # date -u -d @1760000000
    }
    fields = json.loads(second)
    assert base64.b64decode(fields.pop("payload")) == b"\x00\n"
    topic = "edgemon/v1/sensor/s-0001/capture"
    assert fields == {"received_at": "2025-10-09T08:53:20.125Z", "topic": topic, "qos": 1, "retained": True}


def without(name: str) -> bytes:
    fields = json.loads(message_line(delivery(b"x")))
    del fields[name]
    return json.dumps(fields).encode() + b"\n"


def changed(name: str, value: object) -> bytes:
    return json.dumps({**json.loads(message_line(delivery(b"x"))), name: value}).encode() + b"\n"


@pytest.mark.parametrize(
    ("line", "why"),
    [
        (b"\n", "not JSON"),
        (b"[]\n", ""),
        (b"\xff\xfe\n", ""),
        (b"[" * 100_000 + b"\n", ""),
        (without("payload"), "payload is missing"),
        (changed("payload", "%%%"), "not base64"),
        (changed("payload", 3), ""),
        (changed("qos", 3), "qos"),
        (changed("topic", 3), "topic"),
        (changed("received_at", "now"), "RFC 3339"),
        (changed("retained", "no"), "retained"),
    ],
)
def test_a_damaged_line_is_named_and_the_rest_is_read(tmp_path: Path, line: bytes, why: str) -> None:
    good = message_line(delivery(b"x"))
    before, damage, after = read_messages(written(tmp_path / "a", good, line, good))
    assert isinstance(before, Recorded)
    assert isinstance(after, Recorded)
    assert isinstance(damage, Damaged)
    assert damage.line == 3
    assert why in damage.why
    assert damage.why


def test_half_a_line_at_the_end_is_damage(tmp_path: Path) -> None:
    *_, last = read_messages(written(tmp_path / "a", message_line(delivery(b"x")), message_line(delivery(b"y"))[:-1]))
    assert last == Damaged(3, "the line ends early")


@pytest.mark.parametrize(
    ("content", "why"),
    [
        (b"", "no header"),
        (b"{}\n", "no header"),
        (b"\x93NUMPY", "no header"),
        (header_line(HEADER).replace(b"edgemon-traffic", b"other"), "not recorded traffic but 'other'"),
        (header_line(HEADER).replace(b'"version":1', b'"version":2'), "version 2; version 1 is understood"),
        (None, "cannot be read: No such file"),
    ],
)
def test_a_file_that_is_none_is_refused_by_name(tmp_path: Path, content: bytes | None, why: str) -> None:
    path = tmp_path / "a"
    if content is not None:
        path.write_bytes(content)
    with pytest.raises(SettingsError, match=why) as caught:
        read_header(path)
    assert str(path) in str(caught.value)


def how(speed: float) -> How:
    return How("edgemon/v1", "edgemon/v1", speed, mark=True, shift=True)


def test_the_shift_puts_the_first_message_now_and_keeps_or_shrinks_the_rhythm() -> None:
    first, last, start = 100.0, 160.0, 1000.0
    assert [shift_of(how(1.0), first, last, start)(t) for t in (95.0, 100.0, 160.0)] == [995.0, 1000.0, 1060.0]
    assert [shift_of(how(4.0), first, last, start)(t) for t in (96.0, 100.0, 160.0)] == [999.0, 1000.0, 1015.0]
    # as fast as acknowledged: nothing may lie in the future
    assert [shift_of(how(0.0), first, last, start)(t) for t in (100.0, 160.0)] == [940.0, 1000.0]
