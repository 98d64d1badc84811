"""What goes out on MQTT after a commit: the newest state of each topic, and the journal, entry by entry."""

import asyncio
import logging
from collections.abc import Iterable

from edgemon.clock import Clock
from edgemon.errors import LinkDown, LinkRefused, StoreError
from edgemon.model.outgoing import Outgoing
from edgemon.mqtt.port import Link
from edgemon.mqtt.wire import journal_event
from edgemon.store.port import Reader, Store
from edgemon.store.wire import journal_document

_AT_ONCE = 64
_RETRY_S = 0.5

log = logging.getLogger(__name__)


class Publisher:
    """States are coalesced by topic, so that a broken link costs no memory; the journal is read from the store."""

    def __init__(self, link: Link, store: Store, reader: Reader, clock: Clock, root: str, site: str) -> None:
        self._link = link
        self._store = store
        self._reader = reader
        self._clock = clock
        self._root = root
        self._site = site
        self._states: dict[str, Outgoing] = {}
        self._published = 0
        self._newest = 0
        self._wake = asyncio.Event()

    def begin(self, published_seq: int, newest_seq: int) -> None:
        """Take up where the last run left off."""
        self._published, self._newest = published_seq, newest_seq
        self._wake.set()

    def states(self, outgoing: Iterable[Outgoing]) -> None:
        """Publish states; a newer one of the same topic replaces one that still waits."""
        for one in outgoing:
            self._states[one.topic] = one
        self._wake.set()

    def journal_grew(self, newest_seq: int) -> None:
        """Publish the journal up to this entry."""
        self._newest = newest_seq
        self._wake.set()

    @property
    def waiting(self) -> int:
        """How many states and journal entries wait."""
        return len(self._states) + self._newest - self._published

    async def run(self) -> None:
        """Publish for ever."""
        while True:
            await self._wake.wait()
            self._wake.clear()
            try:
                while self._states or self._published < self._newest:
                    await self._publish_some()
            except (LinkDown, StoreError) as error:
                log.debug("publishing waits: %r", str(error))
                self._wake.set()
                await self._clock.sleep(_RETRY_S)

    async def flush(self, most_s: float) -> None:
        """Publish what waits, at the end, for so long at most."""
        try:
            async with asyncio.timeout(most_s):
                while self._states or self._published < self._newest:
                    await self._publish_some()
        except (LinkDown, StoreError, TimeoutError) as error:
            log.info("left unpublished at the end: %s entries (%r)", self.waiting, str(error))

    async def _publish_some(self) -> None:
        batch = dict(list(self._states.items())[:_AT_ONCE])
        for topic in batch:
            del self._states[topic]
        try:
            await self._send(batch.values())
        except LinkDown:
            self._states = {**batch, **self._states}
            raise
        if self._published < self._newest:
            entries = await self._reader.journal(_AT_ONCE, after=self._published)
            await self._send(journal_event(self._root, self._site, journal_document(entry)) for entry in entries)
            self._published = entries[-1].seq if entries else self._newest
            await self._store.mark_published(self._published)

    async def _send(self, outgoing: Iterable[Outgoing]) -> None:
        results = await asyncio.gather(*(self._link.publish(one) for one in outgoing), return_exceptions=True)
        for result in results:
            if isinstance(result, LinkRefused):
                log.warning("the broker refuses a message, it is not sent again: %s", result)
            elif isinstance(result, BaseException):
                raise result
