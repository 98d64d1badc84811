"""HTTP on a socket that is bound already, until told to stop; signals are the daemon's."""

import asyncio
import socket
from contextlib import AbstractContextManager, nullcontext

import uvicorn
from fastapi import FastAPI


class _Server(uvicorn.Server):
    """A server that leaves the signals to the daemon."""

    def capture_signals(self) -> AbstractContextManager[None]:  # type: ignore[override]  # a generator there
        """Leave the signals alone."""
        return nullcontext()


class Server:
    """Answers on one listening socket, and closes it at the end.

    Parameters
    ----------
    protocol : type
        How HTTP is spoken; the server's own choice by default.
    """

    def __init__(self, listener: socket.socket, app: FastAPI, protocol: type[asyncio.Protocol] | None = None) -> None:
        self._listener = listener
        self._server = _Server(
            uvicorn.Config(
                app,
                http=protocol or "h11",
                ws="none",
                lifespan="off",
                log_config=None,
                access_log=False,
                timeout_graceful_shutdown=1,
            )
        )

    async def serve(self) -> None:
        """Answer until `stop`."""
        try:
            await self._server.serve([self._listener])
        finally:
            self.close()

    def close(self) -> None:
        """Let go of the socket, whether it ever answered or not; twice does no harm."""
        self._listener.close()

    def stop(self) -> None:
        """Answer no more; open streams end."""
        self._server.should_exit = True
