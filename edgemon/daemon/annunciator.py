"""The plant's own horn and beacon: every output is told until it shows what is to be shown, each on its own.

An output is told the whole state, never a difference: a command that failed or hung, a broker that was away and a daemon that
was restarted are all made up for by the newest state. None of this is ever waited for by the data path.
"""

import asyncio
import logging
import os
import signal
from collections.abc import Awaitable, Callable, Iterable, Sequence
from contextlib import suppress

from edgemon.clock import Clock
from edgemon.daemon import plan
from edgemon.model.annunciation import Annunciation, Output, OutputKind
from edgemon.model.command import Person
from edgemon.model.event import AlarmChanged, AlarmsSilenced, Event, OutputsTested
from edgemon.model.gateway_event import LinkChanged
from edgemon.model.instant import Instant
from edgemon.model.snapshot import LinkView, Outcome

LOOK_S = 0.5
"""How often the time is looked at: a silence ends, a test is over."""
_UNTOLD_MOST = 64

log = logging.getLogger(__name__)


class Annunciator:
    """Horn, beacon and their test.

    Parameters
    ----------
    outputs : sequence of Output
        What the gateway file names.
    clock : Clock
        Time.
    calling : callable
        Gives what calls the operator now.
    publish : callable
        Puts the state of an MQTT output, by its topic, on its way.
    connections : callable
        Counts how often the broker was reached: it may have forgotten what it retained.
    tell : callable
        Has the journal take an event.
    """

    def __init__(
        self,
        outputs: Sequence[Output],
        clock: Clock,
        calling: Callable[[], Annunciation],
        publish: Callable[[str, Annunciation], None],
        connections: Callable[[], int],
        tell: Callable[[Event], Awaitable[None]],
    ) -> None:
        self._outputs = outputs
        self._clock = clock
        self._calling = calling
        self._publish = publish
        self._connections = connections
        self._tell = tell
        self._wanted = Annunciation()
        self._reached = 0
        self._wakes = {output.name: asyncio.Event() for output in outputs}
        self._troubles: dict[str, str] = {}
        self.told: Callable[[Output, Annunciation], None] = _nobody
        """Told what an output took."""
        self._untold: asyncio.Queue[Event] = asyncio.Queue(_UNTOLD_MOST)
        self._test_until: Instant | None = None
        self._test_by = ""

    @property
    def test_by(self) -> str:
        """Who ordered the test that is under way, and where."""
        return self._test_by if self.test_until is not None else ""

    @property
    def test_until(self) -> Instant | None:
        """When the test that is under way ends."""
        until = self._test_until
        return until if until is not None and self._clock.now() < until else None

    def links(self) -> tuple[LinkView, ...]:
        """Show the outputs: whether each could be told, and why not."""
        troubles = self._troubles
        return tuple(
            LinkView(_name(one), not troubles.get(one.name), troubles.get(one.name, one.kind)) for one in self._outputs
        )

    def heard(self, events: Iterable[Event]) -> None:
        """Look at once where an alarm moved or was silenced."""
        if any(isinstance(event, AlarmChanged | AlarmsSilenced) for event in events):
            self._look()

    async def test(self, person: Person) -> Outcome:
        """Show all there is for a few seconds; returns when the journal has it."""
        now = self._clock.now()
        await self._tell(OutputsTested(now, now + plan.TEST_S, person.name, person.station))
        self._test_until = self._clock.now() + plan.TEST_S
        self._test_by = ", ".join(filter(None, (person.name, person.station)))
        self._look()
        return Outcome(True, f"{len(self._outputs)} outputs and the boards are tested for {plan.TEST_S:g} s")

    async def run(self) -> None:
        """Keep every output told, for ever."""
        self._look()
        async with asyncio.TaskGroup() as group:
            group.create_task(self._watch())
            group.create_task(self._journal())
            for output in self._outputs:
                group.create_task(self._serve(output))

    def _look(self) -> None:
        wanted, reached = plan.wanted(self._calling(), self.test_until, self._clock.now()), self._connections()
        if not plan.is_same(wanted, self._wanted) or reached != self._reached:
            self._wanted, self._reached = wanted, reached
            for wake in self._wakes.values():
                wake.set()

    async def _watch(self) -> None:
        while True:
            await self._clock.sleep(LOOK_S)
            self._look()

    async def _journal(self) -> None:
        while True:
            await self._tell(await self._untold.get())

    async def _serve(self, output: Output) -> None:
        shown: tuple[Annunciation, int] | None = None
        while True:
            wanted = self._wanted, self._reached if output.kind is OutputKind.MQTT else 0
            if shown is not None and plan.is_same(shown[0], wanted[0]) and shown[1] == wanted[1]:
                await self._wakes[output.name].wait()
                self._wakes[output.name].clear()
                continue
            trouble = await self._show(output, wanted[0])
            self._note(output, trouble)
            if trouble:
                await self._clock.sleep(output.retry_s)
            else:
                shown = wanted
                self.told(output, wanted[0])

    async def _show(self, output: Output, wanted: Annunciation) -> str:
        """Tell an output; gives why that failed, or nothing."""
        if output.kind is OutputKind.MQTT:
            self._publish(output.topic, wanted)
            return ""
        return await run_command(output.argv, plan.environment(wanted, os.environ), output.timeout_s)

    def _note(self, output: Output, trouble: str) -> None:
        before = self._troubles.get(output.name, "")
        self._troubles[output.name] = trouble
        if bool(trouble) == bool(before):
            return
        if trouble:
            log.error("annunciator %s fails and is tried again: %s", output.name, trouble)
        try:
            self._untold.put_nowait(LinkChanged(self._clock.now(), _name(output), not trouble, trouble or "works again"))
        except asyncio.QueueFull:
            log.error("the journal does not take what happens to annunciator %s", output.name)


async def run_command(argv: Sequence[str], environment: dict[str, str], timeout_s: float) -> str:
    """Run a program without a shell and give why it failed, or nothing; what takes too long is ended with all it started."""
    quiet = asyncio.subprocess.DEVNULL
    try:
        process = await asyncio.create_subprocess_exec(
            *argv, stdin=quiet, stdout=quiet, stderr=quiet, env=environment, start_new_session=True
        )
    except (OSError, ValueError) as error:
        return f"cannot be started: {getattr(error, 'strerror', None) or error}"
    try:
        async with asyncio.timeout(timeout_s):
            code = await process.wait()
    except TimeoutError:
        return f"took longer than {timeout_s:g} s and was ended"
    finally:
        if process.returncode is None:
            with suppress(ProcessLookupError):
                os.killpg(process.pid, signal.SIGKILL)
            await process.wait()
    return "" if code == 0 else f"ended with exit code {code}" if code > 0 else f"was ended by signal {-code}"


def _nobody(output: Output, shown: Annunciation) -> None:
    """Tell nobody."""


def _name(output: Output) -> str:
    return f"annunciator {output.name}"
