"""Proofs beside the path: begin and end them, note who took what they raised, and say from the journal what was proven.

Who took an alarm is noted of what was really sent: the state that the broker confirmed, the command of an output that ended
well. Each is journalled once; the rest is read there. What upstreams have got the commissioning state tells.
"""

import asyncio
import json
import logging
from collections.abc import Awaitable, Callable, Iterable, Sequence

from edgemon.alarms.rules import Rules
from edgemon.api.wire import alarm_key
from edgemon.clock import Clock
from edgemon.daemon.outcomes import answered
from edgemon.engine.demands import best, demands_of, lacking, proven_at
from edgemon.engine.memory import Setting
from edgemon.engine.proven import KINDS, Proven
from edgemon.model.annunciation import Annunciation, Output, OutputKind
from edgemon.model.command import Person
from edgemon.model.event import Event, JournalEntry
from edgemon.model.ids import AlarmKey, PointKey
from edgemon.model.instant import Instant
from edgemon.model.limit import Severity
from edgemon.model.outgoing import Outgoing
from edgemon.model.proof import (
    BROKER,
    PointProof,
    Proof,
    ProofCarried,
    ProofCommand,
    ProofReport,
    ProofRow,
    ProofStarted,
    Scope,
    StartProof,
    StopProof,
    proof_view,
)
from edgemon.model.search import Search
from edgemon.model.snapshot import Outcome
from edgemon.mqtt.wire import annunciator_state
from edgemon.store.port import Reader

_PAGE = 500
_UNTOLD_MOST = 256
_SEVERITIES = {one.word: one for one in Severity}

log = logging.getLogger(__name__)


class Proving:
    """Begins and ends proofs, and keeps what they showed.

    Parameters
    ----------
    reader : Reader
        The journal.
    clock : Clock
        Time.
    command : callable
        Hands a command to the owner of the states.
    tell : callable
        Has the journal take an event.
    proof : callable
        Gives the proof that is on.
    setting : Setting
        The plant, and the outputs of the annunciator.
    is_linked : callable
        Says whether the broker is reached: without it no sensor is heard, and the event topic tells nobody.
    """

    def __init__(
        self,
        reader: Reader,
        clock: Clock,
        command: Callable[[ProofCommand, Person], Awaitable[Outcome]],
        tell: Callable[[Event], Awaitable[None]],
        proof: Callable[[], Proof | None],
        setting: Setting,
        is_linked: Callable[[], bool],
    ) -> None:
        self._reader = reader
        self._clock = clock
        self._command = command
        self._tell = tell
        self._proof = proof
        self._setting = setting
        self._is_linked = is_linked
        root, site = setting.gateway.root, setting.plant.site
        self._topics = {
            annunciator_state(root, site, one.topic, {}).topic: one
            for one in setting.gateway.outputs
            if one.kind is OutputKind.MQTT
        }
        self._said: set[tuple[AlarmKey, Severity, str]] = set()
        self._of: Instant | None = None
        self._untold: asyncio.Queue[Event] = asyncio.Queue(_UNTOLD_MOST)
        self._proven = Proven({machine.id: machine.area for machine in setting.plant.machines})
        self._read_to = 0
        self._reading = asyncio.Lock()

    async def start(self, scope: Scope, duration_s: float, reason: str, person: Person) -> Outcome:
        """Announce a proof."""
        if not self._is_linked():
            return Outcome(False, "the broker does not answer: the event topic would tell nobody, and no sensor be heard")
        return await answered(self._command(StartProof(scope, duration_s, reason), person))

    async def stop(self, reason: str, person: Person) -> Outcome:
        """End the proof that is on."""
        return await answered(self._command(StopProof(reason), person))

    async def run(self) -> None:
        """Journal who took what, for ever."""
        while True:
            await self._tell(await self._untold.get())

    def sent(self, taken: Iterable[Outgoing]) -> None:
        """Look through what the broker took for alarms of the proof."""
        if self._proof() is None:
            return
        for one in taken:
            if b'"proof":' in one.payload:
                self._look_through(one.topic, json.loads(one.payload))

    def _look_through(self, topic: str, document: dict[str, object]) -> None:
        output = self._topics.get(topic)
        if output is not None:
            self._called(output.name, str(document.get("alarm")), str(document.get("severity")), bool(document.get("sim")))
            return
        alarms = document.get("alarms")
        for alarm in alarms if isinstance(alarms, list) else ():
            if alarm.get("proof"):
                self._note(str(alarm["id"]), str(alarm["severity"]), BROKER)

    def told(self, output: Output, shown: Annunciation) -> None:
        """Note that a command of the annunciator was told, and ended well."""
        if shown.proof and shown.call is not None and output.kind is OutputKind.COMMAND:
            self._called(output.name, shown.call.id, shown.call.severity, shown.call.sim)

    def _called(self, name: str, alarm: str, severity: str, sim: bool) -> None:
        if sim:
            self._note(alarm, severity, f"annunciator {name}")

    def _note(self, alarm: str, severity: str, to: str) -> None:
        proof, key, word = self._proof(), alarm_key(alarm), _SEVERITIES.get(severity)
        if proof is None or key is None or word is None:
            return
        if self._of != proof.started.at:
            self._of, self._said = proof.started.at, set()
        if (key, word, to) in self._said:
            return
        try:
            self._untold.put_nowait(ProofCarried(self._clock.now(), key, word, to))
        except asyncio.QueueFull:
            log.error("the journal does not take that %s was taken by %s; it is noted when it is sent again", alarm, to)
            return
        self._said.add((key, word, to))

    async def report(self) -> ProofReport:
        """Say whether a proof is on, and what each point has proven. Raises `StoreError`."""
        shown, proof = await self.proven(), self._proof()
        rows = tuple(self._row(rules, shown.get(key, ())) for key, rules in self._setting.rules.items())
        return ProofReport(self._clock.now(), None if proof is None else proof_view(proof), rows)

    def _row(self, rules: Rules, shown: Sequence[PointProof]) -> ProofRow:
        demands, machine, point = demands_of(rules, self._setting.gateway.outputs), rules.machine, rules.point
        one = best(demands, shown)
        lacks, when = lacking(demands, one), proven_at(demands, one)
        return ProofRow(machine.id, machine.name, point.key.point, point.name, lacks, when, one)

    async def proven(self) -> dict[PointKey, tuple[PointProof, ...]]:
        """Give what each point showed in its proofs, the newest first. Raises `StoreError`."""
        async with self._reading:
            begun: JournalEntry | None = None
            for entry in await self._reader.proofs():
                if isinstance(entry.event, ProofStarted):
                    begun = entry
                elif begun is not None:
                    await self._read(begun.seq, entry.seq)
                    begun = None
            if begun is not None:
                await self._read(begun.seq, None)
        return self._proven.points()

    async def _read(self, first: int, last: int | None) -> None:
        """Read on in the journal of one proof, as far as it is not known; what lies between proofs is not looked at."""
        search = Search(kinds=KINDS)
        while last is None or self._read_to < last:
            after = max(first - 1, self._read_to)
            entries = await self._reader.journal(_PAGE, before=None if last is None else last + 1, after=after, search=search)
            for entry in entries:
                self._proven.take(entry)
                self._read_to = entry.seq
            if not entries:
                return
