"""Settings to objects: the one place that chooses implementations."""

import logging
from collections.abc import Callable, Sequence

from edgemon import __version__
from edgemon.clock import Clock
from edgemon.daemon.upstream import Feeder, Upstreams
from edgemon.decode.topics import subscriptions
from edgemon.model.gateway import Broker, Gateway
from edgemon.model.ids import SiteId
from edgemon.model.machine import Plant
from edgemon.model.outgoing import Outgoing
from edgemon.model.upstream import Upstream, UpstreamKind
from edgemon.mqtt.paho_client import PahoLink, no_birth
from edgemon.mqtt.port import Link
from edgemon.mqtt.wire import gateway_offline
from edgemon.settings.address import read_address
from edgemon.store.ballast import Ballast
from edgemon.store.outbox import Outbox
from edgemon.store.sqlite import SqliteStore
from edgemon.store.tending import Tender
from edgemon.upstream.jetstream import NatsTransport
from edgemon.upstream.mqtt import MqttTransport
from edgemon.upstream.port import Transport
from edgemon.upstream.postgres import PostgresTransport

log = logging.getLogger(__name__)


def ballast_of(gateway: Gateway) -> Ballast:
    """Name the ballast of the store, whether it is there or not."""
    return Ballast(gateway.store, gateway.ballast_bytes)


def tender_of(gateway: Gateway, plant: Plant, store: SqliteStore) -> Tender:
    """Make what tends the store."""
    return Tender(gateway.store, store, gateway.retention, {key: point.sensor for key, point in plant.points.items()})


def link_to(
    gateway: Gateway,
    broker: Broker,
    clock: Clock,
    site: SiteId | None = None,
    birth: Callable[[], Sequence[Outgoing]] = no_birth,
) -> Link:
    """Make a link to the broker, not started yet; one without a site only listens, and nobody is told when it dies."""
    will = None if site is None else gateway_offline(gateway.root, site, __version__)
    return PahoLink(broker, clock, subscriptions(gateway.root), will, birth)


async def open_upstreams(gateway: Gateway, site: SiteId, store: SqliteStore, clock: Clock) -> tuple[Upstreams, Outbox]:
    """Make all upstreams and what feeds them, not connected yet. Raises `SettingsError`, and `StoreError` and its kinds."""
    client_id = gateway.broker.client_id
    transports = [(upstream, transport_to(upstream, client_id, clock)) for upstream in gateway.upstreams]
    outbox = await Outbox.open(gateway.store, store, f"{site}/{gateway.id}")
    try:
        gone = await outbox.begin((upstream.name, source) for upstream in gateway.upstreams for source in upstream.what)
    except BaseException:
        await outbox.close()
        raise
    for name in gone:
        log.warning("no longer in the settings, and no longer kept for it: upstream %s", name)
    return Upstreams([Feeder(upstream, outbox, transport, clock) for upstream, transport in transports], clock), outbox


def transport_to(upstream: Upstream, client_id: str, clock: Clock) -> Transport:
    """Make the transport that an upstream asks for; raises `SettingsError` where its library is not installed."""
    match upstream.kind:
        case UpstreamKind.MQTT:
            return MqttTransport(PahoLink(_broker(upstream, client_id), clock, ()), upstream.into, clock)
        case UpstreamKind.NATS:
            return NatsTransport(upstream)
        case UpstreamKind.POSTGRESQL:
            return PostgresTransport(upstream)


def _broker(upstream: Upstream, client_id: str) -> Broker:
    server = upstream.server
    address = read_address(server.urls[0])
    return Broker(
        address.host,
        address.port,
        username=server.username,
        password=server.password,
        tls=server.tls,
        ca_file=server.ca_file,
        certificate_file=server.certificate_file,
        key_file=server.key_file,
        client_id=f"{client_id}-{upstream.name}",
        session_expiry_s=0,
    )
