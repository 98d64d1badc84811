"""What decoding costs beside the bare parsers: `python -m tests.bench.decode`. Ratios carry over, absolute times do not."""

import base64
import json
import time
from collections.abc import Callable
from typing import Any

import cbor2
import numpy as np

from edgemon.decode.assemble import Assembly, add
from edgemon.decode.registry import decode
from tests.decode.samples import BORDERS, NOW, ROOT, SENSORS, capture_part, message

LABELS = {"bn": -2, "bt": -3, "bu": -4, "n": 0, "u": 1, "v": 2, "t": 6}


def pack(records: int) -> list[dict[str, Any]]:
    first = {"bn": "s-0001:", "bt": NOW - 1000.0, "n": "x/velocity_rms", "u": "mm/s", "t": 0, "v": 2.8}
    return [first, *({"n": "x/velocity_rms", "u": "mm/s", "t": k, "v": 2.8 + k / 100} for k in range(1, records))]


def capture(samples: int, as_text: bool) -> dict[str, Any]:
    data = np.arange(samples, dtype="<i2").tobytes()
    axes = {axis: base64.b64encode(data).decode() if as_text else data for axis in "xyz"}
    return {"id": "c-17", "t": NOW - 1, "fs": 25_600, "u": "g", "scale": 1 / 2048, "axes": axes, "rpm": 2970, "battery": 87}


def cbor_pack(records: int) -> bytes:
    return cbor2.dumps([{LABELS[name]: value for name, value in one.items()} for one in pack(records)])


PAYLOADS: dict[str, tuple[str, bytes, Callable[[bytes], object]]] = {
    "pack of 4, JSON": ("reading", json.dumps(pack(4)).encode(), json.loads),
    "pack of 4, CBOR": ("reading", cbor_pack(4), cbor2.loads),
    "pack of 1000, CBOR": ("reading", cbor_pack(1000), cbor2.loads),
    "capture 3 x 8192, CBOR": ("capture", cbor2.dumps(capture(8192, as_text=False)), cbor2.loads),
    "capture 3 x 8192, JSON": ("capture", json.dumps(capture(8192, as_text=True)).encode(), json.loads),
    "capture 3 x 524288, CBOR": ("capture", cbor2.dumps(capture(1 << 19, as_text=False)), cbor2.loads),
}


def best_us(call: Callable[[], object], seconds: float = 0.4) -> float:
    """Give the best time of many, in microseconds: the one least disturbed by others on this machine."""
    best, ends = float("inf"), time.perf_counter() + seconds
    while time.perf_counter() < ends:
        began = time.perf_counter()
        call()
        best = min(best, time.perf_counter() - began)
    return best * 1e6


def join(parts: int) -> None:
    assembly = Assembly()
    for number in range(1, parts + 1):
        part = capture_part({"x": np.zeros(256, dtype=np.int16)}, number=number, count=parts)
        assembly = add(assembly, part, BORDERS).assembly


def main() -> None:
    print(f"{'payload':28}{'bytes':>10}{'bare, us':>11}{'decode, us':>12}{'ratio':>8}")
    for name, (kind, payload, bare) in PAYLOADS.items():
        sent = message(kind, payload)
        parser = best_us(lambda bare=bare, payload=payload: bare(payload))  # type: ignore[misc]
        whole = best_us(lambda sent=sent: decode(sent, ROOT, SENSORS, BORDERS))  # type: ignore[misc]
        print(f"{name:28}{len(payload):>10}{parser:>11.1f}{whole:>12.1f}{whole / parser:>8.1f}")
    for parts in (8, 64, 1024):
        print(f"join {parts} parts: {best_us(lambda parts=parts: join(parts)) / parts:.1f} us a part")  # type: ignore[misc]


if __name__ == "__main__":
    main()
