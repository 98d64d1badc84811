"""The pulse, and what a service manager hears of it on a real datagram socket.

Source: sd_notify(3): datagrams of NAME=value lines; WATCHDOG=1 at half the wait; MONOTONIC_USEC beside RELOADING=1.
"""

import asyncio
import os
import socket
from collections.abc import Iterator
from pathlib import Path

import pytest

from edgemon.clock import ManualClock
from edgemon.daemon.pulse import Pulse
from edgemon.daemon.supervisor import Supervisor, watch
from edgemon.model.vitals import STUCK_S


@pytest.fixture
def manager(tmp_path: Path) -> Iterator[socket.socket]:
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as door:
        door.bind(str(tmp_path / "notify"))
        door.setblocking(False)
        yield door


def heard(manager: socket.socket) -> list[str]:
    found = []
    while True:
        try:
            found.append(manager.recv(4096).decode())
        except BlockingIOError:
            return found


def test_a_path_that_does_not_come_round_is_stuck() -> None:
    clock = ManualClock()
    pulse = Pulse(clock)
    pulse.beat()
    asyncio.run(clock.advance(STUCK_S))
    assert not pulse.vitals().is_stuck
    asyncio.run(clock.advance(1.0))
    assert pulse.vitals().is_stuck
    pulse.beat()
    assert not pulse.vitals().is_stuck
    assert pulse.vitals().rounds == 2


def test_commits_and_lags_are_noted() -> None:
    pulse = Pulse(ManualClock())
    pulse.committed(0.25)
    pulse.committed(0.5)
    pulse.lagged(-0.1)  # the machine's clock was set meanwhile
    pulse.late(0.02)
    vitals = pulse.vitals()
    assert (vitals.commits, vitals.commit_s, vitals.lag_s, vitals.loop_lag_s) == (2, 0.75, 0.0, 0.02)


def test_the_manager_is_told(manager: socket.socket) -> None:
    supervisor = Supervisor({"NOTIFY_SOCKET": str(manager.getsockname())})
    clock = ManualClock()
    asyncio.run(clock.advance(1.5))
    supervisor.ready()
    supervisor.reloading(clock)
    supervisor.status("3 normal\nREADY=0")
    supervisor.stopping()
    assert heard(manager) == ["READY=1", "RELOADING=1\nMONOTONIC_USEC=1500000", "STATUS=3 normal READY=0", "STOPPING=1"]


def test_nobody_there_and_a_manager_that_does_not_read_hold_nothing_up(manager: socket.socket) -> None:
    Supervisor({}).ready()
    Supervisor({"NOTIFY_SOCKET": "/nowhere/at/all"}).ready()
    supervisor = Supervisor({"NOTIFY_SOCKET": str(manager.getsockname())})
    for _ in range(10_000):  # far more than any socket holds
        supervisor.alive()


@pytest.mark.parametrize(
    ("known", "wait_s"),
    [
        ({}, 0.0),
        ({"WATCHDOG_USEC": "60000000"}, 60.0),
        ({"WATCHDOG_USEC": "60000000", "WATCHDOG_PID": str(os.getpid())}, 60.0),
        ({"WATCHDOG_USEC": "60000000", "WATCHDOG_PID": "1"}, 0.0),
        ({"WATCHDOG_USEC": "-1"}, 0.0),
    ],
)
def test_how_long_the_manager_waits(known: dict[str, str], wait_s: float) -> None:
    """sd_watchdog_enabled(3): the variable counts only for the process it names."""
    assert Supervisor(known).watchdog_s == wait_s


async def test_signs_of_life_end_when_the_path_is_stuck(manager: socket.socket) -> None:
    clock = ManualClock()
    pulse = Pulse(clock)
    supervisor = Supervisor({"NOTIFY_SOCKET": str(manager.getsockname()), "WATCHDOG_USEC": "20000000"})
    watching = asyncio.create_task(watch(supervisor, clock, pulse.vitals, lambda: "2 normal"))
    try:
        await asyncio.sleep(0)  # the first sign, at once
        for beats in (True, True, False, False, True):
            if beats:
                pulse.beat()
            await clock.advance(10.0)
    finally:
        watching.cancel()
    signs = [word for word in heard(manager) if not word.startswith("STATUS")]
    assert signs == ["WATCHDOG=1"] * 4
