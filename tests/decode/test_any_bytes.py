"""Whatever comes, on whatever topic: it is decoded, or refused with a kind of `DecodeError`, in bounded time and memory."""

import base64
import json
import struct
import time
import tracemalloc
import unicodedata
from dataclasses import replace
from typing import Any

import cbor2
import pytest
from hypothesis import given
from hypothesis import strategies as st

from edgemon.decode.decoded import Decoded
from edgemon.decode.registry import decode, quarantine
from edgemon.errors import DecodeError
from edgemon.model.ids import SensorId
from edgemon.model.message import Message, Quarantined
from tests.decode.samples import BORDERS, NOW, ROOT, SENSOR, SENSORS, message

SAMPLES = struct.pack("<8h", *range(-4, 4))
CAPTURE: dict[str, Any] = {
    "id": "c-17",
    "t": NOW - 10,
    "fs": 25_600,
    "u": "g",
    "scale": 0.001,
    "axes": {"x": SAMPLES, "y": SAMPLES},
    "rpm": 2970,
    "temp": 41.5,
    "battery": 87,
    "rssi": -71,
    "part": [1, 2],
    "sim": True,
}
SPECTRUM: dict[str, Any] = {
    **{"id": "p-17", "t": NOW - 10, "u": "mm/s", "detector": "rms", "df": 1.25, "fmax": 8.75, "lines": 7, "f0": 0},
    **{"window": "hann", "enbw": 1.5, "averages": 8, "format": "uint16", "scale": 0.001},
    **{"axes": {"x": SAMPLES, "y": SAMPLES}, "rpm": 2970, "temp": 41.5, "battery": 87, "rssi": -71, "sim": True},
}
PACK: list[dict[str, Any]] = [
    {"bn": "s-0001:", "bt": NOW - 10, "n": "x/velocity_rms", "u": "mm/s", "v": 2.8},
    {"n": "battery", "u": "%EL", "v": 87},
    {"n": "sim", "vb": True},
]
CBOR_LABELS = {"bn": -2, "bt": -3, "n": 0, "u": 1, "v": 2, "vb": 4}
VALID: dict[str, tuple[str, bytes]] = {
    "capture, CBOR": ("capture", cbor2.dumps(CAPTURE)),
    "capture, JSON": (
        "capture",
        json.dumps({**CAPTURE, "axes": {"x": base64.b64encode(SAMPLES).decode()}}).encode(),
    ),
    "spectrum, CBOR": ("spectrum", cbor2.dumps(SPECTRUM)),
    "spectrum, JSON": (
        "spectrum",
        json.dumps({**SPECTRUM, "axes": {"x": base64.b64encode(SAMPLES).decode()}}).encode(),
    ),
    "pack, JSON": ("reading", json.dumps(PACK).encode()),
    "pack, CBOR": ("reading", cbor2.dumps([{CBOR_LABELS[name]: value for name, value in one.items()} for one in PACK])),
    "note": (
        "simulation",
        json.dumps({"t": NOW, "title": "A bearing wears", "text": "Watch it.", "machine": "hp-pump-2"}).encode(),
    ),
}


def outcome(sent: Message) -> Decoded | Quarantined:
    """Decode, or keep what was refused; anything but a kind of DecodeError ends the test."""
    try:
        return decode(sent, ROOT, SENSORS, BORDERS)
    except DecodeError as error:
        refused = error
    assert type(refused) is not DecodeError
    kept = quarantine(sent, refused)
    assert steers_nothing(kept.detail)
    assert steers_nothing(kept.topic)
    return kept


def steers_nothing(text: str) -> bool:
    """Say whether a text has no control, format, unassigned or line-breaking character (Unicode Standard Annex 44)."""
    return not any(unicodedata.category(char)[0] == "C" or unicodedata.category(char) in ("Zl", "Zp") for char in text)


KINDS = st.sampled_from(["reading", "capture", "spectrum", "simulation"])


@given(KINDS, st.binary(max_size=200), st.booleans())
def test_random_bytes(kind: str, payload: bytes, retained: bool) -> None:
    outcome(message(kind, payload, retained=retained))


@given(KINDS, st.text(max_size=100), st.binary(max_size=100))
def test_any_topic(kind: str, topic: str, payload: bytes) -> None:
    outcome(Message(topic, payload, NOW))
    outcome(Message(f"{ROOT}/sensor/{topic}/{kind}", payload, NOW))


@pytest.mark.parametrize("name", VALID)
def test_valid_messages_are_decoded(name: str) -> None:
    assert isinstance(outcome(message(*VALID[name])), Decoded)


@pytest.mark.parametrize("name", VALID)
def test_every_prefix_is_refused(name: str) -> None:
    kind, payload = VALID[name]
    for length in range(len(payload)):
        assert isinstance(outcome(message(kind, payload[:length])), Quarantined), f"cut to {length} bytes"


@pytest.mark.parametrize("name", VALID)
@given(data=st.data())
def test_mutated_messages(name: str, data: st.DataObject) -> None:
    kind, payload = VALID[name]
    mutated = bytearray(payload)
    for _ in range(data.draw(st.integers(1, 4))):
        at = data.draw(st.integers(0, len(mutated) - 1))
        mutated[at : at + data.draw(st.integers(0, 3))] = data.draw(st.binary(max_size=4))
        if not mutated:
            break
    outcome(message(kind, bytes(mutated)))


ODD = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(-(2**64), 2**64 - 1)
    | st.floats()
    | st.text(max_size=70)
    | st.binary(max_size=9)
    | st.just("2025-06-15T15:06:40Z"),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=3) | st.integers(-9, 9), inner, max_size=3),
    max_leaves=6,
)


@given(st.dictionaries(st.sampled_from(list(CAPTURE)), ODD, min_size=1), st.booleans())
def test_fields_of_any_kind_in_a_capture(fields: dict[str, object], clock: bool) -> None:
    sent = message("capture", cbor2.dumps({**CAPTURE, **fields}))
    try:
        decoded = decode(sent, ROOT, {SENSOR.id: replace(SENSOR, clock=clock)}, BORDERS)
    except DecodeError:
        return
    part = decoded.part
    assert part is not None
    assert steers_nothing(part.id)
    assert part.id.strip()
    assert part.taken_at <= NOW + BORDERS.future_skew_s
    assert part.fs_hz > 0.0
    assert part.si_per_count > 0.0
    assert len({samples.shape for samples in part.axes.values()}) == 1


@given(st.dictionaries(st.sampled_from([*SPECTRUM, "part"]), ODD, min_size=1), st.booleans())
def test_fields_of_any_kind_in_a_spectrum(fields: dict[str, object], clock: bool) -> None:
    sent = message("spectrum", cbor2.dumps({**SPECTRUM, **fields}))
    try:
        decoded = decode(sent, ROOT, {SENSOR.id: replace(SENSOR, clock=clock)}, BORDERS)
    except DecodeError:
        return
    part = decoded.part
    assert part is not None
    assert part.form is not None
    assert steers_nothing(part.id + part.form.window)
    assert part.form.line_hz > 0.0
    assert part.si_per_count > 0.0


@given(st.lists(st.dictionaries(st.sampled_from(list(range(-6, 9))), ODD, min_size=1, max_size=5), min_size=1, max_size=4))
def test_fields_of_any_kind_in_a_pack(records: list[dict[int, object]]) -> None:
    outcome(message("reading", cbor2.dumps(records)))
    named = [{0: "temperature", 1: "Cel", 2: 20.0, **record} for record in records]
    outcome(message("reading", cbor2.dumps(named)))


@given(st.dictionaries(st.sampled_from(["t", "title", "text", "machine", "more"]), st.text() | st.floats() | st.none()))
def test_notes_of_any_content(fields: dict[str, object]) -> None:
    kept = outcome(message("simulation", json.dumps({"title": "Bearing", **fields}).encode()))
    if isinstance(kept, Decoded):
        note = kept.note
        assert note is not None
        assert steers_nothing(note.title + note.text)
        assert len(note.title) <= 64
        assert len(note.text) <= 400


FULL = BORDERS.message_bytes
BOMBS = {
    "nested JSON": b"[" * FULL,
    "nested JSON objects": b'{"a":' * (FULL // 5),
    "empty JSON arrays": b"[" + b"[]," * (FULL // 3 - 1) + b"1]",
    "empty JSON objects": b"[" + b"{}," * (FULL // 3 - 1) + b"1]",
    "JSON names": b'{"axes":{' + b'"x":"",' * (FULL // 7 - 4) + b'"y":""}}',
    "JSON number of four million digits": b"[" + b"9" * (FULL - 2) + b"]",
    "JSON fraction of four million digits": b'[{"n":"temperature","u":"Cel","v":0.' + b"9" * (FULL - 60) + b"}]",
    "JSON exponent of four million digits": b'[{"n":"temperature","u":"Cel","v":1e' + b"9" * (FULL - 60) + b"}]",
    "nested CBOR": b"\x81" * FULL,
    "nested CBOR maps": b"\xa1\x01" * (FULL // 2),
    "empty CBOR maps": b"\x9a" + struct.pack(">I", FULL - 5) + b"\xa0" * (FULL - 5),
    "empty CBOR arrays in a map": b"\xba" + struct.pack(">I", (FULL - 5) // 2) + b"\x80" * (FULL - 5),
    "CBOR announcing 2**64 items": b"\x9b" + b"\xff" * 8,
    "CBOR announcing 2**64 pairs": b"\xbb" + b"\xff" * 8,
    "CBOR announcing 2**64 bytes": b"\xa1\x61x\x5b" + b"\xff" * 8,
    "CBOR number of 10**350 digits": b"\x81\xa3\x00\x61a\x01\x61m\x02\xc4\x82\x1b" + b"\x7f" * 8 + b"\x01",
    "CBOR shared references": b"\xa1\x61x\xd8\x1c\x82\xd8\x1d\x00\xd8\x1d\x00",
}


@pytest.mark.parametrize("kind", ["reading", "capture", "simulation"])
@pytest.mark.parametrize("name", BOMBS)
def test_bombs_cost_no_more_than_they_weigh(name: str, kind: str) -> None:
    payload = BOMBS[name]
    sent = message(kind, payload)
    tracemalloc.start()
    try:
        began = time.process_time()
        outcome(sent)
        took = time.process_time() - began
        _, peak = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert peak < 4 * len(payload) + 4 * 2**20
    assert took < 2.0  # traced, on a slow machine; a bomb that goes off takes minutes


def test_too_many_bytes_are_refused_before_they_are_looked_at() -> None:
    kept = outcome(message("reading", b"[" + b" " * BORDERS.message_bytes))
    assert isinstance(kept, Quarantined)
    assert kept.cause == "too-large"


def test_an_unknown_sensor_is_named() -> None:
    sent = Message(f"{ROOT}/sensor/s-9999/reading", b"[]", NOW)
    with pytest.raises(DecodeError, match=r"s-9999.*plant\.toml") as caught:
        decode(sent, ROOT, SENSORS, BORDERS)
    assert caught.value.cause == "unknown-sensor"
    assert SensorId("s-9999") not in SENSORS


def test_quarantine_keeps_the_first_bytes_and_nothing_that_steers_a_terminal() -> None:
    sent = Message("edgemon/v1/sensor/\x1b]0;owned\x07/reading", bytes(range(256)) * 4, NOW)
    kept = outcome(sent)
    assert isinstance(kept, Quarantined)
    assert (kept.head, kept.size, kept.received_at) == (bytes(range(256)) * 2, 1024, NOW)
    assert kept.cause == "unknown-topic"
    assert "\x1b" not in kept.topic + kept.detail
    assert "]0;owned" in kept.topic
