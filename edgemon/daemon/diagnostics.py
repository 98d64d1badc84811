"""Diagnoses beside the path: the newest capture of a point, when it enters alert or alarm or when somebody asks."""

import asyncio
import logging
from collections.abc import Awaitable, Callable, Iterable, Mapping
from concurrent.futures import Executor
from dataclasses import replace

from edgemon.clock import Clock
from edgemon.daemon.work import Happened
from edgemon.engine.diagnose import at_speed_heard, baseline_time, diagnose_capture, levels_only
from edgemon.engine.memory import Setting, Track
from edgemon.errors import StoreError
from edgemon.model.alarm import MONITORING, MachineSpeed
from edgemon.model.event import AlarmChanged, DiagnosisMade, Event
from edgemon.model.ids import CaptureId, MachineId, PointKey
from edgemon.model.instant import Instant
from edgemon.model.limit import Severity
from edgemon.model.machine import Machine, Point
from edgemon.model.reading import Capture
from edgemon.model.sends import Sends
from edgemon.model.snapshot import Outcome
from edgemon.store.port import Reader

CATCH_UP_S = 2.0
PATIENCE_S = 60.0
"""So long a capture is waited for that the broker is to deliver again; then the newest one there is must do. House choice."""
WAITING_MOST = 1000
"""Points that may wait for their diagnosis; past it the newest request is dropped and said in the log."""

COMPARED = 5
"""Captures of a baseline that gears, mounting and 1x are compared with, spread over it: loads differ. House choice."""

NEARBY = 6
"""Machines of the same area of which a capture is read, for lines that may come from there. House choice."""

Nearby = tuple[tuple[Machine, Capture], ...]

_RISES = frozenset({"RAISED", "LEVEL_UP"})
_YEARS_S = 10 * 365.25 * 86_400

log = logging.getLogger(__name__)


class Diagnostics:
    """One diagnosis at a time, in a worker thread of its own; a diagnosis never holds the path up.

    Parameters
    ----------
    setting : Setting
        Plant and rules.
    reader : Reader
        Gives the captures.
    executor : Executor
        Where the work is done.
    tell : callable
        Takes what was found into the path.
    speeds : callable
        Gives the newest shaft speed heard of each machine.
    """

    def __init__(
        self,
        setting: Setting,
        reader: Reader,
        clock: Clock,
        executor: Executor,
        tell: Callable[[Happened], Awaitable[None]],
        speeds: Callable[[], Mapping[tuple[MachineId, bool], MachineSpeed]] = dict,
    ) -> None:
        self._setting = setting
        self._reader = reader
        self._clock = clock
        self._executor = executor
        self._tell = tell
        self._speeds = speeds
        self._wanted: dict[Track, None] = {}
        self._late: dict[Track, Instant] = {}
        self._wake = asyncio.Event()

    def notice(self, events: Iterable[Event], is_stored: bool = True) -> None:
        """Ask for a diagnosis of every point whose vibration has just entered alert or alarm.

        Parameters
        ----------
        is_stored : bool
            What it rests on can be read; else it is waited for, see `catch_up`.
        """
        for event in events:
            if not isinstance(event, AlarmChanged) or event.change not in _RISES or event.severity is Severity.NORMAL:
                continue
            if event.alarm.level == MONITORING:
                continue
            if len(self._wanted) + len(self._late) >= WAITING_MOST:
                log.warning("too many diagnoses wait; not diagnosed: %s", event.alarm)
                continue
            track = PointKey(event.alarm.machine, event.alarm.point), event.alarm.sim
            if not is_stored:
                self._late[track] = event.at
                continue
            self._wanted[track] = None
            self._wake.set()

    async def catch_up(self, is_well: Callable[[], bool]) -> None:
        """Ask, for ever, for the diagnoses that the store's failing put off, each once what led to it is stored.

        Parameters
        ----------
        is_well : callable
            Says whether the store works.
        """
        waited_s = 0.0
        while True:
            await self._clock.sleep(CATCH_UP_S)
            waited_s = waited_s + CATCH_UP_S if self._late and is_well() else 0.0
            for track, at in list(self._late.items()) if waited_s else ():
                if waited_s >= PATIENCE_S or await self._has_come(track, at):
                    del self._late[track]
                    self._wanted[track] = None
                    self._wake.set()

    async def _has_come(self, track: Track, at: Instant) -> bool:
        point = self._setting.plant.points.get(track[0])
        if point is None:
            return True
        try:
            return bool(await self._reader.captures(point.sensor, at, at + _YEARS_S, track[1], 1, spectra=None))
        except StoreError:
            return False

    async def run(self) -> None:
        """Diagnose what is wanted, for ever."""
        while True:
            await self._wake.wait()
            self._wake.clear()
            while self._wanted:
                track = next(iter(self._wanted))
                del self._wanted[track]
                outcome = await self.diagnose(*track)
                if not outcome.done:
                    log.info("%s is not diagnosed: %s", track[0], outcome.why)

    async def diagnose(self, key: PointKey, sim: bool, by: str = "") -> Outcome:
        """Diagnose the newest capture of a point's sensor and journal what was found."""
        point = self._setting.plant.points.get(key)
        if point is None:
            return Outcome(False, f"no such point: {key}")
        now = self._clock.now()
        try:
            capture = await self._newest(key, sim, now)
            before = () if capture is None else await self._before(key, sim, capture)
            others, nearby = ((), ()) if capture is None else await self._beside(key, sim, capture)
        except StoreError as error:
            return Outcome(False, str(error))
        if capture is None and point.sends is Sends.LEVELS:
            made = DiagnosisMade(now, key, CaptureId(""), levels_only(point.sensor), by, sim)
            await self._tell(Happened(made))
            return Outcome(True, point.sends.unknown)
        if capture is None:
            return Outcome(False, f"no capture and no spectrum of sensor {point.sensor} is stored: it may send levels only")
        loop = asyncio.get_running_loop()
        capture = at_speed_heard(capture, self._speeds().get((key.machine, sim)), point.stale_after_s)
        work = (self._setting, key, capture, before, others, nearby)
        found = await loop.run_in_executor(self._executor, diagnose_capture, *work)
        await self._tell(Happened(DiagnosisMade(capture.taken_at, key, capture.id, found, by, sim)))
        return Outcome(True)

    async def _newest(self, key: PointKey, sim: bool, now: float) -> Capture | None:
        """Give the newest waveform; where there is none, or a spectrum is newer by more than is fresh, the newest spectrum."""
        point = self._setting.plant.points[key]
        since, until = now - _YEARS_S, now + _YEARS_S
        waves = await self._reader.captures(point.sensor, since, until, sim, 1)
        spectra = await self._reader.captures(point.sensor, since, until, sim, 1, spectra=True)
        if waves and spectra and spectra[0].taken_at - waves[0].taken_at > point.stale_after_s:
            waves = ()
        newest = waves or spectra
        return await self._reader.capture(newest[0]) if newest else None

    async def _beside(self, key: PointKey, sim: bool, capture: Capture) -> tuple[tuple[Capture, ...], Nearby]:
        """Give the newest whole captures near in time of the machine's other sensors, and of machines in the same area."""
        plant = self._setting.plant
        own = plant.machine_of[key.machine]
        heard, fresh_s = self._speeds().get((key.machine, sim)), plant.points[key].stale_after_s
        others = [await self._near(point, sim, capture) for point in _sensors(own, capture)]
        nearby: list[tuple[Machine, Capture]] = []
        for machine in plant.machines:
            if machine.area == own.area and machine.id != own.id and len(nearby) < NEARBY:
                found = [await self._near(point, sim, capture) for point in _sensors(machine, capture)[:1]]
                nearby += [(machine, one) for one in found if one is not None]
        return tuple(at_speed_heard(one, heard, fresh_s) for one in others if one is not None), tuple(nearby)

    async def _near(self, point: Point, sim: bool, capture: Capture) -> Capture | None:
        age = point.stale_after_s
        keys = await self._reader.captures(point.sensor, capture.taken_at - age, capture.taken_at + age, sim, 1)
        found = await self._reader.capture(keys[0]) if keys else None
        return None if found is None or found.missing_parts else found

    async def _before(self, key: PointKey, sim: bool, capture: Capture) -> tuple[Capture, ...]:
        """Give whole waveforms from all over the point's approved baseline, for a waveform; none where none is kept."""
        if capture.form is not None:
            return ()
        time = baseline_time(await self._reader.baselines(), key, sim)
        if time is None:
            return ()
        keys = [one for one in await self._reader.captures(capture.sensor, *time, sim) if one.taken_at < capture.taken_at]
        some = keys[:: max(1, -(-len(keys) // COMPARED))]
        found = [await self._reader.capture(one) for one in some]
        return tuple([await self._at_speed_then(key, one) for one in found if one is not None and not one.missing_parts])

    async def _at_speed_then(self, key: PointKey, capture: Capture) -> Capture:
        """Give a capture without a speed of its own the one that its machine was heard to have then."""
        if capture.rpm is not None:
            return capture
        since, until = capture.taken_at - 1e-3, capture.taken_at + 1e-3
        known = await self._reader.trend(key, "rpm", since, until, capture.sim, 1)
        return replace(capture, rpm=60.0 * known[0].value) if known else capture


def _sensors(machine: Machine, capture: Capture) -> list[Point]:
    """Give one point of each sensor of a machine that sends waveforms, but for the sensor of a capture."""
    found = {point.sensor: point for point in reversed(machine.points) if point.sends is Sends.WAVEFORM}
    return [point for sensor, point in found.items() if sensor != capture.sensor]
