"""What a sensor sends, decoded: a reading is one value, a capture is one waveform or spectrum (of one or more axes)."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from edgemon.model.ids import CaptureId, CaptureKey, ReadingKey, SensorId
from edgemon.model.instant import Instant
from edgemon.model.spectrum import LineForm
from edgemon.units import Quantity

Counts = NDArray[np.int16]
"""Samples as the converter of the sensor gave them, shape (n,); or the lines of a spectrum, in 16-bit words as they came
(`LineForm.words`)."""


@dataclass(frozen=True, slots=True)
class Reading:
    """One scalar at one time, in the house's unit of its quantity."""

    sensor: SensorId
    name: str
    """A level's name, or `battery`, `rssi`, `temperature`, `rpm`."""
    axis: str
    """Axis the value belongs to, empty where it belongs to the sensor as a whole."""
    taken_at: Instant
    received_at: Instant
    value: float
    quantity: Quantity
    sim: bool = False

    @property
    def key(self) -> ReadingKey:
        """Give what makes a repeat of this reading recognisable."""
        return ReadingKey(self.sensor, f"{self.axis}/{self.name}" if self.axis else self.name, self.taken_at, self.sim)


@dataclass(frozen=True, slots=True, eq=False)
class CapturePart:
    """Part `number` of `count` of a capture; a capture sent in one piece is part 1 of 1."""

    sensor: SensorId
    id: CaptureId
    taken_at: Instant
    received_at: Instant
    fs_hz: float
    """Sample rate; 0 of a spectrum."""
    unit: str
    """Unit of a scaled sample as sent: `m/s2`, `g` or `mV`; of a spectrum's line any of its quantity."""
    scale: float
    """One count in `unit`."""
    si_per_count: float
    """One count in m/s2: `scale` and, for `mV`, the sensor's sensitivity applied. Of a spectrum: what makes the r.m.s.
    amplitude of a line, in the house's unit of its quantity, out of the number sent."""
    axes: Mapping[str, Counts]
    number: int = 1
    count: int = 1
    rpm: float | None = None
    temperature_c: float | None = None
    battery_pct: float | None = None
    rssi_dbm: float | None = None
    sim: bool = False
    form: LineForm | None = None
    """What the lines of a spectrum are; None of a waveform."""

    @property
    def key(self) -> CaptureKey:
        """Give what makes a repeat of this capture recognisable."""
        return CaptureKey(self.sensor, self.id, self.taken_at, self.sim, self.form is not None)


@dataclass(frozen=True, slots=True, eq=False)
class Capture:
    """One waveform or spectrum, whole; or as much of it as came, with the parts that are missing named."""

    sensor: SensorId
    id: CaptureId
    taken_at: Instant
    received_at: Instant
    """When the last part came."""
    fs_hz: float
    unit: str
    scale: float
    si_per_count: float
    axes: Mapping[str, Counts]
    rpm: float | None = None
    temperature_c: float | None = None
    battery_pct: float | None = None
    rssi_dbm: float | None = None
    sim: bool = False
    missing_parts: tuple[int, ...] = ()
    form: LineForm | None = None
    """What the lines of a spectrum are; None of a waveform."""

    @property
    def key(self) -> CaptureKey:
        """Give what makes a repeat of this capture recognisable."""
        return CaptureKey(self.sensor, self.id, self.taken_at, self.sim, self.form is not None)


@dataclass(frozen=True, slots=True)
class SimulationNote:
    """What whoever replays or simulates traffic says is being played, for the people who watch."""

    taken_at: Instant
    title: str
    text: str
    machine: str = ""
