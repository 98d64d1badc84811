"""Settings to objects: the one place that chooses implementations."""

from collections.abc import Callable, Sequence

from edgemon import __version__
from edgemon.clock import Clock
from edgemon.decode.topics import subscriptions
from edgemon.model.gateway import Broker, Gateway
from edgemon.model.ids import SiteId
from edgemon.model.outgoing import Outgoing
from edgemon.mqtt.paho_client import PahoLink
from edgemon.mqtt.port import Link
from edgemon.mqtt.wire import gateway_offline
from edgemon.store.port import Reader, Store
from edgemon.store.reader import SqliteReader
from edgemon.store.sqlite import SqliteStore


async def open_store(gateway: Gateway) -> tuple[Store, Reader]:
    """Open the store and its reader. Raises `StoreError` and its kinds."""
    store = await SqliteStore.open(gateway.store, quarantine_most=gateway.borders.rejections_kept)
    try:
        reader = await SqliteReader.open(gateway.store)
    except BaseException:
        await store.close()
        raise
    return store, reader


def link_to(gateway: Gateway, broker: Broker, site: SiteId, clock: Clock, birth: Callable[[], Sequence[Outgoing]]) -> Link:
    """Make the link to the broker, not started yet."""
    will = gateway_offline(gateway.root, site, __version__)
    return PahoLink(broker, clock, subscriptions(gateway.root), will, birth)
