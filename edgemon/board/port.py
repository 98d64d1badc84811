"""What the board may ask of a daemon and command it."""

from collections.abc import AsyncIterator, Sequence
from typing import Protocol

from edgemon.model.command import Person
from edgemon.model.commission import CommissionView
from edgemon.model.instant import Instant
from edgemon.model.look import SpectrumRequest, SpectrumView, WaveformRequest, WaveformView, Which
from edgemon.model.outlook import BaselineView, OutlookView
from edgemon.model.performance import Performance
from edgemon.model.proof import Scope
from edgemon.model.search import EVERYTHING, Search
from edgemon.model.shift import HandoverView, LogKind
from edgemon.model.snapshot import JournalView, Lost, Outcome, TrendBins, TrendPoint, Update

__all__ = ["Lost", "Outcome", "Source", "Update"]


class Source(Protocol):
    """A daemon, seen from the board."""

    def updates(self) -> AsyncIterator[Update]:
        """Give a snapshot first, then changes (at least one a second: the heartbeat); after `Lost` a snapshot again."""
        ...

    async def whoami(self) -> Person:
        """Say who the daemon takes this board's user for."""
        ...

    async def acknowledge(self, alarm: str, occurrence: int) -> Outcome:
        """Acknowledge one occurrence of an alarm."""
        ...

    async def silence(self) -> Outcome:
        """Silence the horn for what calls now."""
        ...

    async def lamp_test(self) -> Outcome:
        """Test horn and beacon."""
        ...

    async def start_proof(self, scope: Scope, duration_s: float, reason: str) -> Outcome:
        """Announce a proof of alarms."""
        ...

    async def stop_proof(self, reason: str) -> Outcome:
        """End the proof that is on."""
        ...

    async def start_collection(self, target: str, interval_s: float, duration_s: float, reason: str) -> Outcome:
        """Have the sensor of a point measure more often for a while."""
        ...

    async def stop_collection(self, target: str, reason: str) -> Outcome:
        """Take a fast collection back."""
        ...

    async def sign_off(self, machine: str, point: str, remark: str, left_open: Sequence[str]) -> Outcome:
        """Sign a point off; `left_open` are the checks that were shown to be open."""
        ...

    async def withdraw_sign_off(self, machine: str, point: str, reason: str) -> Outcome:
        """Take the sign-off of a point back."""
        ...

    async def commissioning(self) -> CommissionView:
        """Say how far each point is from being trusted."""
        ...

    async def shelve(self, alarm: str, duration_s: float, reason: str) -> Outcome:
        """Hide an alarm for a while."""
        ...

    async def unshelve(self, alarm: str) -> Outcome:
        """End a shelf early."""
        ...

    async def reset(self, alarm: str) -> Outcome:
        """End a latched alarm whose condition is gone."""
        ...

    async def remove_from_service(self, alarm: str, reason: str) -> Outcome:
        """Take an alarm out of service."""
        ...

    async def return_to_service(self, alarm: str) -> Outcome:
        """Put an alarm back into service."""
        ...

    async def handover(self) -> HandoverView:
        """Give the handover page as things are now."""
        ...

    async def write_log(self, text: str, sort: LogKind = LogKind.OBSERVATION) -> Outcome:
        """Write into the shift log."""
        ...

    async def take_over(self, digest: str, note: str = "") -> Outcome:
        """Take the shift over, having read the page of this digest."""
        ...

    async def performance(self, since: Instant, until: Instant | None = None, sim: bool | None = None) -> Performance:
        """Give the figures of alarm performance."""
        ...

    async def trend(self, machine: str, point: str, level: str, since: Instant, until: Instant) -> tuple[TrendPoint, ...]:
        """Give the past of a level, in the unit the board shows it in."""
        ...

    async def trend_bins(
        self, machine: str, point: str, level: str, since: Instant | None, until: Instant, columns: int
    ) -> TrendBins:
        """Give the past of a level cut into stretches; `since` None: all of it."""
        ...

    async def waveform(self, machine: str, point: str, which: Which, wanted: WaveformRequest) -> WaveformView:
        """Give a waveform as columns of a picture."""
        ...

    async def spectrum(self, machine: str, point: str, which: Which, wanted: SpectrumRequest) -> SpectrumView:
        """Give a spectrum; with an `EnvelopeRequest` that of the envelope."""
        ...

    async def diagnose(self, machine: str, point: str) -> Outcome:
        """Have the newest capture of a point diagnosed."""
        ...

    async def baselines(self) -> tuple[BaselineView, ...]:
        """Give every baseline, and how far the learning of the others is."""
        ...

    async def forecast(self, machine: str, point: str, level: str) -> OutlookView | None:
        """Say where a level is heading; None where nobody can."""
        ...

    async def journal(self, limit: int, before: int | None = None, search: Search = EVERYTHING) -> tuple[JournalView, ...]:
        """Give the newest journal entries that fulfil a search, before a number."""
        ...

    async def close(self) -> None:
        """Stop asking."""
        ...
