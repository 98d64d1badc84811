"""Resolution of SenML packs against the examples printed in RFC 8428."""

import hashlib
import json
from typing import Any

import cbor2
import pytest

from edgemon.decode.senml import RELATIVE_BELOW, Record, read_pack
from edgemon.errors import DecodeError
from tests.decode.samples import NOW

# RFC 8428 section 6, the CBOR form of the second pack of section 5.1.2; the checksum is of the working group's own file.
CBOR_EXAMPLE = bytes.fromhex(
    "87a721781b75726e3a6465763a6f773a3130653230373361303130383030363a22fb41d303a15b00106223614120050067766f6c7461676501"
    "615602fb405e066666666666a3006763757272656e74062402fb3ff3333333333333a3006763757272656e74062302fb3ff4cccccccccccd"
    "a3006763757272656e74062202fb3ff6666666666666a3006763757272656e74062102f93e00a3006763757272656e74062002fb3ff99999"
    "9999999aa3006763757272656e74060002fb3ffb333333333333"
)
CBOR_EXAMPLE_SHA256 = "35ac3065b9318b3c8105d60607e979a0e414ec738b575cfb1bb50776eccf02b6"

DEVICE = "urn:dev:ow:10e2073a01080063"
BASE = 1.320067464e09

VOLTAGE_AND_CURRENT = [
    {"bn": "urn:dev:ow:10e2073a0108006:", "bt": 1.276020076001e09, "bu": "A", "bver": 5, "n": "voltage", "u": "V", "v": 120.1},
    {"n": "current", "t": -5, "v": 1.2},
    {"n": "current", "t": -4, "v": 1.3},
    {"n": "current", "t": -3, "v": 1.4},
    {"n": "current", "t": -2, "v": 1.5},
    {"n": "current", "t": -1, "v": 1.6},
    {"n": "current", "v": 1.7},
]
CURRENT = "urn:dev:ow:10e2073a0108006:current"
VOLTAGE_AND_CURRENT_RESOLVED = [
    (CURRENT, "A", 1.276020071001e09, 1.2),
    (CURRENT, "A", 1.276020072001e09, 1.3),
    (CURRENT, "A", 1.276020073001e09, 1.4),
    (CURRENT, "A", 1.276020074001e09, 1.5),
    (CURRENT, "A", 1.276020075001e09, 1.6),
    ("urn:dev:ow:10e2073a0108006:voltage", "V", 1.276020076001e09, 120.1),
    (CURRENT, "A", 1.276020076001e09, 1.7),
]

EXAMPLES: dict[str, tuple[list[dict[str, Any]], list[tuple[Any, ...]]]] = {
    "5.1.1 single": ([{"n": DEVICE, "u": "Cel", "v": 23.1}], [(DEVICE, "Cel", NOW, 23.1)]),
    "5.1.2 multiple": (
        [{"bn": f"{DEVICE}:", "n": "voltage", "u": "V", "v": 120.1}, {"n": "current", "u": "A", "v": 1.2}],
        [(f"{DEVICE}:voltage", "V", NOW, 120.1), (f"{DEVICE}:current", "A", NOW, 1.2)],
    ),
    "5.1.2 with times": (VOLTAGE_AND_CURRENT, VOLTAGE_AND_CURRENT_RESOLVED),
    "5.1.3 measurements, resolved in 5.1.4": (
        [
            {"bn": DEVICE, "bt": BASE, "bu": "%RH", "v": 20},
            {"u": "lon", "v": 24.30621},
            {"u": "lat", "v": 60.07965},
            {"t": 60, "v": 20.3},
            {"u": "lon", "t": 60, "v": 24.30622},
            {"u": "lat", "t": 60, "v": 60.07965},
            {"t": 120, "v": 20.7},
            {"u": "lon", "t": 120, "v": 24.30623},
            {"u": "lat", "t": 120, "v": 60.07966},
            {"u": "%EL", "t": 150, "v": 98},
            {"t": 180, "v": 21.2},
            {"u": "lon", "t": 180, "v": 24.30628},
            {"u": "lat", "t": 180, "v": 60.07967},
        ],
        [
            (DEVICE, "%RH", 1.320067464e09, 20),
            (DEVICE, "lon", 1.320067464e09, 24.30621),
            (DEVICE, "lat", 1.320067464e09, 60.07965),
            (DEVICE, "%RH", 1.320067524e09, 20.3),
            (DEVICE, "lon", 1.320067524e09, 24.30622),
            (DEVICE, "lat", 1.320067524e09, 60.07965),
            (DEVICE, "%RH", 1.320067584e09, 20.7),
            (DEVICE, "lon", 1.320067584e09, 24.30623),
            (DEVICE, "lat", 1.320067584e09, 60.07966),
            (DEVICE, "%EL", 1.320067614e09, 98),
            (DEVICE, "%RH", 1.320067644e09, 21.2),
            (DEVICE, "lon", 1.320067644e09, 24.30628),
            (DEVICE, "lat", 1.320067644e09, 60.07967),
        ],
    ),
    "5.1.5 data types": (
        [
            {"bn": f"{DEVICE}:", "n": "temp", "u": "Cel", "v": 23.1},
            {"n": "label", "vs": "Machine Room"},
            {"n": "open", "vb": False},
            {"n": "nfc-reader", "vd": "aGkgCg"},
        ],
        [
            (f"{DEVICE}:temp", "Cel", NOW, 23.1),
            (f"{DEVICE}:label", "", NOW, "Machine Room"),
            (f"{DEVICE}:open", "", NOW, False),
            (f"{DEVICE}:nfc-reader", "", NOW, b"hi \n"),
        ],
    ),
    "5.1.6 collection": (
        [
            {"bn": "2001:db8::2/", "bt": 1.320078429e09, "n": "temperature", "u": "Cel", "v": 25.2},
            {"n": "humidity", "u": "%RH", "v": 30},
            {"bn": "2001:db8::1/", "n": "temperature", "u": "Cel", "v": 12.3},
            {"n": "humidity", "u": "%RH", "v": 67},
        ],
        [
            ("2001:db8::2/temperature", "Cel", 1.320078429e09, 25.2),
            ("2001:db8::2/humidity", "%RH", 1.320078429e09, 30),
            ("2001:db8::1/temperature", "Cel", 1.320078429e09, 12.3),
            ("2001:db8::1/humidity", "%RH", 1.320078429e09, 67),
        ],
    ),
    "5.1.7 actuator, a record of base fields alone": (
        [{"bn": f"{DEVICE}:"}, {"n": "temp", "u": "Cel", "v": 23.1}, {"n": "heat", "u": "/", "v": 1}],
        [(f"{DEVICE}:temp", "Cel", NOW, 23.1), (f"{DEVICE}:heat", "/", NOW, 1)],
    ),
    "5.1.7 lights": (
        [
            {"bt": 1.320078429e09, "bu": "/", "n": "2001:db8::3", "v": 0.5},
            {"n": "2001:db8::4", "v": 0.5},
            {"n": "2001:db8::3", "t": 0.1, "v": 0},
            {"n": "2001:db8::4", "t": 0.1, "v": 0},
        ],
        [
            ("2001:db8::3", "/", 1.320078429e09, 0.5),
            ("2001:db8::4", "/", 1.320078429e09, 0.5),
            ("2001:db8::3", "/", 1.3200784291e09, 0),
            ("2001:db8::4", "/", 1.3200784291e09, 0),
        ],
    ),
}


def rows(records: tuple[Record, ...]) -> list[tuple[Any, ...]]:
    return [(record.name, record.unit, record.time, record.value) for record in records]


@pytest.mark.parametrize("example", EXAMPLES.values(), ids=EXAMPLES.keys())
def test_examples_of_rfc_8428(example: tuple[list[dict[str, Any]], list[tuple[Any, ...]]]) -> None:
    pack, resolved = example
    assert rows(read_pack(json.dumps(pack).encode(), 1000, NOW)) == resolved


def test_cbor_example_of_rfc_8428() -> None:
    assert hashlib.sha256(CBOR_EXAMPLE).hexdigest() == CBOR_EXAMPLE_SHA256
    assert rows(read_pack(CBOR_EXAMPLE, 1000, NOW)) == VOLTAGE_AND_CURRENT_RESOLVED


def test_names_alone_repeat_under_the_base_name() -> None:
    """RFC 8428 section 5.1.3, first example: the base name is the whole name."""
    steps = [(10, 21.3), (20, 21.4), (30, 21.4), (40, 21.5), (91, 21.5), (92, 21.5)]
    pack = [{"bn": DEVICE, "bt": BASE, "bu": "%RH", "v": 21.2}, *({"t": step, "v": value} for step, value in steps)]
    records = read_pack(json.dumps(pack).encode(), 1000, NOW)
    assert rows(records)[-1] == (DEVICE, "%RH", 1320067556.0, 21.5)
    assert {record.name for record in records} == {DEVICE}


@pytest.mark.parametrize(
    ("base", "time", "expected", "is_relative"),
    [
        (0, RELATIVE_BELOW - 1, NOW + RELATIVE_BELOW - 1, True),
        (0, RELATIVE_BELOW, RELATIVE_BELOW, False),
        (RELATIVE_BELOW, -1, NOW + RELATIVE_BELOW - 1, True),
        (RELATIVE_BELOW - 1, 1, RELATIVE_BELOW, False),
        (-60, 10, NOW - 50, True),
        (BASE, -10, BASE - 10, False),
    ],
)
def test_the_sum_of_times_decides_whether_it_is_relative(base: float, time: float, expected: float, is_relative: bool) -> None:
    """RFC 8428 section 4.5.3."""
    (record,) = read_pack(json.dumps([{"bt": base, "n": "a", "t": time, "v": 1}]).encode(), 1, NOW)
    assert (record.time, record.is_relative) == (expected, is_relative)


@pytest.mark.parametrize(
    ("pack", "values"),
    [
        ([{"n": "a", "bs": 10, "s": 5}, {"n": "b", "s": 1}, {"n": "c", "v": 3}], [(None, 15), (None, 11), (3, 10)]),
        ([{"n": "a", "s": 7}, {"n": "b", "v": 1}], [(None, 7), (1, None)]),
        ([{"n": "a", "bv": 100, "v": 1}, {"n": "b", "v": -1}, {"n": "c", "vs": "x"}], [(101, None), (99, None), ("x", None)]),
    ],
)
def test_base_value_and_base_sum_are_added(pack: list[dict[str, Any]], values: list[tuple[Any, Any]]) -> None:
    """RFC 8428 section 4.5.4; a missing one counts as zero."""
    records = read_pack(json.dumps(pack).encode(), 1000, NOW)
    assert [(record.value, record.sum) for record in records] == values


def test_a_version_may_come_late_but_not_too_new() -> None:
    assert len(read_pack(b'[{"bver":10,"n":"a","v":1},{"bver":5,"n":"b","v":1}]', 2, NOW)) == 2
    for version in ("11", "0", "-1", "5.0", "true", '"5"'):
        with pytest.raises(DecodeError, match="bver"):
            read_pack(f'[{{"n":"a","v":1}},{{"bver":{version},"n":"a","v":1}}]'.encode(), 2, NOW)


def test_cbor_uses_integer_labels_only() -> None:
    """RFC 8428 section 6: the table of integer labels is conclusive; texts are extensions, and those ending in _ bind."""
    ignored = cbor2.dumps([{0: "a", 2: 1.5, "v": 9, "note": "kept out", 99: 1}])
    assert rows(read_pack(ignored, 1, NOW)) == [("a", "", NOW, 1.5)]
    with pytest.raises(DecodeError, match="must be understood"):
        read_pack(cbor2.dumps([{0: "a", 2: 1.5, "x_": 9}]), 1, NOW)


@pytest.mark.parametrize("name", ["", "-a", "a b", "a\n", "a[0]", "ä", "a" * 256, "_a", ".a", "a\x00"])
def test_names_outside_the_alphabet_are_refused(name: str) -> None:
    """RFC 8428 section 4.5.1."""
    with pytest.raises(DecodeError):
        read_pack(json.dumps([{"n": name, "v": 1}]).encode(), 1, NOW)
