"""A store that cannot be opened: what is left at the end is told, and what the next run takes up is not called lost."""

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path

import pytest

from edgemon.clock import SystemClock
from edgemon.daemon.lives import Lives
from edgemon.daemon.supervisor import Supervisor
from edgemon.errors import StoreError
from edgemon.store.sqlite import SqliteStore
from tests.support.daemon import plant_toml

GATEWAY = '[access]\nsocket = "run.sock"\n[store]\nballast_mib = 0\n'
LEFT = "left unwritten at the end"


@asynccontextmanager
async def alive(folder: Path) -> AsyncIterator[None]:
    (folder / "plant.toml").write_text(plant_toml(1))
    (folder / "gateway.toml").write_text(GATEWAY)
    lives = Lives(folder, SystemClock(), Supervisor({}))
    running = asyncio.create_task(lives.run())
    try:
        yield
    finally:
        lives.end()
        await running


async def logged(caplog: pytest.LogCaptureFixture, text: str) -> None:
    async with asyncio.timeout(20.0):
        while text not in caplog.text:
            await asyncio.sleep(0.02)


@pytest.mark.slow
async def test_only_what_nobody_takes_up_is_called_left(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    is_writable, opened = [False], SqliteStore.open

    async def trial(path: Path, quarantine_most: int) -> SqliteStore:
        if not is_writable[0]:
            raise StoreError("read-only file system", str(path))
        return await opened(path, quarantine_most=quarantine_most)

    monkeypatch.setattr(SqliteStore, "open", trial)
    with caplog.at_level("INFO", "edgemon"):
        async with alive(tmp_path):
            await logged(caplog, "started: 1 machines")
        assert f"{LEFT}: 3 journal entries, 0 messages with QoS 0" in caplog.text, "started, store fails, stopped"
        caplog.clear()
        async with alive(tmp_path):
            await logged(caplog, "started: 1 machines")
            is_writable[0] = True
            await logged(caplog, "the store works again")
        assert LEFT not in caplog.text
