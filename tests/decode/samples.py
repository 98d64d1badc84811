"""One sensor, one root, one instant of arrival: what the tests of the decoders share."""

from typing import Any

from edgemon.model.gateway import InputBorders
from edgemon.model.ids import CaptureId, SensorId
from edgemon.model.machine import Sensor
from edgemon.model.message import Message
from edgemon.model.reading import CapturePart, Counts
from edgemon.units import STANDARD_GRAVITY

ROOT = "edgemon/v1"
NOW = 1_750_000_000.0
"""2025-06-15T15:06:40Z."""
SENSOR = Sensor(SensorId("s-0001"), sensitivity_v_per_si=0.1 / STANDARD_GRAVITY)
"""100 mV per g, what most industrial accelerometers have."""
SENSORS = {SENSOR.id: SENSOR}
BORDERS = InputBorders()


def message(kind: str, payload: bytes, *, at: float = NOW, retained: bool = False) -> Message:
    topic = f"{ROOT}/simulation" if kind == "simulation" else f"{ROOT}/sensor/{SENSOR.id}/{kind}"
    return Message(topic, payload, at, retained)


def capture_part(axes: dict[str, Counts], **fields: Any) -> CapturePart:
    known: dict[str, Any] = {
        "sensor": SENSOR.id,
        "id": CaptureId("c-17"),
        "taken_at": NOW - 10.0,
        "received_at": NOW,
        "fs_hz": 25_600.0,
        "unit": "m/s2",
        "scale": 0.01,
        "si_per_count": 0.01,
    }
    return CapturePart(axes=axes, **{**known, **fields})
