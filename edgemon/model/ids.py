"""Identifier types that cannot be swapped for one another, and the alphabet they share."""

import re
from typing import NamedTuple, NewType

SiteId = NewType("SiteId", str)
AreaId = NewType("AreaId", str)
MachineId = NewType("MachineId", str)
PointId = NewType("PointId", str)
SensorId = NewType("SensorId", str)
CaptureId = NewType("CaptureId", str)

IDENTIFIER = re.compile(r"[a-z0-9][a-z0-9_-]{0,62}")
"""Message contract, section 4: what every identifier in a topic or a file looks like."""


def is_identifier(text: str) -> bool:
    """Say whether `text` is an identifier of the message contract."""
    return IDENTIFIER.fullmatch(text) is not None


class PointKey(NamedTuple):
    """A measurement point, which is unique within its machine."""

    machine: MachineId
    point: PointId

    def __str__(self) -> str:
        """Write `machine/point`, as in topics and on the board."""
        return f"{self.machine}/{self.point}"


class CaptureKey(NamedTuple):
    """What makes two captures the same one: sensor, the sensor's id for it and its time; a simulated one is another.

    A waveform and a spectrum are never the same one.
    """

    sensor: SensorId
    id: CaptureId
    taken_at: float
    sim: bool = False
    spectrum: bool = False


class ReadingKey(NamedTuple):
    """What makes two readings the same one: sensor, name (with its axis) and time; a simulated one is another."""

    sensor: SensorId
    name: str
    taken_at: float
    sim: bool = False


class AlarmKey(NamedTuple):
    """The tracked thing of IEC 62682: one rule (named by its level) at one point, apart for simulated data."""

    machine: MachineId
    point: PointId
    level: str
    sim: bool = False

    def __str__(self) -> str:
        """Write the id of the contract's `alarms` list: `machine/point/level`, with `/sim` for simulated data."""
        text = f"{self.machine}/{self.point}/{self.level}"
        return f"{text}/sim" if self.sim else text
