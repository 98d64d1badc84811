"""What is done once a daemon is up."""

import asyncio
import gc

from edgemon.daemon.lives import settle


async def test_the_collector_passes_over_what_is_there_once_the_daemon_is_ready() -> None:
    ready = asyncio.Event()
    settling = asyncio.create_task(settle(ready))
    await asyncio.sleep(0)
    assert gc.get_freeze_count() == 0
    try:
        ready.set()
        await settling
        assert gc.get_freeze_count() > 10_000  # every module, class and function so far
    finally:
        gc.unfreeze()
