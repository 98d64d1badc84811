"""Health and figures for whoever supervises the gateway: HTTP on a port of loopback, for reading only.

A broker that is away is no ill health of the daemon: a restart cannot cure it.
"""

import os
import socket
from collections.abc import Callable

from fastapi import FastAPI
from fastapi.responses import PlainTextResponse, Response

from edgemon import __version__
from edgemon.api.metrics import CONTENT_TYPE, metrics_text
from edgemon.api.serve import Server
from edgemon.api.wire import HealthDocument, LinkDocument
from edgemon.errors import EdgemonError
from edgemon.model.snapshot import Snapshot
from edgemon.model.vitals import Vitals

LOOPBACK = "127.0.0.1"
SERVICE_UNAVAILABLE = 503


def health_application(show: Callable[[], Snapshot], vitals: Callable[[], Vitals]) -> FastAPI:
    """Make the application that tells how the gateway fares."""
    app = FastAPI(title="edgemon health", version=__version__, docs_url=None, redoc_url=None)

    @app.get("/livez", response_class=PlainTextResponse)
    async def livez() -> Response:
        """Say whether the daemon lives: its data path comes round."""
        stuck = vitals().is_stuck
        return PlainTextResponse("stuck" if stuck else "alive", SERVICE_UNAVAILABLE if stuck else 200)

    @app.get("/readyz", response_class=PlainTextResponse)
    async def readyz() -> Response:
        """Say whether the daemon can keep what comes: its store works."""
        gateway = show().gateway
        if gateway.store_ok:
            return PlainTextResponse("ready")
        what = f"the store fails and keeps {gateway.store_keeps}: {gateway.store_detail}"
        return PlainTextResponse(what, SERVICE_UNAVAILABLE)

    @app.get("/health")
    async def health() -> HealthDocument:
        """Give the particulars; always 200 while there is someone to answer."""
        return health_document(show(), vitals())

    @app.get("/metrics")
    async def metrics() -> Response:
        """Give the figures."""
        return Response(metrics_text(show(), vitals()), media_type=CONTENT_TYPE)

    return app


def health_document(snapshot: Snapshot, vitals: Vitals) -> HealthDocument:
    """Sum up how the gateway fares: failing, degraded or good, with every reason."""
    gateway = snapshot.gateway
    failing = [
        *(["the data path is stuck"] if vitals.is_stuck else []),
        *([] if gateway.store_ok else [f"the store keeps {gateway.store_keeps}"]),
    ]
    degraded = [
        *(f"{link.name} is down" for link in gateway.links if not link.up),
        *([] if gateway.deaf_since is None else ["no sensor is heard"]),
    ]
    return HealthDocument(
        status="failing" if failing else "degraded" if degraded else "good",
        reasons=[*failing, *degraded],
        version=gateway.version,
        site=gateway.site,
        started_at=gateway.started_at,
        now=gateway.now,
        links=[LinkDocument(name=link.name, up=link.up, detail=link.detail) for link in gateway.links],
        store_ok=gateway.store_ok,
        store_detail=gateway.store_detail,
        store_bytes=gateway.store_bytes,
        store_keeps=gateway.store_keeps,
        store_since=gateway.store_since,
        queue=gateway.queue,
        unsent=gateway.unsent,
        oldest_unsent=gateway.oldest_unsent,
        machines=len(snapshot.machines),
    )


class Health:
    """The health of one daemon on a port of loopback, where nothing but this machine can ask.

    Raises
    ------
    EdgemonError
        The port cannot be bound.
    """

    def __init__(self, port: int, show: Callable[[], Snapshot], vitals: Callable[[], Vitals]) -> None:
        self._server = Server(_bind(port), health_application(show, vitals))

    async def serve(self) -> None:
        """Answer until `stop`."""
        await self._server.serve()

    def close(self) -> None:
        """Let go of the port, whether it ever answered or not; twice does no harm."""
        self._server.close()

    def stop(self) -> None:
        """Answer no more."""
        self._server.stop()


def _bind(port: int) -> socket.socket:
    try:
        listener = socket.create_server((LOOPBACK, port))
    except OSError as error:
        what = f"health cannot be served: {os.strerror(error.errno or 0)}"
        raise EdgemonError(what, f"{LOOPBACK}:{port}", "another [health] port in gateway.toml") from error
    listener.setblocking(False)
    return listener
