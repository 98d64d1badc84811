"""Outputs for horn and beacon: what they are told, how commands are run, and what becomes of those that fail or hang."""

import asyncio
import os
import time
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path

import pytest

from edgemon.clock import SystemClock
from edgemon.daemon import plan
from edgemon.daemon.annunciator import Annunciator, run_command
from edgemon.model.annunciation import Annunciation, Call, Output, OutputKind
from edgemon.model.command import Person, Role
from edgemon.model.event import AlarmsSilenced, Event, OutputsTested
from edgemon.model.gateway_event import LinkChanged
from tests.support.broker import until

CALL = Call("hp-pump-1/pump-de-h/velocity_rms", 1, "alarm", "high", "High-pressure pump 1: alarm")
ON = Annunciation(horn=True, beacon="alarm", call=CALL)
OPERATOR = Person("operator on shift", Role.OPERATOR, "control room")
SOMETHING = (AlarmsSilenced(0.0, (), "operator"),)


def test_a_test_shows_everything_and_says_that_it_is_one() -> None:
    assert plan.wanted(Annunciation(), None, 0.0) == Annunciation()
    assert plan.wanted(Annunciation(), 5.0, 4.9) == Annunciation(horn=True, beacon="alarm", test=True)
    assert plan.wanted(Annunciation(), 5.0, 5.0) == Annunciation()
    assert plan.wanted(ON, 5.0, 1.0).call is CALL, "a real alarm is not hidden by a test"


def test_the_environment_names_the_alarm_and_keeps_secrets() -> None:
    told = plan.environment(ON, {"PATH": "/usr/bin", "BROKER_PASSWORD": "hush"})
    assert told["EDGEMON_HORN"] == "1"
    assert (told["EDGEMON_ALARM"], told["EDGEMON_SEVERITY"], told["EDGEMON_BEACON"]) == (CALL.id, "alarm", "alarm")
    assert told["PATH"] == "/usr/bin"
    assert "BROKER_PASSWORD" not in told


async def test_a_command_that_hangs_is_ended_with_its_children(tmp_path: Path) -> None:
    pid = tmp_path / "pid"
    began = time.monotonic()
    why = await run_command(("sh", "-c", f"sleep 600 & echo $! > {pid}; wait"), dict(os.environ), 0.5)
    assert "longer than 0.5 s" in why
    assert time.monotonic() - began < 10.0
    child = int(pid.read_text())
    await until(lambda: _is_gone(child))


def _is_gone(pid: int) -> bool:
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] == "Z"
    except FileNotFoundError:
        return True


async def test_why_a_command_failed_is_said() -> None:
    assert "cannot be started" in await run_command(("/nowhere/horn",), {}, 1.0)
    assert await run_command(("/bin/sh", "-c", "exit 3"), {}, 5.0) == "ended with exit code 3"
    assert await run_command(("/bin/sh", "-c", "exit 0"), {}, 5.0) == ""


class Desk:
    """What surrounds an annunciator."""

    def __init__(self, *outputs: Output) -> None:
        self.calling = Annunciation()
        self.published: list[tuple[str, Annunciation]] = []
        self.reached = 1
        self.journal: list[Event] = []
        self.one = Annunciator(
            outputs,
            SystemClock(),
            lambda: self.calling,
            lambda topic, shown: self.published.append((topic, shown)),
            lambda: self.reached,
            self._tell,
        )

    async def _tell(self, event: Event) -> None:
        self.journal.append(event)


@asynccontextmanager
async def at_work(desk: Desk) -> AsyncIterator[Desk]:
    task = asyncio.create_task(desk.one.run())
    try:
        yield desk
    finally:
        task.cancel()
        await asyncio.gather(task, return_exceptions=True)


def command(script: str, name: str = "horn", timeout_s: float = 5.0) -> Output:
    return Output(name, OutputKind.COMMAND, ("/bin/sh", "-c", script), timeout_s=timeout_s, retry_s=0.1)


BEACON = Output("beacon", OutputKind.MQTT, topic="annunciator")


async def test_outputs_are_told_at_the_start_and_whenever_it_changes(tmp_path: Path) -> None:
    log = tmp_path / "log"
    write = f'echo "$EDGEMON_HORN $EDGEMON_ALARM" >> {log}'
    async with at_work(Desk(command(write), BEACON)) as desk:
        await until(lambda: log.exists() and log.read_text() == "0 \n")
        desk.calling = ON
        desk.one.heard(SOMETHING)
        await until(lambda: log.read_text().endswith(f"1 {CALL.id}\n"))
        assert [shown.horn for _, shown in desk.published] == [False, True]
        desk.reached += 1
        await until(lambda: [shown.horn for _, shown in desk.published] == [False, True, True])
    assert log.read_text().count("\n") == 2, "a command does not depend on the broker"


async def test_a_hanging_output_holds_nobody_up_and_gets_the_newest_state_when_it_works(tmp_path: Path) -> None:
    works, log = tmp_path / "works", tmp_path / "log"
    script = f'[ -e {works} ] || sleep 600; echo "$EDGEMON_HORN" >> {log}'
    async with at_work(Desk(command(script, timeout_s=0.3), BEACON)) as desk:
        await until(lambda: any(isinstance(event, LinkChanged) and not event.up for event in desk.journal))
        desk.calling = ON
        desk.one.heard(SOMETHING)
        await until(lambda: desk.published[-1][1].horn)
        (horn, beacon) = desk.one.links()
        assert not horn.up
        assert "longer than" in horn.detail
        assert beacon.up
        works.touch()
        await until(lambda: desk.one.links()[0].up)
        await until(lambda: log.read_text() == "1\n")
    assert [event.up for event in desk.journal if isinstance(event, LinkChanged)] == [False, True], (
        "told once, not at every try"
    )


async def test_a_test_is_journalled_first_and_ends_by_itself(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(plan, "TEST_S", 1.0)
    async with at_work(Desk(BEACON)) as desk:
        outcome = await desk.one.test(OPERATOR)
        assert outcome.done
        (told,) = desk.journal
        assert isinstance(told, OutputsTested)
        assert told.by == OPERATOR.name
        assert told.until - told.at == pytest.approx(plan.TEST_S)
        await until(lambda: bool(desk.published) and desk.published[-1][1].test)
        assert desk.one.test_until
        assert desk.one.test_by == f"{OPERATOR.name}, {OPERATOR.station}"
        await until(lambda: not desk.published[-1][1].test)
        assert not desk.one.test_until
        assert not desk.one.test_by
        assert desk.published[-1][1] == Annunciation()
