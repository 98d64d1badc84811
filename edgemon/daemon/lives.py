"""One daemon after another in one process: settings read anew end one and start the next, all of them or none.

What a start and an orderly stop promise holds for a reload too: everything taken is stored, nothing else is acknowledged, and
the broker keeps what comes in between.
"""

import asyncio
import gc
import logging
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from edgemon.clock import Clock
from edgemon.daemon.remembering import LEFT, Carried, written_down
from edgemon.daemon.service import Service
from edgemon.daemon.supervisor import Supervisor
from edgemon.errors import EdgemonError, SettingsError
from edgemon.model.gateway import Gateway
from edgemon.model.machine import Plant
from edgemon.settings.load import documents, fingerprint, load_all

log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True, eq=False)
class Settings:
    """What both files say, and how they say it."""

    plant: Plant
    gateway: Gateway
    written: Mapping[str, Any]

    @classmethod
    def read(cls, directory: Path) -> "Settings":
        """Read them. Raises `SettingsError`."""
        return cls(*load_all(directory), documents(directory))

    @property
    def fingerprint(self) -> str:
        """Give what changes whenever they do."""
        return fingerprint(self.plant, self.gateway)


class Lives:
    """Runs the daemon of a config directory until told to end.

    Raises
    ------
    SettingsError
        The settings cannot be read, or something in them is wrong.
    """

    def __init__(self, directory: Path, clock: Clock, supervisor: Supervisor) -> None:
        self._directory = directory
        self._clock = clock
        self._supervisor = supervisor
        self._settings = Settings.read(directory)
        self._next: Settings | None = None
        self._turn = asyncio.Event()
        self._is_over = False
        self._service: Service | None = None

    async def run(self) -> None:
        """Run. Raises `EdgemonError` where the daemon cannot be started, unless it ran before with other settings."""
        before: Settings | None = None
        has_run = False
        carried: Carried | None = None
        while not self._is_over:
            self._turn.clear()
            now = self._settings
            self._service = Service(now.plant, now.gateway, now.fingerprint, self._clock, self._supervisor)
            self._service.carried = carried
            self._service.settings, self._service.has_run = written_down(now.written), has_run
            settling = asyncio.create_task(settle(self._service.ready), name="settle")
            try:
                await self._service.run(self._turn)
            except EdgemonError as error:
                is_up = self._service.ready.is_set()
                if before is None or is_up:
                    _leave(None if is_up else carried)
                    raise
                log.error("not started with the new settings, the old ones stay in force: %s", error)
                self._settings, before = before, None
                continue
            finally:
                settling.cancel()
            carried = self._service.carried
            if carried is not None:
                before = None
            has_run = has_run or carried is None  # else it stored nothing of its settings
            if self._next is not None:
                before, self._settings, self._next = now, self._next, None
        _leave(carried)

    def end(self) -> None:
        """End in order."""
        self._is_over = True
        self._supervisor.stopping()
        self._turn.set()

    async def reload(self) -> None:
        """Read the settings anew; what is wrong is logged, and then nothing changes."""
        self._supervisor.reloading(self._clock)
        try:
            found = await asyncio.to_thread(Settings.read, self._directory)
        except SettingsError as error:
            for line in str(error).splitlines():
                log.error("settings not taken, the old ones stay in force: %s", line)
        else:
            if self._service is not None and found.fingerprint != self._settings.fingerprint:
                log.info("settings read anew: %s, before %s", found.fingerprint, self._settings.fingerprint)
                self._next = found
                self._service.stopping_for = "settings read anew"
                self._turn.set()
                return
            log.info("settings read anew: nothing changed")
        self._supervisor.ready()


def _leave(carried: Carried | None) -> None:
    """Say what was to be handed on, and nobody takes up."""
    if carried is not None and carried.left:
        log.error(LEFT, carried.left)


async def settle(ready: asyncio.Event) -> None:
    """Have the collector of garbage pass over what a daemon was built of: a full collection would hold the path up."""
    await ready.wait()
    gc.unfreeze()  # what a daemon before this one left can go
    gc.collect()
    gc.freeze()
