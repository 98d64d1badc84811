"""What comes out of decoding one message."""

from dataclasses import dataclass

from edgemon.model.ids import SensorId
from edgemon.model.reading import CapturePart, Reading, SimulationNote


@dataclass(frozen=True, slots=True)
class Decoded:
    """What one message says; a message of one topic fills one of the three."""

    readings: tuple[Reading, ...] = ()
    """Oldest first; no two with the same key."""
    part: CapturePart | None = None
    note: SimulationNote | None = None
    skipped: tuple[str, ...] = ()
    """Names of records that were well-formed but mean nothing here, cleaned, so that nothing vanishes silently."""
    by_arrival: bool = False
    """A time in it rests on the time of arrival, and would be another one if the message were delivered again."""
    digest: str = ""
    """Checksum of topic and payload, where `by_arrival` made one necessary."""
    is_again: bool = False
    """It came before, and has the times of then."""

    @property
    def sensor(self) -> SensorId | None:
        """Name the sensor it came from; None where there is none, or nothing in it counts."""
        if self.part is not None:
            return self.part.sensor
        return self.readings[0].sensor if self.readings else None
