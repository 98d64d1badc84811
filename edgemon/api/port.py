"""What may be asked of a gateway and commanded it."""

from collections.abc import AsyncIterator, Sequence
from typing import Protocol

from edgemon.model.command import Command, Person
from edgemon.model.commission import CommissionView
from edgemon.model.ids import MachineId, PointKey
from edgemon.model.instant import Duration, Instant
from edgemon.model.look import (
    CapturePage,
    EnvelopeRequest,
    SpectrumRequest,
    SpectrumView,
    WaveformRequest,
    WaveformView,
    Which,
)
from edgemon.model.outlook import BaselineView, OutlookView
from edgemon.model.performance import Performance
from edgemon.model.proof import ProofReport, Scope
from edgemon.model.search import EVERYTHING, Search
from edgemon.model.shift import HandoverView, LogKind
from edgemon.model.snapshot import Change, JournalView, Outcome, Snapshot, TrendBins, TrendPoint


class Site(Protocol):
    """A gateway, seen from its API."""

    def snapshot(self) -> Snapshot:
        """Show everything, now."""
        ...

    def changes(self) -> AsyncIterator[Change]:
        """Show what differs from the snapshot on; at least one a second, at most four."""
        ...

    async def command(self, order: Command, person: Person) -> Outcome:
        """Do what a person commands; the outcome says why not."""
        ...

    async def silence(self, person: Person) -> Outcome:
        """Silence whatever calls now; all of it still waits for its acknowledgement."""
        ...

    async def lamp_test(self, person: Person) -> Outcome:
        """Have horn, beacon and board show all they can for some seconds, marked as a test."""
        ...

    async def start_proof(self, scope: Scope, duration_s: Duration, reason: str, person: Person) -> Outcome:
        """Announce a proof: for a limited time simulated alarms call, as a test. Raises `StoreError`."""
        ...

    async def stop_proof(self, reason: str, person: Person) -> Outcome:
        """End the proof that is on."""
        ...

    async def start_collection(
        self, target: str, interval_s: Duration, duration_s: Duration, reason: str, person: Person
    ) -> Outcome:
        """Have a sensor (named itself, or by a point) measure more often for a while. Raises `StoreError`."""
        ...

    async def stop_collection(self, target: str, reason: str, person: Person) -> Outcome:
        """Take a fast collection back."""
        ...

    async def proof_report(self) -> ProofReport:
        """Say whether a proof is on, and what each point has proven. Raises `StoreError`."""
        ...

    async def commissioning(self) -> CommissionView:
        """Say how far each point is from being trusted. Raises `StoreError`."""
        ...

    async def sign_off(self, point: PointKey, remark: str, seen: Sequence[str], person: Person) -> Outcome:
        """Sign a point off; `seen` are the checks that are open, as whoever signs knows. Raises `StoreError`."""
        ...

    async def withdraw_sign_off(self, point: PointKey, reason: str, person: Person) -> Outcome:
        """Take the sign-off of a point back. Raises `StoreError`."""
        ...

    async def diagnose(self, point: PointKey, sim: bool, person: Person) -> Outcome:
        """Have the newest capture of a point diagnosed; what is found shows in the snapshot and in the journal."""
        ...

    async def trend(self, point: PointKey, level: str, since: Instant, until: Instant, sim: bool) -> tuple[TrendPoint, ...]:
        """Give the past of a level in the unit people see it in. Raises `ParameterError` for an unknown point or level."""
        ...

    async def trend_bins(
        self, point: PointKey, level: str, since: Instant | None, until: Instant, columns: int, sim: bool
    ) -> TrendBins:
        """Give the past of a level cut into stretches; `since` None: all of it. Raises `ParameterError` likewise."""
        ...

    def baselines(self) -> tuple[BaselineView, ...]:
        """Show every baseline, and how far the learning of the others is."""
        ...

    async def propose_baseline(self, point: PointKey, level: str, person: Person, reason: str) -> Outcome:
        """Propose a baseline from what there is. Raises `ParameterError` for an unknown point or level, as the next two do."""
        ...

    async def approve_baseline(
        self, point: PointKey, level: str, person: Person, reason: str, proposed_at: Instant | None
    ) -> Outcome:
        """Make a proposed baseline the measure; with `proposed_at` that one and no other."""
        ...

    async def retire_baseline(self, point: PointKey, level: str, person: Person, reason: str) -> Outcome:
        """Take a baseline out of use, or turn a proposal down."""
        ...

    async def outlook(self, point: PointKey, level: str) -> OutlookView:
        """Say where a level is heading. Raises `ParameterError` for an unknown point or level, `StoreError`."""
        ...

    async def outlooks(self, machine: str) -> tuple[OutlookView, ...]:
        """Say where every level with a limit is heading, at all points of a machine. Raises likewise."""
        ...

    async def handover(self) -> HandoverView:
        """Write the handover page. Raises `StoreError`."""
        ...

    async def write_log(
        self, person: Person, text: str, sort: LogKind, machine: MachineId | None, corrects: int | None
    ) -> Outcome:
        """Write into the shift log. Raises `ParameterError` for an unknown machine or entry, `StoreError`."""
        ...

    async def take_over(self, person: Person, digest: str, note: str) -> Outcome:
        """Take the shift over, having read the page of this digest. Raises `StoreError`."""
        ...

    async def captures(self, point: PointKey, sim: bool | None, before: Instant | None, limit: int) -> CapturePage:
        """List a point's stored captures, newest first. Raises `ParameterError` for what cannot be asked, `StoreError`."""
        ...

    async def waveform(self, point: PointKey, which: Which, wanted: WaveformRequest) -> WaveformView:
        """Show a stored waveform. Raises likewise."""
        ...

    async def spectrum(self, point: PointKey, which: Which, wanted: SpectrumRequest) -> SpectrumView:
        """Take the spectrum of a stored waveform. Raises likewise."""
        ...

    async def envelope(self, point: PointKey, which: Which, wanted: EnvelopeRequest) -> SpectrumView:
        """Take the spectrum of a stored waveform's envelope. Raises likewise."""
        ...

    async def journal(self, limit: int, before: int | None, search: Search = EVERYTHING) -> tuple[JournalView, ...]:
        """Give journal entries, newest first."""
        ...

    async def performance(self, since: Instant, until: Instant | None, sim: bool | None) -> Performance:
        """Give the figures of alarm performance, until now by default. Raises `ParameterError` for no period, `StoreError`.

        Where `sim` is not said, they are those of the data that the gateway is there for.
        """
        ...
