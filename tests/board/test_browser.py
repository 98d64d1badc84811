"""The board in a browser: really served, really opened over its websocket; and what it refuses.

A websocket may be opened by any page that the browser shows; only its `Origin` tells them apart (RFC 6455, 10.2). A name that a
stranger's server makes point to this machine shows in `Host` alone (RFC 9110, 7.4).
"""

import asyncio
import json
import signal
import socket
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from edgemon.cli.main import main
from tests.support.daemon import wait_until

aiohttp = pytest.importorskip("aiohttp", reason="pip install 'edgemon[browser]'")
WITHIN_S = 30.0


@contextmanager
def served(tmp_path: Path) -> Iterator[str]:
    """The board of a daemon that is not there, at a port of its own; gives the address."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    address = f"127.0.0.1:{port}"
    command = ["board", "--attach", f"unix:{tmp_path}/nobody.sock", "--browser", address]
    log = tmp_path / "log"
    with log.open("wb") as out:
        child = subprocess.Popen([sys.executable, "-m", "edgemon", *command], stdout=out, stderr=out)
    try:
        wait_until(lambda: "no login of its own" in log.read_text(), WITHIN_S, log.read_text)
        wait_until(lambda: _listens(port), WITHIN_S, log.read_text)
        yield address
        child.send_signal(signal.SIGINT)
        assert child.wait(WITHIN_S) == 0, log.read_text()
    finally:
        child.kill()
        child.wait()


def _listens(port: int) -> bool:
    try:
        socket.create_connection(("127.0.0.1", port)).close()
    except ConnectionRefusedError:
        return False
    return True


async def board_of(address: str, *keys: str) -> str:
    """Open a board as the page does, wait until it is drawn, type, and give all that came until it closed."""
    seen = b""
    async with (
        aiohttp.ClientSession() as session,
        session.ws_connect(f"ws://{address}/ws?width=100&height=30", origin=f"http://{address}") as board,
    ):
        async with asyncio.timeout(WITHIN_S):
            async for message in board:
                seen += message.data if isinstance(message.data, bytes) else b""
                if b"NO CONNECTION" in seen and keys:
                    await board.send_str(json.dumps(["stdin", "".join(keys)]))
                    keys = ()
    return seen.decode()


async def status_of(address: str, path: str = "/", **headers: str) -> int:
    async with aiohttp.ClientSession() as session, session.get(f"http://{address}{path}", headers=headers) as answer:
        return int(answer.status)


@pytest.mark.slow  # processes of its own
async def test_the_board_is_served_opened_used_and_closed(tmp_path: Path) -> None:
    with served(tmp_path) as address:
        async with aiohttp.ClientSession() as session, session.get(f"http://{address}/") as answer:
            page, policy = await answer.text(), answer.headers["Content-Security-Policy"]
        assert "edgemon" in page
        assert f"ws://{address}/ws" in page
        assert "default-src 'self'" in policy  # nothing is loaded from elsewhere
        for name in ("js/textual.js", "css/xterm.css"):
            assert await status_of(address, f"/static/{name}") == 200
        text = await board_of(address, "q")
        assert "NO CONNECTION" in text
        assert "\u25a0" in text  # drawn with all a browser can show


@pytest.mark.slow
async def test_other_pages_and_other_names_are_refused(tmp_path: Path) -> None:
    with served(tmp_path) as address:
        assert await status_of(address, Host="stranger.example") == 421
        upgrade = {
            "Connection": "Upgrade",
            "Upgrade": "websocket",
            "Sec-WebSocket-Version": "13",
            "Sec-WebSocket-Key": "x" * 24,
        }
        assert await status_of(address, "/ws", **upgrade, Origin="http://stranger.example") == 403
        assert await status_of(address, "/ws", **upgrade) == 403


@pytest.mark.parametrize(
    ("where", "why"),
    [("nowhere", "is no HOST:PORT"), ("h:99999", "is no HOST:PORT"), (":80", "is no HOST:PORT"), ("0.0.0.0:8118", "no name")],
)
def test_an_address_that_is_none_is_refused(where: str, why: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["board", "--attach", "unix:/nowhere.sock", "--browser", where]) == 2
    assert why in capsys.readouterr().err
