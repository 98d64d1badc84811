"""A person at a board whose daemon is in the same process: every question and order goes to the real core behind the API."""

import asyncio
from collections.abc import AsyncIterator

from edgemon.api.wire import alarm_key
from edgemon.board.memory import MemorySource
from edgemon.board.port import Outcome, Update
from edgemon.daemon.hub import Hub
from edgemon.model.command import (
    Acknowledge,
    Command,
    Person,
    RemoveFromService,
    Reset,
    ReturnToService,
    Shelve,
    Unshelve,
)
from edgemon.model.ids import AlarmKey, MachineId, PointId, PointKey
from edgemon.model.instant import Instant
from edgemon.model.look import EnvelopeRequest, SpectrumRequest, SpectrumView, WaveformRequest, WaveformView, Which
from edgemon.model.outlook import OutlookView
from edgemon.model.search import EVERYTHING, Search
from edgemon.model.shift import HandoverView, LogKind
from edgemon.model.snapshot import JournalView, TrendBins, TrendPoint


class Seated(MemorySource):
    """Asks the hub, as the API's doors do, in the name of one person; what the hub has nobody for as in the memory source."""

    def __init__(self, hub: Hub, person: Person) -> None:
        super().__init__(person)
        self.hub = hub

    async def updates(self) -> AsyncIterator[Update]:
        """Give a snapshot, then what changes."""
        changes = self.hub.changes()
        yield self.hub.snapshot()
        async for change in changes:
            yield change

    async def acknowledge(self, alarm: str, occurrence: int) -> Outcome:
        return await self._command(Acknowledge(_key(alarm), occurrence))

    async def shelve(self, alarm: str, duration_s: float, reason: str) -> Outcome:
        return await self._command(Shelve(_key(alarm), duration_s, reason, False))

    async def unshelve(self, alarm: str) -> Outcome:
        return await self._command(Unshelve(_key(alarm)))

    async def reset(self, alarm: str) -> Outcome:
        return await self._command(Reset(_key(alarm)))

    async def remove_from_service(self, alarm: str, reason: str) -> Outcome:
        return await self._command(RemoveFromService(_key(alarm), reason))

    async def return_to_service(self, alarm: str) -> Outcome:
        return await self._command(ReturnToService(_key(alarm)))

    async def _command(self, order: Command) -> Outcome:
        return await self.hub.command(order, self.person)

    async def silence(self) -> Outcome:
        return await self.hub.silence(self.person)

    async def handover(self) -> HandoverView:
        return await self.hub.handover()

    async def write_log(self, text: str, sort: LogKind = LogKind.OBSERVATION) -> Outcome:
        return await self.hub.write_log(self.person, text, sort, None, None)

    async def take_over(self, digest: str, note: str = "") -> Outcome:
        return await self.hub.take_over(self.person, digest, note)

    async def trend(self, machine: str, point: str, level: str, since: Instant, until: Instant) -> tuple[TrendPoint, ...]:
        return await self.hub.trend(_point(machine, point), level, since, until, False)

    async def trend_bins(
        self, machine: str, point: str, level: str, since: Instant | None, until: Instant, columns: int
    ) -> TrendBins:
        return await self.hub.trend_bins(_point(machine, point), level, since, until, columns, False)

    async def waveform(self, machine: str, point: str, which: Which, wanted: WaveformRequest) -> WaveformView:
        return await self.hub.waveform(_point(machine, point), which, wanted)

    async def spectrum(self, machine: str, point: str, which: Which, wanted: SpectrumRequest) -> SpectrumView:
        ask = self.hub.envelope if isinstance(wanted, EnvelopeRequest) else self.hub.spectrum
        return await ask(_point(machine, point), which, wanted)  # type: ignore[arg-type]

    async def forecast(self, machine: str, point: str, level: str) -> OutlookView | None:
        return None

    async def journal(self, limit: int, before: int | None = None, search: Search = EVERYTHING) -> tuple[JournalView, ...]:
        return await self.hub.journal(limit, before, search)

    async def close(self) -> None:
        await asyncio.sleep(0)
        self.closed = True


def _key(text: str) -> AlarmKey:
    key = alarm_key(text)
    assert key is not None, text
    return key


def _point(machine: str, point: str) -> PointKey:
    return PointKey(MachineId(machine), PointId(point))
