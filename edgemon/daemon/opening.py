"""Opening what is on the disk: the store, what tends it, what feeds the upstreams; or, where nothing can be written, less.

A damaged store is mended first, a full disk is opened in the space of the ballast. Where the disk lets nothing be written
(full, read-only, faulty), the run begins all the same: with the states that can be read, or with none, and a store that takes
nothing (`store/away.py`). Once everything can be opened, the next run in the same process is handed the memory.
"""

import asyncio
import logging
from contextlib import AsyncExitStack
from dataclasses import dataclass

from edgemon.clock import Clock
from edgemon.daemon.upstream import Upstreams
from edgemon.daemon.wiring import ballast_of, open_upstreams, tender_of
from edgemon.errors import StoreCorrupt, StoreError, StoreFull, StoreRefused, StoreTooNew
from edgemon.model.gateway import Gateway
from edgemon.model.gateway_event import StoreMended
from edgemon.model.instant import Instant
from edgemon.model.machine import Plant
from edgemon.model.upstream import UpstreamView
from edgemon.store.away import AwayStore
from edgemon.store.ballast import Ballast
from edgemon.store.faults import translated
from edgemon.store.mend import Mended, may_mend, mend, resume_mending
from edgemon.store.port import Reader, Store
from edgemon.store.reader import SqliteReader
from edgemon.store.sqlite import SqliteStore
from edgemon.store.tending import Tender

FIRST_WAIT_S = 2.0
LONGEST_WAIT_S = 30.0
"""Between two trials whether everything can be opened. House choice."""
_HOPELESS = (StoreCorrupt, StoreRefused, StoreTooNew)

log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class Opened:
    """What is on the disk, open."""

    store: Store
    reader: Reader
    upstreams: Upstreams
    tender: Tender | None
    """None where nothing can be written."""
    ballast: Ballast | None
    mended: StoreMended | None
    """What was found damaged."""
    away: AwayStore | None = None
    """The store, where nothing can be written."""


async def open_all(gateway: Gateway, plant: Plant, clock: Clock, stack: AsyncExitStack) -> Opened:
    """Open everything, or less where nothing can be written; closed with the stack.

    Raises
    ------
    StoreError
        It cannot be opened, and waiting is no help: newer, damaged beyond mending, another program's, in use.
    SettingsError
        An upstream's library is not installed.
    """
    try:
        return await _all(gateway, plant, clock, stack)
    except _HOPELESS:
        raise
    except StoreError as error:
        away = await AwayStore.open(gateway.store, error)
    stack.push_async_callback(away.close)
    states = "as they were stored last" if away.was_read else "of nothing, for the store cannot be read either"
    log.error("the store cannot be opened; machines are watched, and nothing is acknowledged; states are %s", states)
    waiting = (UpstreamView(one.name, one.kind, False, "waits for the store") for one in gateway.upstreams)
    return Opened(away, away.reader, Upstreams((), clock, tuple(waiting)), None, None, None, away)


async def storable(gateway: Gateway, plant: Plant, clock: Clock) -> None:
    """Return once everything can be opened, and is worth a new run; closed again by then."""
    wait_s, told = FIRST_WAIT_S, ""
    while True:
        await clock.sleep(wait_s)
        try:
            async with AsyncExitStack() as stack:
                await _all(gateway, plant, clock, stack, may_begin_mending=False)
            return
        except StoreError as error:
            if isinstance(error, StoreCorrupt) and may_mend(gateway.store, clock.now()):
                return
            if str(error) != told:
                log.warning("the store cannot be opened yet: %s", error)
            wait_s, told = min(LONGEST_WAIT_S, 2.0 * wait_s), str(error)


async def _all(gateway: Gateway, plant: Plant, clock: Clock, stack: AsyncExitStack, may_begin_mending: bool = True) -> Opened:
    """Open everything, or nothing."""
    async with AsyncExitStack() as closing:
        store, mended = await _mended(gateway, clock.now(), may_begin_mending)
        closing.push_async_callback(store.close)
        reader = await SqliteReader.open(gateway.store)
        closing.push_async_callback(reader.close)
        upstreams, outbox = await open_upstreams(gateway, plant.site, store, clock)
        closing.push_async_callback(outbox.close)
        stack.push_async_exit(closing.pop_all())
    return Opened(store, reader, upstreams, tender_of(gateway, plant, store), ballast_of(gateway), mended)


async def _mended(gateway: Gateway, now: Instant, may_begin: bool) -> tuple[SqliteStore, StoreMended | None]:
    """Open the store, after it was mended where it is damaged."""
    with translated(gateway.store):
        await asyncio.to_thread(resume_mending, gateway.store)
    told = None
    try:
        store = await _opened(gateway)
    except StoreCorrupt as error:
        if not may_begin or not may_mend(gateway.store, now):
            raise
        log.error("the store is damaged, what can be saved is saved: %s", error)
        told = _told(await asyncio.to_thread(mend, gateway.store, now), error.what, now)
        store = await _opened(gateway)
    if store.remark and told is None:
        told = StoreMended(now, "", store.remark, (), "not touched")
    return store, told


async def _opened(gateway: Gateway) -> SqliteStore:
    """Open the store and look whether what the last run left can be read."""
    try:
        store = await SqliteStore.open(gateway.store, quarantine_most=gateway.borders.rejections_kept)
    except StoreFull:
        if not ballast_of(gateway).give_up():
            raise
        store = await SqliteStore.open(gateway.store, quarantine_most=gateway.borders.rejections_kept)
    try:
        await store.load()
    except BaseException:
        await store.close()
        raise
    return store


def _told(mended: Mended, why: str, now: Instant) -> StoreMended:
    saved = tuple(str(one) for one in mended.saved if one.rows or one.places or one.unfit)
    return StoreMended(now, str(mended.kept_as), why, (*saved, mended.note) if mended.note else saved, mended.journal)
