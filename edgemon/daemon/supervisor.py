"""The service manager, told over its notification socket that the daemon is ready, reads its settings anew, lives, and ends.

Source: sd_notify(3) and systemd.service(5), `Type=notify`, `WatchdogSec=`.
"""

import os
import socket
from collections.abc import Callable, Mapping

from edgemon.clock import Clock
from edgemon.model.vitals import Vitals

SOCKET, WATCHDOG, WATCHED = "NOTIFY_SOCKET", "WATCHDOG_USEC", "WATCHDOG_PID"


class Supervisor:
    """The service manager, or nobody where there is none.

    Parameters
    ----------
    known : mapping of str to str
        The environment the daemon was started in.
    """

    def __init__(self, known: Mapping[str, str]) -> None:
        self._address = known.get(SOCKET, "").replace("@", "\0", 1)
        is_meant = known.get(WATCHED, str(os.getpid())) == str(os.getpid())
        wait = known.get(WATCHDOG, "") if is_meant else ""
        self.watchdog_s = int(wait) / 1e6 if wait.isdecimal() else 0.0
        """How long the manager waits for a sign of life; 0: it does not."""

    def ready(self) -> None:
        """Say that everything is open and bound."""
        self._say("READY=1")

    def reloading(self, clock: Clock) -> None:
        """Say that the settings are read anew; `ready` ends it."""
        self._say(f"RELOADING=1\nMONOTONIC_USEC={int(clock.elapsed() * 1e6)}")

    def stopping(self) -> None:
        """Say that the end has begun."""
        self._say("STOPPING=1")

    def status(self, text: str) -> None:
        """Say in one line how things are."""
        self._say(f"STATUS={' '.join(text.split())}")

    def alive(self) -> None:
        """Give a sign of life."""
        self._say("WATCHDOG=1")

    def _say(self, words: str) -> None:
        """Send a datagram; a manager that does not read must not hold the daemon up."""
        if not self._address:
            return
        with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM | socket.SOCK_NONBLOCK | socket.SOCK_CLOEXEC) as door:
            try:
                door.sendto(words.encode(), self._address)
            except OSError:
                return


async def watch(supervisor: Supervisor, clock: Clock, vitals: Callable[[], Vitals], line: Callable[[], str]) -> None:
    """Tell the manager every so often how things are, and that the daemon lives as long as the data path comes round."""
    every_s = supervisor.watchdog_s / 2 or 10.0
    seen = -1
    while True:
        now = vitals()
        if now.rounds != seen:
            seen = now.rounds
            supervisor.alive()
        supervisor.status(line())
        await clock.sleep(every_s)
