"""What the board shows right now: changes are gathered as they come and adopted in calm steps.

A change of state is adopted at the next drain; mere numbers at most every two seconds, so that they can be read (IMO
MSC/Circ.982 5.6.1.3 asks for no more than one change in two seconds). A daemon that has not been heard for a while takes
every machine's state with it: silence never reads as normal.
"""

from dataclasses import dataclass, replace

from edgemon.board.port import Lost, Update
from edgemon.model.instant import Duration, Instant
from edgemon.model.snapshot import AlarmView, AreaView, GatewayView, MachineView, PointView, SensorView, Snapshot

NUMBERS_EVERY: Duration = 2.0
"""Seconds between two redraws of numbers."""
SILENT_AFTER: Duration = 4.0
"""Seconds without a word from the daemon (it speaks once a second) after which nothing on the board is taken as known."""
UNREACHABLE = "no-connection-to-daemon"
"""The reason shown for every machine while the daemon does not answer."""


@dataclass
class Picture:
    """The one mutable thing behind all screens; time is an argument, in monotonic seconds."""

    gateway: GatewayView | None = None
    areas: tuple[AreaView, ...] = ()
    lost: str | None = "waiting for the daemon"
    """Why nothing is known; None while the daemon is heard."""
    now: Instant = 0.0
    """The data's own time against which ages are shown; moves with the numbers."""
    revision: int = 0
    """Counts adopted changes."""

    def __post_init__(self) -> None:
        """Begin with nothing known."""
        self._machines: dict[str, MachineView] = {}
        self._sensors: dict[str, SensorView] = {}
        self._incoming: dict[str, MachineView] = {}
        self._urgent: set[str] = set()
        self._unknown: dict[str, MachineView] = {}
        self._heard_at: Duration | None = None
        self._numbers_at: Duration | None = None

    @property
    def machines(self) -> tuple[MachineView, ...]:
        """Give the machines as they are to be shown, in the plant file's order."""
        return tuple((self._machines if self.lost is None else self._unknown).values())

    def machine(self, id: str) -> MachineView | None:  # noqa: A002 (the snapshot's own word)
        """Give one machine as it is to be shown."""
        return (self._machines if self.lost is None else self._unknown).get(id)

    @property
    def own_alarms(self) -> tuple[AlarmView, ...]:
        """Give the gateway's own alarms."""
        return () if self.gateway is None else self.gateway.alarms

    @property
    def sensors(self) -> dict[str, SensorView]:
        """Give the sensors by id."""
        return self._sensors

    def take(self, update: Update, at: Duration) -> None:
        """Gather what the source said."""
        if isinstance(update, Lost):
            self._lose(update.why or "the daemon does not answer")
            return
        self._heard_at = at
        if isinstance(update, Snapshot):
            self.areas = update.areas
            self._machines = {machine.id: machine for machine in update.machines}
            self._sensors = {sensor.id: sensor for sensor in update.sensors}
            self._incoming.clear()
            self._urgent.clear()
            self._numbers_at = None
            self.revision += 1
        else:
            for machine in update.machines:
                self._gather(machine)
            self._sensors.update((sensor.id, sensor) for sensor in update.sensors)
        before = self.own_alarms
        self.gateway = update.gateway
        self.revision += self.own_alarms != before
        if self.gateway is not None and (self.lost is None or isinstance(update, Snapshot)):
            self.lost = None
            self._unknown.clear()

    def _gather(self, machine: MachineView) -> None:
        """Keep what is new of a machine; a state that differs from the one shown waits for no numbers."""
        self._incoming[machine.id] = machine
        known = self._machines.get(machine.id)
        if known is None or not _stands_alike(known, machine):
            self._urgent.add(machine.id)
        else:
            self._urgent.discard(machine.id)

    def drain(self, at: Duration) -> bool:
        """Adopt what is due; says whether anything shown changed."""
        before = self.revision
        if self.lost is None and self._heard_at is not None and at - self._heard_at > SILENT_AFTER:
            self._lose(f"the daemon has been silent for more than {SILENT_AFTER:g} s")
        numbers = self._numbers_at is None or at - self._numbers_at >= NUMBERS_EVERY
        due = list(self._incoming) if numbers else [id_ for id_ in self._incoming if id_ in self._urgent]
        for id_ in due:
            self._machines[id_] = self._incoming.pop(id_)
        self._urgent.clear()
        self.revision += bool(due)
        if numbers and self.gateway is not None:
            self._numbers_at = at
            now = self.gateway.now + self._silence(at)
            self.revision += self.now != now
            self.now = now
        return self.revision != before

    def _silence(self, at: Duration) -> Duration:
        """Give the seconds since a lost daemon was last heard, by which all data has grown older."""
        return at - self._heard_at if self.lost is not None and self._heard_at is not None else 0.0

    def _lose(self, why: str) -> None:
        self._machines.update(self._incoming)
        self._incoming.clear()
        self._urgent.clear()
        self.lost = why
        self._unknown = {id_: unknown(machine) for id_, machine in self._machines.items()}
        self.revision += 1


def _stands_alike(one: MachineView, other: MachineView) -> bool:
    """Say whether two views of a machine differ in mere numbers only."""
    return (
        (one.state, one.quality, one.reasons, one.unacknowledged, one.sim)
        == (other.state, other.quality, other.reasons, other.unacknowledged, other.sim)
        and len(one.points) == len(other.points)
        and all(map(_point_stands_alike, one.points, other.points))
    )


def _point_stands_alike(one: PointView, other: PointView) -> bool:
    if one is other:
        return True
    if one.state != other.state or one.quality != other.quality:
        return False
    return one.alarms == other.alarms or [_mark(alarm) for alarm in one.alarms] == [_mark(alarm) for alarm in other.alarms]


def _mark(alarm: AlarmView) -> tuple[str, int, str, str]:
    return alarm.id, alarm.occurrence, alarm.alarm_state, alarm.severity


def unknown(machine: MachineView) -> MachineView:
    """Give a machine of which nothing is known any more: what was wrong stays, nothing else is believed."""
    return replace(
        machine,
        state=_doubt(machine.state),
        quality="stale",
        reasons=(UNREACHABLE,),
        points=tuple(_unknown_point(point) for point in machine.points),
    )


def _unknown_point(point: PointView) -> PointView:
    return replace(point, state=_doubt(point.state), quality="stale", reasons=(UNREACHABLE,))


def _doubt(state: str) -> str:
    return state if state in ("alert", "alarm") else "unknown"
