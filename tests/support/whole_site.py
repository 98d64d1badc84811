"""A whole site of real processes: gateways with their brokers, streams of three servers, a database, and one board over all."""

import asyncio
import contextlib
import shutil
import sqlite3
import time
from collections.abc import AsyncIterator, Awaitable, Callable, Iterable
from pathlib import Path

from textual.pilot import Pilot

from edgemon.api.client import Daemon
from edgemon.board.app import BoardApp
from edgemon.board.several import Several
from edgemon.board.view.cells import row_text
from edgemon.board.view.site import SiteView
from edgemon.board.widgets.lines import Lines
from edgemon.clock import SystemClock
from edgemon.errors import EdgemonError
from edgemon.model.snapshot import MachineView
from edgemon.model.upstream import Source
from edgemon.store.outbox import depth_of
from tests.support.bare_client import BareClient
from tests.support.broker import Mosquitto
from tests.support.captures import capture
from tests.support.daemon import DaemonProcess, capture_topic, gateway_toml, plant_toml
from tests.support.nats_server import NatsCluster
from tests.support.postgres import PASSWORD, USER, Postgres
from tests.support.streams import library

STREAM = "SITE"
WHAT = (Source.READINGS, Source.CAPTURES, Source.JOURNAL)
STREAMS, DATABASE = "streams", "historian"
GATEWAYS = {
    "gw-intake": ("intake-pump", "Intake pump", "intake"),
    "gw-hall": ("hp-pump", "High-pressure pump", "ro-hall"),
    "gw-product": ("product-pump", "Product pump", "product"),
}
"""Each with what its two machines are called, and where they stand."""
EVERY_S = 0.1
"""Between two captures of a gateway's sensors."""
WITHIN_S = 45.0
_UPSTREAMS = """
[[upstream]]
name = "{streams}"
url = [{urls}]
what = [{what}]
into = "{stream}"
[[upstream]]
name = "{database}"
url = "{url}"
what = [{what}]
username = "{user}"
password_file = "password"
"""


async def until(holds: Callable[[], object], why: Callable[[], object] = lambda: "", within_s: float = WITHIN_S) -> None:
    """Poll until something holds, or fail and say why."""
    deadline = time.monotonic() + within_s
    while not holds():
        assert time.monotonic() < deadline, f"not within {within_s} s: {why()}"
        await asyncio.sleep(0.05)


async def until_empty(ask: Callable[[], Awaitable[object]], within_s: float = WITHIN_S) -> None:
    """Ask until there is nothing to say, or fail with what is said."""
    deadline = time.monotonic() + within_s
    while found := await ask():
        assert time.monotonic() < deadline, f"after {within_s} s still: {found}"
        await asyncio.sleep(0.2)


class Gateway:
    """One gateway with its own broker and sensors; all that its sensors sent is noted by hand.

    Parameters
    ----------
    folder : Path
        Its own.
    name : str
        Its identity.
    upstreams : str
        What `gateway.toml` says of them.
    """

    def __init__(self, folder: Path, name: str, upstreams: str) -> None:
        self.name = name
        self.machines = [f"{GATEWAYS[name][0]}-{number}" for number in (1, 2)]
        self.broker = Mosquitto(folder / "broker")
        self.sent: list[tuple[str, float, float]] = []
        """Sensor, time, velocity r.m.s. in mm/s; ids of captures follow from them."""
        self.disks: list[Path] = []
        """Stores of its lives that ended with their disk."""
        self._upstreams = upstreams
        self._folder = folder / "em"
        self._hand: BareClient | None = None
        self._begins = float(int(time.time()) - 180)

    async def start(self) -> None:
        """Start broker, daemon and sensors."""
        await asyncio.to_thread(self.broker.start)
        own = f'[gateway]\nid = "{self.name}"\n'
        id_, title, area = GATEWAYS[self.name]
        plant = plant_toml(2).replace("hp-pump", id_).replace("High-pressure pump", title).replace("ro-hall", area)
        self.daemon = DaemonProcess(self._folder, plant, own + gateway_toml(self.broker.url) + self._upstreams)
        (self._folder / "password").write_text(PASSWORD)
        (self._folder / "password").chmod(0o600)
        await asyncio.to_thread(self.daemon.__enter__)
        self._hand = BareClient(self.broker.port)

    def stop(self) -> None:
        """End everything, whatever state it is in."""
        if self._hand is not None:
            self._hand.close()
        if hasattr(self, "daemon"):
            self.daemon.__exit__()
        self.broker.stop()

    async def measure(self, count: int, level: Callable[[int], float] = lambda number: 1.0 if number % 3 else 6.0) -> None:
        """Have its two sensors send so many captures in turns, every third in alarm."""
        for _ in range(count):
            number = len(self.sent)
            one = (f"s-000{1 + number % 2}", self._begins + 2.0 * number, level(number))
            await self._say(one)
            self.sent.append(one)
            await asyncio.sleep(EVERY_S)

    async def repeat(self, first: int, last: int) -> None:
        """Have sensors send some of it again, as they do where they heard no answer."""
        for one in self.sent[first:last]:
            await self._say(one)

    async def _say(self, one: tuple[str, float, float]) -> None:
        assert self._hand is not None
        sensor, t, level = one
        await asyncio.to_thread(self._hand.publish, capture_topic(sensor), capture(t, level))

    def waiting(self, upstream: str) -> int:
        """Count in its store's file what an upstream has not confirmed yet."""
        with contextlib.closing(sqlite3.connect(f"file:{self.daemon.store}?mode=ro", uri=True)) as store:
            return depth_of(store, upstream, WHAT).waiting

    def stored(self) -> int:
        """Count the different captures in its stores' files."""
        found: set[tuple[object, ...]] = set()
        for store in self.stores:
            with contextlib.closing(sqlite3.connect(f"file:{store}?mode=ro", uri=True)) as connection:
                found.update(connection.execute("SELECT sensor, id, taken_at FROM captures"))
        return len(found)

    async def lose(self) -> None:
        """Kill the daemon (SIGKILL) at an instant at which the far ends have what it acknowledged, and its disk with it.

        What it was sent meanwhile it has not acknowledged: the process stands still (SIGSTOP) while its broker goes on.
        """
        deadline = time.monotonic() + WITHIN_S
        self.daemon.freeze()
        while self.waiting(STREAMS) or self.waiting(DATABASE):
            assert time.monotonic() < deadline, "it never has nothing to send"
            self.daemon.thaw()
            await asyncio.sleep(0.02)
            self.daemon.freeze()
        await self.measure(8)
        self.daemon.kill()
        await self.measure(4)
        lost = self._folder.parent / f"lost-{len(self.disks)}"
        shutil.move(self.daemon.store.parent, lost)
        self.disks.append(lost / self.daemon.store.name)

    async def replace(self) -> None:
        """Start a fresh one of the same settings, which knows nothing."""
        assert not self.daemon.store.exists()
        await asyncio.to_thread(self.daemon.start)

    @property
    def stores(self) -> list[Path]:
        """Files of all its lives."""
        return [*self.disks, self.daemon.store]


class Board:
    """The board itself without a terminal, attached to all gateways over their APIs, and a witness of what it shows."""

    def __init__(self, app: BoardApp, pilot: Pilot[None], gateways: Iterable[Gateway]) -> None:
        self.app = app
        self.pilot = pilot
        self.gateways = {one.name: one for one in gateways}
        self.looks = 0
        self.missing: set[str] = set()
        """Machines that were not on it at some instant."""
        self.in_doubt: set[str] = set()
        """Machines that were shown as unknown at some instant since this was emptied."""

    @property
    def machines(self) -> dict[str, MachineView]:
        """Give the machines as they are shown."""
        return {one.id: one for one in self.app.desk.picture.machines}

    @property
    def site(self) -> SiteView | None:
        """Give what it says of the gateways."""
        found = self.app.desk.picture.gateway
        return found if isinstance(found, SiteView) else None

    def text(self) -> str:
        """Give the screen."""
        return "\n".join(line for lines in self.app.screen.query(Lines) for line in map(row_text, lines.rows))

    def line(self, words: str) -> str:
        """Give the first line of the screen that has some words; empty where none has."""
        return next((line.strip() for line in self.text().splitlines() if words in line), "")

    def is_whole(self) -> bool:
        """Say whether every machine of every gateway is known."""
        wanted = {machine for one in self.gateways.values() for machine in one.machines}
        known = {id_ for id_, one in self.machines.items() if one.state != "unknown"}
        return self.site is not None and not self.site.troubles and wanted == known

    def is_up(self, upstream: str) -> set[bool]:
        """Say whether the gateways have an upstream."""
        return set() if self.site is None else {one.up for one in self.site.upstreams if one.name.endswith(f" {upstream}")}

    async def watch(self) -> None:
        """Look at it for ever."""
        wanted = {machine for one in self.gateways.values() for machine in one.machines}
        while True:
            shown = self.machines
            self.looks += 1
            self.missing |= wanted - set(shown)
            self.in_doubt |= {id_ for id_, one in shown.items() if one.state == "unknown"}
            await asyncio.sleep(0.1)


class Site:
    """Everything of it; made by `site`."""

    def __init__(self, gateways: dict[str, Gateway], cluster: NatsCluster, database: Postgres, board: Board) -> None:
        self.gateways = gateways
        self.cluster = cluster
        self.database = database
        self.board = board

    async def measure(self, count: int) -> None:
        """Have the sensors of all gateways send."""
        await asyncio.gather(*(one.measure(count) for one in self.gateways.values()))

    async def settle(self, *upstreams: str) -> None:
        """Wait until all that was sent is stored and these have all of it."""

        def open_ends() -> list[str]:
            every = self.gateways.values()
            found = [f"{one.name} stored {one.stored()} of {len(one.sent)}" for one in every if one.stored() != len(one.sent)]
            return found + [
                f"{one.name} {name} {one.waiting(name)}" for one in every for name in upstreams if one.waiting(name)
            ]

        await until(lambda: not open_ends(), open_ends)

    async def leader(self) -> str:
        """Ask a server that runs who leads the stream."""
        async with asyncio.timeout(WITHIN_S), library(self.cluster.running.url) as js:
            while True:
                info = (await js.stream_info(STREAM)).cluster
                if info is not None and info.leader:
                    return info.leader
                await asyncio.sleep(0.05)


@contextlib.asynccontextmanager
async def site(folder: Path) -> AsyncIterator[Site]:
    """Start it all; ends when the block does, whatever happened in it."""
    async with contextlib.AsyncExitStack() as stack:
        cluster, database = NatsCluster(folder / "cluster"), Postgres()
        await asyncio.gather(asyncio.to_thread(cluster.__enter__), asyncio.to_thread(database.__enter__))
        stack.callback(cluster.__exit__)
        stack.callback(database.__exit__)
        urls, what = ", ".join(f'"{url}"' for url in cluster.urls), ", ".join(f'"{one}"' for one in WHAT)
        names = {"streams": STREAMS, "database": DATABASE, "stream": STREAM, "user": USER}
        upstreams = _UPSTREAMS.format(urls=urls, url=database.url, what=what, **names)
        gateways = {name: Gateway(folder / name, name, upstreams) for name in GATEWAYS}
        for one in gateways.values():  # one after the other: a busy machine starts three at once too slowly for each
            stack.callback(one.stop)
            await one.start()
        clock = SystemClock()
        source = Several([(str(one.daemon.socket), Daemon(one.daemon.socket, clock)) for one in gateways.values()], clock)
        app = BoardApp(source, clock)
        async with app.run_test(size=(120, 40)) as pilot:
            yield Site(gateways, cluster, database, Board(app, pilot, gateways.values()))
        with contextlib.suppress(EdgemonError):
            await source.close()
