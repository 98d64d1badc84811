"""The one API of the daemon: HTTP and server-sent events on a Unix socket; documented at /openapi.json."""

import os
import socket
from collections.abc import AsyncIterable
from pathlib import Path
from typing import Annotated, Any

from fastapi import Depends, FastAPI, Query, Request
from fastapi.responses import Response
from fastapi.sse import EventSourceResponse, ServerSentEvent
from uvicorn.protocols.http.h11_impl import H11Protocol

from edgemon import __version__
from edgemon.api.answers import at_least, said, shown
from edgemon.api.collections import let_collect
from edgemon.api.looks import let_look
from edgemon.api.orders import let_command_alarms
from edgemon.api.port import Site
from edgemon.api.proofs import let_prove
from edgemon.api.records import let_see_records
from edgemon.api.roles import peer_of, person_of
from edgemon.api.serve import Server
from edgemon.api.shift import let_hand_over
from edgemon.api.signoffs import let_sign_off
from edgemon.api.trends import let_command_baselines, let_see_trends
from edgemon.api.wire import OutcomeDocument, WhoDocument, to_json
from edgemon.errors import EdgemonError
from edgemon.model.command import Person, Role
from edgemon.model.gateway import Access
from edgemon.model.ids import MachineId, PointId, PointKey
from edgemon.model.instant import Instant
from edgemon.model.snapshot import Snapshot, TrendPoint

JSON = "application/json"


class _PeerProtocol(H11Protocol):
    """HTTP that remembers who is at the other end; the server itself shows no peer of a Unix socket."""

    def connection_made(self, transport: Any) -> None:
        super().connection_made(transport)
        connection = transport.get_extra_info("socket")
        self.app_state = {**self.app_state, "peer": peer_of(connection)}


def application(site: Site, access: Access) -> FastAPI:
    """Make the application that answers for one gateway."""
    app = FastAPI(
        title="edgemon",
        version=__version__,
        description="One gateway: what it knows, as it changes, and what people command. A monitor, never a protection system.",
        docs_url=None,
        redoc_url=None,
    )

    def caller(request: Request) -> Person:
        return person_of(request.state.peer, access)

    operator = at_least(Role.OPERATOR, caller, "asking for a diagnosis takes an operator")

    @app.get("/v1/me", tags=["see"])
    async def me(person: Annotated[Person, Depends(caller)]) -> WhoDocument:
        """Say who the gateway takes the caller for."""
        return WhoDocument(name=person.name, role=person.role.value, station=person.station)

    @app.post("/v1/machines/{machine}/points/{point}/diagnose", tags=["command"])
    async def diagnose(
        machine: str,
        point: str,
        person: Annotated[Person, Depends(operator)],
        sim: Annotated[bool, Query()] = False,
    ) -> OutcomeDocument:
        """Have the newest capture of a point diagnosed; what is found shows in the snapshot and in the journal."""
        return await said(site.diagnose(PointKey(MachineId(machine), PointId(point)), sim, person))

    let_command_alarms(app, site, caller)
    let_command_baselines(app, site, caller)
    let_hand_over(app, site, caller)
    let_prove(app, site, caller)
    let_sign_off(app, site, caller)
    let_collect(app, site, caller)
    _let_see(app, site)
    let_see_trends(app, site)
    let_see_records(app, site)
    let_look(app, site)
    return app


def _let_see(app: FastAPI, site: Site) -> None:
    """Add what everyone may see."""

    @app.get("/v1/snapshot", response_model=Snapshot, tags=["see"])
    async def snapshot() -> Response:
        """Give everything, at one instant."""
        return Response(to_json(site.snapshot()), media_type=JSON)

    @app.get("/v1/changes", response_class=EventSourceResponse, tags=["see"])
    async def changes() -> AsyncIterable[ServerSentEvent]:
        """Give a snapshot, then what changes; an event at least every second."""
        stream = site.changes()
        yield ServerSentEvent(event="snapshot", raw_data=to_json(site.snapshot()).decode())
        async for change in stream:
            yield ServerSentEvent(event="change", raw_data=to_json(change).decode())

    @app.get("/v1/machines/{machine}/points/{point}/levels/{level}", response_model=list[TrendPoint], tags=["see"])
    async def trend(
        machine: str, point: str, level: str, since: Instant, until: Instant, sim: Annotated[bool, Query()] = False
    ) -> Response:
        """Give the past of a level, in the unit it is shown in."""
        return await shown(site.trend(PointKey(MachineId(machine), PointId(point)), level, since, until, sim))


def bind(path: Path) -> socket.socket:
    """Make the local socket: mode 0660, and a socket file that a dead daemon left is replaced.

    Raises
    ------
    EdgemonError
        Another daemon answers there, or the folder cannot be written.
    """
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise EdgemonError(f"the folder of the local socket cannot be made: {error.strerror}", str(path.parent)) from error
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as probe:
        try:
            probe.connect(str(path))
        except (FileNotFoundError, ConnectionRefusedError):
            pass
        except OSError as error:
            hint = "the path of a socket has at most 107 bytes: choose a shorter folder"
            raise EdgemonError(f"the local socket cannot be used: {error.strerror or error}", str(path), hint) from error
        else:
            raise EdgemonError("another daemon answers on this socket", str(path), "stop it, or set another [access] socket")
    listener = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
    before = os.umask(0o117)
    try:
        path.unlink(missing_ok=True)
        listener.bind(str(path))
    except OSError as error:
        listener.close()
        raise EdgemonError(f"the local socket cannot be made: {error.strerror or error}", str(path)) from error
    finally:
        os.umask(before)
    listener.listen(128)
    listener.setblocking(False)
    return listener


class Api:
    """The API of one daemon on its local socket."""

    def __init__(self, site: Site, access: Access) -> None:
        self._path: Path | None = access.socket
        self._server = Server(bind(access.socket), application(site, access), _PeerProtocol)

    async def serve(self) -> None:
        """Answer until `stop`."""
        try:
            await self._server.serve()
        finally:
            self.close()

    def close(self) -> None:
        """Let go of the socket and its file, whether it ever answered or not; twice does no harm."""
        self._server.close()
        if self._path is not None:
            self._path.unlink(missing_ok=True)
            self._path = None  # by then it may be another daemon's

    def stop(self) -> None:
        """Answer no more; open streams end."""
        self._server.stop()
