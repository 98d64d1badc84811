"""A daemon in memory: tests and benches script what it says and read what it was told."""

import asyncio
from collections.abc import AsyncIterator, Sequence

from edgemon.board.port import Outcome, Update
from edgemon.errors import LinkRefused
from edgemon.model.command import Person, Role
from edgemon.model.commission import CommissionView
from edgemon.model.instant import Instant
from edgemon.model.look import SpectrumRequest, SpectrumView, WaveformRequest, WaveformView, Which
from edgemon.model.outlook import BaselineView, OutlookView
from edgemon.model.performance import Performance
from edgemon.model.proof import Scope
from edgemon.model.search import EVERYTHING, Search
from edgemon.model.shift import HandoverView, LogKind
from edgemon.model.snapshot import JournalView, TrendBins, TrendPoint

OPERATOR = Person("operator", Role.OPERATOR, "control-room")


class MemorySource:
    """Says what it is given to say, in order; answers every acknowledgement with the outcome set."""

    def __init__(self, person: Person = OPERATOR, journal: Sequence[JournalView] = ()) -> None:
        self.person = person
        self.outcome = Outcome(True)
        self.entries = tuple(journal)
        self.past: tuple[TrendPoint, ...] = ()
        self.known: tuple[BaselineView, ...] = ()
        self.coming: OutlookView | None = None
        self.acknowledged: list[tuple[str, int]] = []
        self.ordered: list[tuple[str, ...]] = []
        self.page = HandoverView(0.0, 0.0, "", (), "")
        self.pages_asked = 0
        self.wave: WaveformView | None = None
        self.lines: SpectrumView | None = None
        self.looked: list[WaveformRequest | SpectrumRequest] = []
        self.figures: Performance | None = None
        self.commissioned: CommissionView | None = None
        self.periods: list[Instant] = []
        self.stretches: list[tuple[Instant | None, int]] = []
        self.searched: list[Search] = []
        self.closed = False
        self._said: asyncio.Queue[Update] = asyncio.Queue()

    def say(self, update: Update) -> None:
        """Say something to the board."""
        self._said.put_nowait(update)

    async def updates(self) -> AsyncIterator[Update]:
        """Give what was said, as it is said."""
        while True:
            yield await self._said.get()

    async def whoami(self) -> Person:
        """Give the person set."""
        return self.person

    async def acknowledge(self, alarm: str, occurrence: int) -> Outcome:
        """Note the acknowledgement and give the outcome set."""
        self.acknowledged.append((alarm, occurrence))
        return self.outcome

    async def silence(self) -> Outcome:
        """Note the order."""
        return self._order("silence")

    async def lamp_test(self) -> Outcome:
        """Note the order."""
        return self._order("lamp test")

    async def start_proof(self, scope: Scope, duration_s: float, reason: str) -> Outcome:
        """Note the order."""
        return self._order("proof", str(scope), f"{duration_s:g}", reason)

    async def stop_proof(self, reason: str) -> Outcome:
        """Note the order."""
        return self._order("end of proof", reason)

    async def start_collection(self, target: str, interval_s: float, duration_s: float, reason: str) -> Outcome:
        """Note the order."""
        return self._order("collect faster", target, f"{interval_s:g}", f"{duration_s:g}", reason)

    async def stop_collection(self, target: str, reason: str) -> Outcome:
        """Note the order."""
        return self._order("end of faster", target, reason)

    async def sign_off(self, machine: str, point: str, remark: str, left_open: Sequence[str]) -> Outcome:
        """Note the order."""
        return self._order("sign off", f"{machine}/{point}", remark, *left_open)

    async def withdraw_sign_off(self, machine: str, point: str, reason: str) -> Outcome:
        """Note the order."""
        return self._order("withdraw", f"{machine}/{point}", reason)

    async def commissioning(self) -> CommissionView:
        """Give the state set. Raises `LinkRefused` where none is."""
        if self.commissioned is None:
            raise LinkRefused("the journal cannot be read")
        return self.commissioned

    async def shelve(self, alarm: str, duration_s: float, reason: str) -> Outcome:
        """Note the order, as the next four do, and give the outcome set."""
        return self._order("shelve", alarm, f"{duration_s:g}", reason)

    async def unshelve(self, alarm: str) -> Outcome:
        """Note the order."""
        return self._order("unshelve", alarm)

    async def reset(self, alarm: str) -> Outcome:
        """Note the order."""
        return self._order("reset", alarm)

    async def remove_from_service(self, alarm: str, reason: str) -> Outcome:
        """Note the order."""
        return self._order("remove", alarm, reason)

    async def return_to_service(self, alarm: str) -> Outcome:
        """Note the order."""
        return self._order("return", alarm)

    def _order(self, *words: str) -> Outcome:
        self.ordered.append(words)
        return self.outcome

    async def handover(self) -> HandoverView:
        """Count the question and give the page set."""
        self.pages_asked += 1
        return self.page

    async def write_log(self, text: str, sort: LogKind = LogKind.OBSERVATION) -> Outcome:
        """Note the entry."""
        return self._order("log", text)

    async def take_over(self, digest: str, note: str = "") -> Outcome:
        """Note the takeover."""
        return self._order("take", digest, note)

    async def performance(self, since: Instant, until: Instant | None = None, sim: bool | None = None) -> Performance:
        """Note what was asked and give the figures set. Raises `LinkRefused` where none are."""
        self.periods.append(since)
        if self.figures is None:
            raise LinkRefused("the journal cannot be read")
        return self.figures

    async def trend(self, machine: str, point: str, level: str, since: Instant, until: Instant) -> tuple[TrendPoint, ...]:
        """Give the past set, as far as it lies between the two instants."""
        return tuple(point_ for point_ in self.past if since <= point_.t <= until)

    async def trend_bins(
        self, machine: str, point: str, level: str, since: Instant | None, until: Instant, columns: int
    ) -> TrendBins:
        """Note what was asked and give the past set, cut."""
        self.stretches.append((since, columns))
        return TrendBins.of(self.past, since, until, columns)

    async def waveform(self, machine: str, point: str, which: Which, wanted: WaveformRequest) -> WaveformView:
        """Note what was asked and give the waveform set. Raises `LinkRefused` where none is."""
        self.looked.append(wanted)
        if self.wave is None:
            raise LinkRefused("no capture is stored")
        return self.wave

    async def spectrum(self, machine: str, point: str, which: Which, wanted: SpectrumRequest) -> SpectrumView:
        """Note what was asked and give the spectrum set. Raises `LinkRefused` where none is."""
        self.looked.append(wanted)
        if self.lines is None:
            raise LinkRefused("no capture is stored")
        return self.lines

    async def diagnose(self, machine: str, point: str) -> Outcome:
        """Note the order."""
        return self._order("diagnose", machine, point)

    async def baselines(self) -> tuple[BaselineView, ...]:
        """Give the baselines set."""
        return self.known

    async def forecast(self, machine: str, point: str, level: str) -> OutlookView | None:
        """Give the outlook set."""
        return self.coming

    async def journal(self, limit: int, before: int | None = None, search: Search = EVERYTHING) -> tuple[JournalView, ...]:
        """Note the search and give the newest of the entries set, as far as kind and number are wanted."""
        self.searched.append(search)
        fit = [
            one for one in self.entries if (before is None or one.seq < before) and one.kind in (search.kinds or (one.kind,))
        ]
        return tuple(fit[:limit])

    async def close(self) -> None:
        """Note that the board is done."""
        self.closed = True
