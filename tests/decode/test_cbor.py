"""The walk over CBOR against the vectors of RFC 8949 Appendix A and F, and against cbor2."""

from contextlib import nullcontext
from decimal import Decimal

import cbor2
import pytest
from hypothesis import given
from hypothesis import strategies as st

from edgemon.decode.cbor import DEEPEST, load_cbor
from edgemon.errors import DecodeError, TooLarge

# RFC 8949 Appendix A, Table 6.
ACCEPTED = {
    "00": 0,
    "17": 23,
    "1818": 24,
    "1903e8": 1000,
    "1a000f4240": 1000000,
    "1b000000e8d4a51000": 1000000000000,
    "1bffffffffffffffff": 18446744073709551615,
    "3bffffffffffffffff": -18446744073709551616,
    "20": -1,
    "3903e7": -1000,
    "f90000": 0.0,
    "f93c00": 1.0,
    "fb3ff199999999999a": 1.1,
    "f97bff": 65504.0,
    "fa7f7fffff": 3.4028234663852886e38,
    "fb7e37e43c8800759c": 1.0e300,
    "f90001": 5.960464477539063e-8,
    "f9c400": -4.0,
    "fbc010666666666666": -4.1,
    "f4": False,
    "f5": True,
    "f6": None,
    "40": b"",
    "4401020304": b"\x01\x02\x03\x04",
    "60": "",
    "6449455446": "IETF",
    "62c3bc": "ü",
    "63e6b0b4": "水",
    "64f0908591": "\U00010151",
    "80": [],
    "83010203": [1, 2, 3],
    "8301820203820405": [1, [2, 3], [4, 5]],
    "a0": {},
    "a201020304": {1: 2, 3: 4},
    "a26161016162820203": {"a": 1, "b": [2, 3]},
    "c48221196ab3": Decimal("273.15"),  # section 3.4.4
}
# The same table: well-formed, but nothing a message of the contract needs.
UNUSED = (
    "c249010000000000000000",
    "c349010000000000000000",
    "f0",
    "f8ff",
    "c074323031332d30332d32315432303a30343a30305a",
    "c11a514b67b0",
    "c1fb41d452d9e20000",
    "d74401020304",
    "d818456449455446",
    "d82076687474703a2f2f7777772e6578616d706c652e636f6d",
    "5f42010243030405ff",
    "7f657374726561646d696e67ff",
    "9fff",
    "9f018202039f0405ffff",
    "bf61610161629f0203ffff",
    "d9d9f700",  # section 3.4.6, self-described CBOR
)
# RFC 8949 Appendix F, Table 7: not well-formed.
BROKEN = """
18 19 1a 1b 1901 1a0102 1b01020304050607 38 58 78 98 9a01ff00 b8 d8 f8 f900 fa0000 fb000000 41 61 5affffffff00
5bffffffffffffffff010203 7affffffff00 7b7fffffffffffffff010203 81 818181818181818181 8200 a1 a20102 a100
a2000000 c0 5f4100 7f6100 9f 9f0102 bf bf01020102 819f 9f8000 1c 1d 1e 3c 5c 7c 9c bc dc fc f800 f801 f818
f81f 5f00ff 5f6100ff 7f4100ff ff 81ff 8200ff a1ff a1ff00 a100ff a20000ff 9f81ff bf00ff bf000000ff 1f 3f df
""".split()  # noqa: SIM905 - a table of 60 is read best as one


@pytest.mark.parametrize("text", ACCEPTED)
def test_accepted(text: str) -> None:
    value = load_cbor(bytes.fromhex(text), 100)
    assert value == ACCEPTED[text]
    assert type(value) is type(ACCEPTED[text])


@pytest.mark.parametrize("text", [*UNUSED, *BROKEN])
def test_refused(text: str) -> None:
    with pytest.raises(DecodeError):
        load_cbor(bytes.fromhex(text), 100)


@pytest.mark.parametrize("text", ACCEPTED)
def test_every_prefix_is_refused_as_truncated(text: str) -> None:
    whole = bytes.fromhex(text)
    for length in range(len(whole)):
        with pytest.raises(DecodeError) as caught:
            load_cbor(whole[:length], 100)
        assert caught.value.cause == "truncated"


LEAVES = st.one_of(st.none(), st.booleans(), st.integers(-(2**64), 2**64 - 1), st.floats(), st.binary(), st.text())
KEYS = st.one_of(st.integers(-100, 100), st.text(max_size=5))
VALUES = st.recursive(LEAVES, lambda inner: st.lists(inner) | st.dictionaries(KEYS, inner), max_leaves=20)


def depth(value: object) -> int:
    inside = value if isinstance(value, list) else value.values() if isinstance(value, dict) else None
    return 0 if inside is None else 1 + max(map(depth, inside), default=0)


@given(VALUES)
def test_what_cbor2_writes_is_read_back_or_refused_as_too_deep(value: object) -> None:
    payload = cbor2.dumps(value)
    deep = depth(value) > DEEPEST
    with pytest.raises(TooLarge) if deep else nullcontext():
        assert cbor2.dumps(load_cbor(payload, 1000)) == payload


@given(st.binary(max_size=60))
def test_any_bytes_are_read_as_cbor2_reads_them_or_refused(payload: bytes) -> None:
    try:
        read = load_cbor(payload, 50)
    except DecodeError:
        return
    assert cbor2.dumps(read) == cbor2.dumps(cbor2.loads(payload))
