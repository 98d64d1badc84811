"""Messages damaged on purpose, from valid ones: cut, flipped, of wrong types, too deep, too large, with names that do harm.

The valid ones are simulated and a day old, so that one that survives its damage is stored, apart and late, and judges nothing:
whatever comes of these messages, the states of the plant must stand as they stood.
"""

import json
import math
import random
import struct
from collections.abc import Callable, Iterator
from typing import Any

import cbor2

from tests.support.captures import FS_HZ, SCALE, tone_counts

ROOT = "edgemon/v1/sensor"
DAY_S = 86_400.0
NAMES = (
    *("../../etc/passwd", "\x1b]0;x\x07", "\x1b[2J", "a\nb", "\u202egnp", "\u009b31m", "[/]", "[@click=quit]x[/]", "=1+1", ""),
    *("x" * 70_000, "\x00", "s-0001/../s-0002", "ſ-0001", "+", "#", "$SYS", "s-0001\u200b"),
)
NUMBERS = (math.nan, math.inf, -math.inf, 1e308, -1e308, 5e-324, -1, 0, 2**63, -(2**63), 2**64 - 1, 10**30, True, None)
THINGS: tuple[Any, ...] = (
    *NUMBERS,
    *NAMES,
    b"",
    b"\xff" * 9,
    [],
    {},
    [[]],
    {"a": {}},
    [1] * 5000,
    {str(n): n for n in range(2000)},
)
TOPICS = (
    *("edgemon/v1/sensor//capture", "edgemon/v1/sensor/s-0001/capture/x", "edgemon/v1/sensor/S-0001/capture"),
    *("edgemon/v1/sensor/s-0001/\u202e", "edgemon/v1/sensor/" + "s" * 64 + "/capture", "edgemon/v1/sensor/s-9999/capture"),
    *("edgemon/v1/sensor/../capture/capture", "edgemon/v1/sensor/s-0001/Capture", "edgemon/v1/sensor/\x1b[2J/reading"),
)


def hostile(count: int, now: float, seed: int = 20816) -> Iterator[tuple[str, bytes]]:
    """Give so many topics and payloads; the same for the same seed."""
    chance = random.Random(seed)
    kinds: tuple[Callable[[random.Random, float], tuple[str, bytes]], ...] = (
        *(_cut, _flipped, _noise, _wrong_field, _wrong_field, _wrong_field, _bomb, _long, _not_text, _wrong_topic),
        *(_wrong_record, _wrong_record, _stranger),
    )
    for _ in range(count):
        yield chance.choice(kinds)(chance, now - DAY_S)


def _capture(chance: random.Random, t: float) -> dict[str, Any]:
    counts = tone_counts(1.0, samples=chance.choice((16, 64, 256))).tobytes()
    return {
        **{"id": f"h-{chance.randrange(10**9)}", "t": t - chance.random() * 1000.0, "fs": FS_HZ, "u": "m/s2", "scale": SCALE},
        **{"axes": {"x": counts, "z": counts}, "rpm": 2975.0, "temp": 41.5, "battery": 80.0, "rssi": -70.0, "sim": True},
    }


def _spectrum(chance: random.Random, t: float) -> dict[str, Any]:
    lines = struct.pack("<64H", *(chance.randrange(65536) for _ in range(64)))
    return {
        **{"id": f"h-{chance.randrange(10**9)}", "t": t, "u": "mm/s", "detector": "rms", "df": 2.5, "format": "uint16"},
        **{"scale": 0.001, "window": "hann", "averages": 4, "axes": {"x": lines}, "sim": True},
    }


def _pack(chance: random.Random, t: float) -> list[dict[str, Any]]:
    return [{"bn": "", "bt": t, "n": "battery", "u": "%EL", "v": 80.0}, {"n": "rssi", "u": "dBm", "v": -70.0, "t": -1.5}]


def _valid(chance: random.Random, t: float) -> tuple[str, Any]:
    kind, make = chance.choice((("capture", _capture), ("spectrum", _spectrum), ("reading", _pack)))
    return f"{ROOT}/s-000{chance.randrange(1, 4)}/{kind}", make(chance, t)


def _bytes(document: Any, chance: random.Random) -> bytes:
    """Encode as CBOR, or as JSON as far as that goes."""
    if chance.random() < 0.5:
        try:
            return json.dumps(document).encode("utf-8", "surrogatepass")
        except TypeError:
            pass
    return cbor2.dumps(document)


def _cut(chance: random.Random, t: float) -> tuple[str, bytes]:
    topic, document = _valid(chance, t)
    whole = _bytes(document, chance)
    return topic, whole[: chance.randrange(len(whole))]


def _flipped(chance: random.Random, t: float) -> tuple[str, bytes]:
    topic, document = _valid(chance, t)
    whole = bytearray(_bytes(document, chance))
    whole[chance.randrange(len(whole))] ^= 1 << chance.randrange(8)
    return topic, bytes(whole)


def _noise(chance: random.Random, t: float) -> tuple[str, bytes]:
    topic, _ = _valid(chance, t)
    return topic, chance.randbytes(chance.choice((0, 1, 2, 7, 100, 4096)))


def _wrong_field(chance: random.Random, t: float) -> tuple[str, bytes]:
    kind, make = chance.choice((("capture", _capture), ("spectrum", _spectrum)))
    document = make(chance, t)
    field = chance.choice([*document, "part", "fmax", "lines", "f0", "enbw", "axes"])
    if field == "axes":
        document["axes"] = chance.choice(({}, dict.fromkeys(NAMES, b"ab"), {"x": chance.choice(THINGS)}, {1: b"ab"}, [b"ab"]))
    elif field == "part":
        document["part"] = chance.choice(([1], [0, 3], [5, 3], [1, 10**9], [1, 2, 3], ["1", "2"], [1.5, 2], [True, True], {}))
    elif field in ("t", "sim"):  # never a time that could be newer, nor one that is not simulated
        document[field] = chance.choice((math.nan, math.inf, -1e300, "yesterday", b"", [], {}, None))
    else:
        document[field] = chance.choice(THINGS)
    return f"{ROOT}/s-0001/{kind}", _bytes(document, chance)


def _wrong_record(chance: random.Random, t: float) -> tuple[str, bytes]:
    pack: list[Any] = _pack(chance, t)
    field = chance.choice(("bn", "n", "u", "v", "vs", "vb", "s", "bver", "bu", "bv", "extra_", "ut"))
    pack[chance.randrange(2)][field] = chance.choice(THINGS)
    if chance.random() < 0.1:
        odd: tuple[Any, ...] = (pack * 2000, [pack], [None], [], {}, [{}] * 5000)
        pack = chance.choice(odd)
    return f"{ROOT}/s-0001/reading", _bytes(pack, chance)


def _bomb(chance: random.Random, t: float) -> tuple[str, bytes]:
    """Deep nesting, and lengths that promise what does not follow (RFC 8949 section 10 warns of both)."""
    deep = chance.choice((100, 1000, 100_000))
    payload = chance.choice(
        (
            *(b"[" * deep, b"\x81" * deep, b'{"a":' * deep, b"\xa1\x61a" * deep, b"\xd8\x1c" * deep, b"\xc1" * deep),
            *(
                b"\x9b\x00\x00\x00\xff\xff\xff\xff\xff",
                b"\x5b\x7f\xff\xff\xff\xff\xff\xff\xff",
                b"\xbb\xff" + b"\xff" * 7,
                b"\x9f",
            ),
            *(b"\x5f" + b"\x40" * deep, b"\xd8\x1d\x00", b"\xc2\x58\xff" + b"\xff" * 255, b"1" * deep, b"-" * deep),
        )
    )
    return f"{ROOT}/s-0001/{chance.choice(('capture', 'spectrum', 'reading'))}", payload


def _long(chance: random.Random, t: float) -> tuple[str, bytes]:
    document = _capture(chance, t)
    document["axes"] = {f"a{n}": b"\x01\x02" for n in range(chance.choice((50, 3000)))}
    return f"{ROOT}/s-0001/capture", cbor2.dumps(document)


def _not_text(chance: random.Random, t: float) -> tuple[str, bytes]:
    topic, document = _valid(chance, t)
    whole = json.dumps(document if isinstance(document, list) else {"id": "x", "t": t}).encode()
    return topic, whole.replace(b'"', chance.choice((b'"\xff', b'"\xc0\xaf', b'"\xed\xa0\x80', b'"\xf5')), 1)


def _wrong_topic(chance: random.Random, t: float) -> tuple[str, bytes]:
    return chance.choice(TOPICS), cbor2.dumps(_capture(chance, t))


def _stranger(chance: random.Random, t: float) -> tuple[str, bytes]:
    """A sensor that nobody knows, another one each time."""
    return f"{ROOT}/x-{chance.randrange(10**12)}/capture", cbor2.dumps(_capture(chance, t))
