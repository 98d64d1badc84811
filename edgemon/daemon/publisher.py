"""What goes out on MQTT after a commit: the newest state of what moved, and the journal, entry by entry."""

import asyncio
import logging
from collections.abc import Callable, Iterable, Sequence

from edgemon.clock import Clock
from edgemon.errors import LinkDown, LinkRefused, StoreError
from edgemon.model.ids import MachineId, PointId
from edgemon.model.instant import Instant
from edgemon.model.outgoing import Outgoing
from edgemon.mqtt.port import Link
from edgemon.mqtt.wire import journal_event, state_gone, withdrawn
from edgemon.store.port import Commit, Reader, Store
from edgemon.store.wire import journal_document

_AT_ONCE = 64
_RETRY_S = 0.5

log = logging.getLogger(__name__)


class Publisher:
    """States are made when they are sent, so that what moves faster than the link costs nothing.

    Parameters
    ----------
    render : callable
        Gives the retained states of a machine and its points as they are now.
    """

    def __init__(
        self,
        link: Link,
        store: Store,
        reader: Reader,
        clock: Clock,
        root: str,
        site: str,
        render: Callable[[MachineId], Iterable[Outgoing]],
    ) -> None:
        self._link = link
        self._store = store
        self._reader = reader
        self._clock = clock
        self._root = root
        self._site = site
        self._render = render
        self._moved: dict[MachineId, None] = {}
        self._others: dict[str, Outgoing] = {}
        self._gone: tuple[Outgoing, ...] = ()
        self._schedules: set[str] = set()
        self._said: dict[str, bytes] = {}
        self._published = 0
        self._newest = 0
        self._waiting_since: Instant | None = None
        self.sent: Callable[[Sequence[Outgoing]], None] = _nobody
        """Told which retained states the broker took."""
        self._wake = asyncio.Event()

    def begin(
        self,
        published_seq: int,
        newest_seq: int,
        gone: Iterable[tuple[MachineId, PointId | None]] = (),
        schedules: Iterable[str] = (),
    ) -> None:
        """Take up where the last run left off; what the broker keeps of machines and points that are gone is cleared.

        Parameters
        ----------
        schedules : iterable of str
            Topics of schedules of ours that no longer hold: cleared once, for another gateway may command the sensor by then.
        """
        self._published, self._newest = published_seq, newest_seq
        self._gone = tuple(state_gone(self._root, self._site, machine, point or "") for machine, point in gone)
        self._schedules = set(schedules)
        self._wake.set()

    def moved(self, machines: Iterable[MachineId]) -> None:
        """Publish the states of these machines; what has not changed since it was said last is not said again."""
        self._moved.update(dict.fromkeys(machines))
        self._wake.set()

    def again(self, machines: Iterable[MachineId]) -> None:
        """Publish all states again: the broker may have forgotten what it retained."""
        self._said.clear()
        self._others.update((one.topic, one) for one in (*self._gone, *map(withdrawn, self._schedules)))
        self.moved(machines)

    def state(self, outgoing: Outgoing) -> None:
        """Publish another retained state; a newer one of the same topic replaces one that still waits."""
        self._others[outgoing.topic] = outgoing
        self._wake.set()

    def journal_grew(self, newest_seq: int) -> None:
        """Publish the journal up to this entry."""
        self._newest = max(self._newest, newest_seq)
        self._wake.set()

    @property
    def waiting(self) -> int:
        """How many machines' states and journal entries wait."""
        return len(self._moved) + len(self._others) + self._newest - self._published

    @property
    def waiting_since(self) -> Instant | None:
        """Since when something has been waiting without a pause."""
        return self._waiting_since if self.waiting else None

    async def run(self) -> None:
        """Publish for ever."""
        while True:
            await self._wake.wait()
            self._wake.clear()
            self._waiting_since = self._waiting_since or self._clock.now()
            try:
                while self.waiting:
                    await self._publish_some()
                self._waiting_since = None
            except (LinkDown, StoreError) as error:
                log.debug("publishing waits: %r", str(error))
                self._wake.set()
                await self._clock.sleep(_RETRY_S)

    async def flush(self, most_s: float) -> None:
        """Publish what waits, at the end, for so long at most."""
        try:
            async with asyncio.timeout(most_s):
                while self.waiting:
                    await self._publish_some()
        except (LinkDown, StoreError, TimeoutError) as error:
            log.info("left unpublished at the end: %s entries (%r)", self.waiting, str(error))

    async def _publish_some(self) -> None:
        machines = list(self._moved)[:_AT_ONCE]
        others, self._others = self._others, {}
        for machine in machines:
            del self._moved[machine]
        states = [one for machine in machines for one in self._render(machine) if self._said.get(one.topic) != one.payload]
        try:
            taken = await self._send([*others.values(), *states])
        except LinkDown:
            self._others = {**others, **self._others}
            self._moved = {**dict.fromkeys(machines), **self._moved}
            raise
        self._said.update((one.topic, one.payload) for one in states)
        self.sent(taken)
        await self._forget_schedules({one.topic for one in taken} & self._schedules)
        if self._published < self._newest:
            entries = await self._reader.journal(_AT_ONCE, after=self._published)
            await self._send([journal_event(self._root, self._site, journal_document(entry)) for entry in entries])
            self._published = entries[-1].seq if entries else self._newest
            self._newest = max(self._newest, self._published)  # the reader may see a commit before the path has heard of it
            await self._store.mark_published(self._published)

    async def _forget_schedules(self, topics: set[str]) -> None:
        """Remember that the broker keeps no schedules of ours there any more."""
        self._schedules -= topics
        if topics:
            try:
                await self._store.commit(Commit(self._clock.now(), schedules=dict.fromkeys(topics, False)))
            except StoreError as error:
                log.warning("schedules that were withdrawn are withdrawn at the next start, too: %s", error)

    async def _send(self, outgoing: Sequence[Outgoing]) -> list[Outgoing]:
        """Send, and give what the broker took; it may refuse some. Raises `LinkDown`."""
        results = await asyncio.gather(*(self._link.publish(one) for one in outgoing), return_exceptions=True)
        for result in results:
            if isinstance(result, LinkRefused):
                log.warning("the broker refuses a message, it is not sent again: %s", result)
            elif isinstance(result, BaseException):
                raise result
        return [one for one, result in zip(outgoing, results, strict=True) if result is None]


def _nobody(taken: Sequence[Outgoing]) -> None:
    """Tell nobody."""
