"""The sole reader of time and the sole sleeper."""

import asyncio
import time
from typing import Protocol

from edgemon.model.instant import Duration, Instant


class Clock(Protocol):
    """What the shell asks of time."""

    def now(self) -> Instant:
        """Give UTC; may be stepped by whoever sets the machine's clock."""
        ...

    def elapsed(self) -> Duration:
        """Give monotonic seconds since some start; never stepped."""
        ...

    async def sleep(self, duration: Duration) -> None:
        """Wait."""
        ...


class SystemClock:
    """The machine's own clocks."""

    def now(self) -> Instant:
        """Give UTC."""
        return time.time()

    def elapsed(self) -> Duration:
        """Give monotonic seconds."""
        return time.monotonic()

    async def sleep(self, duration: Duration) -> None:
        """Wait."""
        await asyncio.sleep(duration)


class ManualClock:
    """A clock that tests drive: sleepers wake when time is advanced to their hour."""

    def __init__(self, now: Instant = 1_700_000_000.0) -> None:
        self._now = now
        self._elapsed = 0.0
        self._sleepers: list[tuple[float, asyncio.Event]] = []

    def now(self) -> Instant:
        """Give the instant set."""
        return self._now

    def elapsed(self) -> Duration:
        """Give the seconds advanced so far."""
        return self._elapsed

    async def sleep(self, duration: Duration) -> None:
        """Wait until time has been advanced by `duration`."""
        if duration <= 0.0:
            await asyncio.sleep(0)
            return
        awake = asyncio.Event()
        self._sleepers.append((self._elapsed + duration, awake))
        await awake.wait()

    async def advance(self, duration: Duration) -> None:
        """Let time pass, waking sleepers in order of their hour."""
        end = self._elapsed + duration
        while due := [sleeper for sleeper in self._sleepers if sleeper[0] <= end]:
            hour, awake = min(due, key=lambda sleeper: sleeper[0])
            self._sleepers.remove((hour, awake))
            self._pass(hour - self._elapsed)
            awake.set()
            for _ in range(10):
                await asyncio.sleep(0)
        self._pass(end - self._elapsed)

    def step(self, by: Duration) -> None:
        """Step UTC without letting time pass, as setting the clock does."""
        self._now += by

    def _pass(self, duration: Duration) -> None:
        self._elapsed += duration
        self._now += duration
