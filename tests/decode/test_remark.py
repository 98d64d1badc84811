"""Messages marked and moved for a replay: read back with cbor2 and json alone, and with the decoder that the daemon uses."""

import json
from typing import Any

import cbor2
import pytest

from edgemon.decode.readings import decode_readings
from edgemon.decode.remark import remark_capture, remark_reading
from edgemon.errors import DecodeError
from edgemon.model.gateway import InputBorders
from edgemon.model.ids import SensorId
from edgemon.model.instant import parse_instant
from edgemon.model.machine import Sensor
from edgemon.model.message import Message
from tests.support.captures import capture, parts

T = 1_700_000_000.25
LATER = 1_760_000_000.5


def later(instant: float) -> float:
    return instant - T + LATER


def test_a_cbor_capture_keeps_everything_but_its_time_and_mark() -> None:
    payload = capture(T, 3.0, capture_id="c-7", rpm=2975.5, temp=41.125, unknown=[1, {"a": b"\x00\xff"}])
    before, after = cbor2.loads(payload), cbor2.loads(remark_capture(payload, True, later))
    assert after == {**before, "t": LATER, "sim": True}
    assert list(after["axes"]) == list(before["axes"])


def test_a_json_capture_keeps_everything_and_a_text_time_is_read() -> None:
    fields = {"id": "ü-1", "t": "2026-11-25T10:00:00.5+01:00", "fs": 6400, "u": "g", "scale": 1e-3, "axes": {"x": "AAABAA=="}}
    after = json.loads(remark_capture(json.dumps(fields).encode(), True, lambda t: t + 60.0))
    assert after == {**fields, "t": parse_instant("2026-11-25T09:01:00.5Z"), "sim": True}


def test_parts_and_repeats_get_the_same_time() -> None:
    times = {cbor2.loads(remark_capture(part, True, lambda t: 5.0 + t / 3.0))["t"] for part in parts(T, 2.0, 4) * 2}
    assert len(times) == 1


@pytest.mark.parametrize("mark", [True, False])
def test_without_a_shift_times_stay_to_the_bit(mark: bool) -> None:
    before = cbor2.loads(capture(T + 1 / 3))
    after = cbor2.loads(remark_capture(cbor2.dumps(before), mark, None))
    assert after == ({**before, "sim": True} if mark else before)


def read(payload: bytes, received_at: float = LATER) -> Any:
    message = Message("edgemon/v1/sensor/s-0001/reading", payload, received_at)
    return decode_readings(message, Sensor(SensorId("s-0001")), InputBorders()).readings


# RFC 8428 section 5.1.2's pack (base time, negative offsets) in our names, and names with bases that would spoil `sim`.
PACK: list[dict[str, Any]] = [
    {"bn": "s-0001/", "bt": T, "bu": "Cel", "n": "temperature", "v": 40.5},
    {"n": "temperature", "t": -5, "v": 40.25},
    {"bn": "s-0001/x/", "n": "velocity_rms", "u": "mm/s", "v": 2.75, "t": -1.5},
]
LABELS = {"bn": -2, "bt": -3, "bu": -4, "n": 0, "u": 1, "v": 2, "t": 6}


def as_cbor(pack: list[dict[str, Any]]) -> bytes:
    return cbor2.dumps([{LABELS[name]: value for name, value in record.items()} for record in pack])


@pytest.mark.parametrize("payload", [json.dumps(PACK).encode(), as_cbor(PACK)], ids=["json", "cbor"])
def test_a_pack_moves_as_a_whole_and_is_marked_whatever_its_base_name(payload: bytes) -> None:
    before, after = read(payload), read(remark_reading(payload, True, later))
    assert [one.sim for one in before] == [False] * 3
    assert [one.sim for one in after] == [True] * 3
    assert [one.taken_at for one in after] == pytest.approx([LATER - 5.0, LATER - 1.5, LATER], abs=1e-6)
    assert [(one.name, one.axis, one.value, one.quantity) for one in after] == [
        (one.name, one.axis, one.value, one.quantity) for one in before
    ]


def test_times_relative_to_arrival_stay() -> None:
    payload = json.dumps([{"bt": -30, "n": "temperature", "u": "Cel", "v": 40.0}, {"n": "rssi", "u": "dBm", "t": 10, "v": -70}])
    after = read(remark_reading(payload.encode(), True, later))
    assert [(one.name, one.taken_at) for one in after] == [("temperature", LATER - 30.0), ("rssi", LATER - 20.0)]


def test_a_record_of_base_fields_alone_stays_one() -> None:
    payload = json.dumps([{"bn": "s-0001/", "bt": T}, {"n": "temperature", "u": "Cel", "v": 40.0}]).encode()
    (one,) = read(remark_reading(payload, True, later))
    assert (one.taken_at, one.value, one.sim) == (LATER, 40.0, True)


@pytest.mark.parametrize(
    "payload", [b"", b"\xff", b"nonsense", b"[", b"{}", cbor2.dumps([1]), json.dumps([{"t": "x"}]).encode()]
)
def test_what_is_no_pack_is_refused(payload: bytes) -> None:
    with pytest.raises(DecodeError):
        remark_reading(payload, True, later)


@pytest.mark.parametrize("payload", [b"", b"[]", cbor2.dumps({"t": b"x"}), json.dumps({"t": "yesterday"}).encode()])
def test_what_is_no_capture_is_refused(payload: bytes) -> None:
    with pytest.raises(DecodeError):
        remark_capture(payload, True, later)
