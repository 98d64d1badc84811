"""The board in a browser: a web server that starts a board of its own for every page that is opened.

The library that serves asks nobody who they are. Here it answers only under the name it was given, and opens a board only for
its own page: other pages, open in the same browser, cannot reach the board through it (RFC 6455, 10.2). What it cannot do is
tell people apart: whoever reaches the address sits at the board in the name of the account that serves it.
"""

import shlex
from collections.abc import Awaitable, Callable, Sequence
from http import HTTPStatus

from aiohttp import web
from textual_serve.server import Server

MOST_BOARDS = 8
"""Boards open at once; each is a process. House choice."""

Handler = Callable[[web.Request], Awaitable[web.StreamResponse]]


class BoardServer(Server):
    """Serves the board.

    Parameters
    ----------
    command : sequence of str
        What starts a board.
    host : str
        Name or address to listen on, by which browsers call it too.
    port : int
        Port to listen on.
    tell : callable
        Says something to whoever started this.
    """

    def __init__(self, command: Sequence[str], host: str, port: int, tell: Callable[[str], None]) -> None:
        named = f"[{host}]" if ":" in host else host
        super().__init__(shlex.join(command), host, port, title="edgemon", public_url=f"http://{named}:{port}")
        self._tell = tell
        self._open = 0

    def initialize_logging(self) -> None:
        """Leave logging as it is: errors go to standard error."""

    async def on_startup(self, app: web.Application) -> None:
        """Say where the board is, and what nobody asks."""
        self._tell(f"The board is at {self.public_url}; Ctrl+C ends this, the daemon goes on monitoring.")
        self._tell("It has no login of its own: whoever reaches it orders in the name of the account that runs this.")

    async def _make_app(self) -> web.Application:
        app = await super()._make_app()
        app.middlewares.append(self._guard)
        return app

    @web.middleware
    async def _guard(self, request: web.Request, handler: Handler) -> web.StreamResponse:
        """Answer only under the own name; open a board only for the own page; load nothing from elsewhere."""
        own = self.public_url.removeprefix("http://")
        if request.headers.get("Host", "") not in (own, own.removesuffix(":80")):
            return web.Response(status=HTTPStatus.MISDIRECTED_REQUEST, text=f"This is {self.public_url}.\n")
        if request.path == "/ws" and request.headers.get("Origin", "") != self.public_url:
            return web.Response(status=HTTPStatus.FORBIDDEN, text=f"The board opens for {self.public_url} only.\n")
        if request.path == "/ws" and self._open >= MOST_BOARDS:
            return web.Response(status=HTTPStatus.SERVICE_UNAVAILABLE, text=f"{MOST_BOARDS} boards are open already.\n")
        response = await handler(request)
        if not response.prepared:
            self._protect(response, own)
        return response

    def _protect(self, response: web.StreamResponse, own: str) -> None:
        response.headers["Content-Security-Policy"] = (
            "default-src 'self'; script-src 'self' 'unsafe-inline'; style-src 'self' 'unsafe-inline'; img-src 'self' data:; "
            f"connect-src 'self' ws://{own}; frame-ancestors 'none'"
        )
        response.headers["X-Content-Type-Options"] = "nosniff"
        response.headers["Referrer-Policy"] = "no-referrer"

    async def handle_websocket(self, request: web.Request) -> web.WebSocketResponse:
        """Count the boards that are open."""
        self._open += 1
        try:
            return await super().handle_websocket(request)
        finally:
            self._open -= 1
