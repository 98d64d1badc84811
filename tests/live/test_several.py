"""Two daemons on two brokers, one board's source over both: one is killed and comes back, and orders reach the right one."""

import asyncio
import json
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from edgemon.api.client import Daemon
from edgemon.board.picture import Picture
from edgemon.board.several import Several
from edgemon.board.view.site import SiteView
from edgemon.clock import SystemClock
from edgemon.model.search import Search
from tests.support.bare_client import BareClient
from tests.support.broker import Mosquitto
from tests.support.captures import capture
from tests.support.daemon import DaemonProcess, capture_topic, gateway_toml, plant_toml

pytestmark = pytest.mark.live
WITHIN_S = 60.0


def plant(machine: str) -> str:
    return plant_toml(1).replace("hp-pump-1", machine).replace("High-pressure pump 1", machine)


def named(url: str, name: str) -> str:
    return f'{gateway_toml(url, client_id=name)}[gateway]\nid = "{name}"\n'


async def until(holds: Callable[[], object], picture: Picture) -> None:
    deadline = time.monotonic() + WITHIN_S
    while not holds():
        picture.drain(time.monotonic())
        assert time.monotonic() < deadline, (picture.lost, [(one.id, one.state, one.reasons) for one in picture.machines])
        await asyncio.sleep(0.02)


def troubles(picture: Picture) -> str:
    return "; ".join(picture.gateway.troubles) if isinstance(picture.gateway, SiteView) else "not heard"


async def watch(source: Several, picture: Picture, clock: SystemClock) -> None:
    async for update in source.updates():
        picture.take(update, clock.elapsed())


async def play(one: DaemonProcess, two: DaemonProcess, ports: tuple[int, int]) -> None:
    clock, picture = SystemClock(), Picture()
    source = Several([(str(each.socket), Daemon(each.socket, clock)) for each in (one, two)], clock)
    listening = asyncio.create_task(watch(source, picture, clock))

    def state(machine: str) -> str:
        found = picture.machine(machine)
        return "" if found is None else found.state

    try:
        for port, severity in zip(ports, (5.0, 1.0), strict=True):
            with BareClient(port) as hand:
                t = time.time()
                for number in range(3):
                    hand.publish(capture_topic("s-0001"), capture(t + 2.0 * number, severity, capture_id=f"c-{number}"))
        await until(lambda: (state("north"), state("south")) == ("alarm", "normal") and not troubles(picture), picture)
        assert {one.id: one.machine for one in picture.sensors.values()} == {"s-0001@gw-1": "north", "s-0001@gw-2": "south"}

        north = picture.machine("north")
        assert north is not None
        alarm = next(one for point in north.points for one in point.alarms if one.annunciates)
        outcome = await source.acknowledge(alarm.id, alarm.occurrence)
        assert outcome.done, outcome.why
        entries = await source.journal(1000, search=Search(kinds=("alarm-changed",)))
        assert any(" acknowledged" in one.text and one.text.startswith("gw-1: north/") for one in entries)
        everything = await source.journal(1000)
        assert {one.text.split(": ")[0] for one in everything} == {"gw-1", "gw-2"}

        attached = [f"--attach=unix:{each.socket}" for each in (one, two)]
        command = [sys.executable, "-m", "edgemon", "status", "--json", *attached]
        told = await asyncio.to_thread(subprocess.run, command, capture_output=True, check=True)
        gateways = json.loads(told.stdout)["gateways"]
        assert {name: [each["id"] for each in said["machines"]] for name, said in gateways.items()} == {
            "gw-1": ["north"],
            "gw-2": ["south"],
        }

        await asyncio.to_thread(two.kill)
        await until(lambda: (state("north"), state("south")) == ("alarm", "unknown"), picture)
        assert troubles(picture).startswith("NO CONNECTION to gw-2: ")
        assert picture.lost is None
        silenced = await source.silence()
        assert "NOT at gw-2" in silenced.why
        page = await source.handover()
        assert "gw-2: ITS PAGE IS MISSING" in page.blocks[0].lines[1]

        await asyncio.to_thread(two.start)
        await until(lambda: (state("north"), state("south")) == ("alarm", "normal") and not troubles(picture), picture)
        page = await source.handover()
        taken = await source.take_over(page.digest, "both read")
        assert taken.done, taken.why
        assert (await source.handover()).blocks[0].lines[0].startswith("gw-1: since ")
    finally:
        await source.close()
        listening.cancel()
        await asyncio.gather(listening, return_exceptions=True)


def test_one_of_two_gateways_is_killed_and_comes_back(tmp_path: Path) -> None:
    with (
        Mosquitto(tmp_path / "b1") as first,
        Mosquitto(tmp_path / "b2") as second,
        DaemonProcess(tmp_path / "g1", plant("north"), named(first.url, "gw-1")) as one,
        DaemonProcess(tmp_path / "g2", plant("south"), named(second.url, "gw-2")) as two,
    ):
        asyncio.run(play(one, two, (first.port, second.port)))
