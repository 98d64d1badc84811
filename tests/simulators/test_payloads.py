import base64
import json
from typing import Any

import cbor2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from simulators.payloads import Record, Waveform, encode_capture, encode_note, encode_readings

COUNTS = np.array([0, 1, -1, 32767, -32768, 258, -2], np.int16)


def wave(**changes: Any) -> Waveform:
    fields: dict[str, Any] = {
        "id": "c000007",
        "t": 1_800_000_000.25,
        "fs_hz": 6400.0,
        "unit": "m/s2",
        "scale": 0.0048,
        "axes": {"x": COUNTS, "z": COUNTS[::-1]},
        "rpm": 2975.0,
        "temperature_c": 61.5,
        "battery_pct": 87.0,
        "rssi_dbm": -62.0,
    }
    return Waveform(**(fields | changes))


def test_a_capture_in_cbor_has_the_contract_fields() -> None:
    (payload,) = encode_capture(wave())
    fields = cbor2.loads(payload)
    # Little-endian int16 by the contract, written out by hand.
    samples = bytes.fromhex("0000 0100 ffff ff7f 0080 0201 feff")
    assert fields.pop("axes") == {"x": samples, "z": bytes.fromhex("feff 0201 0080 ff7f ffff 0100 0000")}
    assert fields == {
        "id": "c000007",
        "t": 1_800_000_000.25,
        "fs": 6400.0,
        "u": "m/s2",
        "scale": 0.0048,
        "rpm": 2975.0,
        "temp": 61.5,
        "battery": 87.0,
        "rssi": -62.0,
        "sim": True,
    }


def test_a_capture_in_json_says_the_same() -> None:
    (in_json,), (in_cbor,) = encode_capture(wave(), as_json=True), encode_capture(wave())
    fields = json.loads(in_json)
    fields["axes"] = {axis: base64.b64decode(text, validate=True) for axis, text in fields["axes"].items()}
    assert fields == cbor2.loads(in_cbor)


def test_what_a_sensor_does_not_know_it_leaves_out() -> None:
    (payload,) = encode_capture(wave(rpm=None, temperature_c=None, battery_pct=None, rssi_dbm=None, sim=False))
    assert set(cbor2.loads(payload)) == {"id", "t", "fs", "u", "scale", "axes"}


@given(st.integers(1, 400), st.integers(1, 40), st.booleans(), st.randoms(use_true_random=False))
def test_parts_concatenate_in_whatever_order_they_come(n: int, parts: int, as_json: bool, chance: Any) -> None:
    if parts > n:
        return
    counts = np.random.default_rng(n).integers(-32768, 32767, (2, n)).astype(np.int16)
    payloads = encode_capture(wave(axes={"x": counts[0], "y": counts[1]}), parts, as_json)
    chance.shuffle(payloads)
    decoded = [json.loads(payload) if as_json else cbor2.loads(payload) for payload in payloads]
    heads = [{name: value for name, value in one.items() if name not in ("part", "axes")} for one in decoded]
    assert all(head == heads[0] for head in heads)
    if parts == 1:
        assert "part" not in decoded[0]
        decoded[0]["part"] = [1, 1]
    decoded.sort(key=lambda one: one["part"][0])
    assert [one["part"] for one in decoded] == [[k + 1, parts] for k in range(parts)]
    for axis, expected in zip("xy", counts, strict=True):
        pieces = [base64.b64decode(one["axes"][axis]) if as_json else one["axes"][axis] for one in decoded]
        assert np.array_equal(np.frombuffer(b"".join(pieces), "<i2"), expected)
        assert all(pieces)


@pytest.mark.parametrize("parts", [0, 8])
def test_parts_without_samples_are_refused(parts: int) -> None:
    with pytest.raises(ValueError, match="parts"):
        encode_capture(wave(), parts)


RECORDS = [Record("temperature", 61.5, "Cel"), Record("battery", 87.0, "%EL"), Record("x/velocity_rms", 2.75, "mm/s")]


def test_readings_in_json_are_a_senml_pack() -> None:
    payload = encode_readings(1_800_000_000.5, RECORDS)
    assert payload[:1] == b"["
    assert json.loads(payload) == [
        {"bt": 1_800_000_000.5, "n": "temperature", "u": "Cel", "v": 61.5},
        {"n": "battery", "u": "%EL", "v": 87.0},
        {"n": "x/velocity_rms", "u": "mm/s", "v": 2.75},
        {"n": "sim", "vb": True},
    ]


def test_readings_in_cbor_use_the_labels_of_rfc_8428() -> None:
    # RFC 8428 table 4: bt -3, n 0, u 1, v 2, vb 4.
    payload = encode_readings(1_800_000_000.5, RECORDS, as_json=False)
    assert 0x80 <= payload[0] <= 0x9F
    assert cbor2.loads(payload) == [
        {-3: 1_800_000_000.5, 0: "temperature", 1: "Cel", 2: 61.5},
        {0: "battery", 1: "%EL", 2: 87.0},
        {0: "x/velocity_rms", 1: "mm/s", 2: 2.75},
        {0: "sim", 4: True},
    ]


def test_readings_of_a_real_sensor_carry_no_mark() -> None:
    assert "sim" not in encode_readings(1.0, RECORDS, sim=False).decode()


def test_a_note_is_json() -> None:
    note = json.loads(encode_note(1_800_000_000.0, "A bearing begins to fail", "blows at 178 Hz", "hp-pump-2"))
    assert note == {
        "t": 1_800_000_000.0,
        "title": "A bearing begins to fail",
        "text": "blows at 178 Hz",
        "machine": "hp-pump-2",
    }
