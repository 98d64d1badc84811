"""`edgemon demo`: all in one: embedded broker, simulated plant, daemon and board; leaves nothing behind unless asked."""

import argparse
import asyncio
import contextlib
import os
import signal
import subprocess
import sys
import sysconfig
import tempfile
import zlib
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import edgemon
from edgemon.api.client import Daemon
from edgemon.cli.board import add_look, make, need_terminal
from edgemon.cli.options import duration
from edgemon.cli.signals import when_told_to_end
from edgemon.clock import SystemClock
from edgemon.daemon.log import set_up
from edgemon.daemon.service import Service
from edgemon.errors import EdgemonError, SettingsError
from edgemon.model.gateway import Gateway
from edgemon.model.limit import Side
from edgemon.model.machine import Plant
from edgemon.model.snapshot import Snapshot
from edgemon.settings.load import fingerprint, load_all

if TYPE_CHECKING:
    from edgemon.board.app import BoardApp

_SOCKET_BYTES = 107


def add(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Register the command."""
    parser = commands.add_parser("demo", help="show everything at once, with a simulated plant", description=__doc__)
    parser.add_argument("--headless", action="store_true", help="without the board; ends with a summary")
    parser.add_argument("--for", dest="duration", type=duration, metavar="TIME", help="stop after that time: 30s, 2m, 1h")
    parser.add_argument("--keep", type=Path, metavar="DIR", help="keep store and log in this folder")
    parser.add_argument("--seed", type=int, default=1, help="of the simulated plant (default 1)")
    parser.add_argument("--parent", action="store_true", help=argparse.SUPPRESS)
    add_look(parser)
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Run the demo."""
    with _folder(options.keep) as folder:
        if options.headless:
            return _headless(options, folder)
        return _with_board(options, folder)


@contextmanager
def _folder(keep: Path | None) -> Iterator[Path]:
    if keep is None:
        with tempfile.TemporaryDirectory(prefix="edgemon-demo-") as name:
            yield Path(name)
        return
    try:
        keep.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise EdgemonError(f"the folder cannot be made: {error.strerror}", str(keep)) from error
    yield keep


def configuration() -> Path:
    """Find the demo's configuration: beside the source, or where the installed package put it."""
    beside = Path(edgemon.__file__).resolve().parents[1] / "config" / "saltmarsh"
    installed = Path(sysconfig.get_path("data")) / "share" / "edgemon" / "config" / "saltmarsh"
    for candidate in (beside, installed):
        if (candidate / "plant.toml").is_file():
            return candidate
    raise SettingsError("the demo's configuration is not there", f"{beside} or {installed}", "install edgemon again")


def _socket_in(folder: Path) -> Path:
    """Give the path of the local socket: in the folder, or in /tmp where that is too long for a socket (unix(7): 107 bytes)."""
    path = folder / "edgemon.sock"
    if len(os.fsencode(path)) <= _SOCKET_BYTES:
        return path
    return Path("/tmp") / f"edgemon-{zlib.crc32(os.fsencode(path)):08x}.sock"


def _demo_settings(folder: Path) -> tuple[Plant, Gateway]:
    plant, gateway = load_all(configuration())
    broker = replace(gateway.broker, host="", port=0)
    access = replace(gateway.access, socket=_socket_in(folder))
    return plant, replace(gateway, broker=broker, access=access, store=folder / "edgemon.sqlite", simulated=True)


def _headless(options: argparse.Namespace, folder: Path) -> int:
    plant, gateway = _demo_settings(folder)
    set_up(to=str(folder / "daemon.log") if options.parent or options.keep else None)
    service = Service(plant, gateway, fingerprint(plant, gateway), SystemClock())
    snapshot = asyncio.run(_play(service, gateway, options))
    if snapshot is not None and not options.parent:
        print("\n".join(summary(snapshot)))
    return 0


async def _play(service: Service, gateway: Gateway, options: argparse.Namespace) -> Snapshot | None:
    stop, clock = asyncio.Event(), SystemClock()
    when_told_to_end(stop.set)
    running = asyncio.create_task(service.run(stop), name="service")
    ready = asyncio.create_task(service.ready.wait(), name="ready")
    await asyncio.wait({running, ready}, return_when=asyncio.FIRST_COMPLETED)
    if running.done():
        ready.cancel()
        await running
        return None
    url = f"mqtt://{service.broker.host}:{service.broker.port}"
    simulators = await asyncio.create_subprocess_exec(
        *(sys.executable, "-m", "simulators", "scene", "--broker", url, "--root", gateway.root, "--seed", str(options.seed)),
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
    )
    enders: list[asyncio.Task[object]] = [
        asyncio.create_task(stop.wait(), name="stop"),
        asyncio.create_task(simulators.wait(), name="simulators"),
    ]
    if options.duration is not None:
        enders.append(asyncio.create_task(clock.sleep(options.duration), name="duration"))
    if options.parent:
        enders.append(asyncio.create_task(_end_of_input(), name="parent"))
    await asyncio.wait({running, *enders}, return_when=asyncio.FIRST_COMPLETED)
    snapshot = None if running.done() else await _snapshot(gateway, clock)
    for ender in enders:
        ender.cancel()
    failed = simulators.returncode
    if failed is None:
        simulators.terminate()
    said = (await simulators.communicate())[1]
    stop.set()
    await running
    if failed:
        last = said.decode(errors="replace").strip().splitlines()[-1:]
        raise EdgemonError(f"the simulated plant ended: {' '.join(last)}")
    return snapshot


async def _snapshot(gateway: Gateway, clock: SystemClock) -> Snapshot:
    daemon = Daemon(gateway.access.socket, clock)
    try:
        return await daemon.snapshot()
    finally:
        await daemon.close()


async def _end_of_input() -> None:
    """Wait until the parent process is gone: it holds the other end of our standard input."""
    reader = asyncio.StreamReader()
    loop = asyncio.get_running_loop()
    await loop.connect_read_pipe(lambda: asyncio.StreamReaderProtocol(reader), sys.stdin)
    await reader.read()


def _with_board(options: argparse.Namespace, folder: Path) -> int:
    need_terminal("`edgemon demo --headless --for 30s` needs none")
    command = [sys.executable, "-m", "edgemon", "demo", "--headless", "--parent", "--keep", str(folder)]
    child = subprocess.Popen(
        [*command, "--seed", str(options.seed)],
        stdin=subprocess.PIPE,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        start_new_session=True,  # Ctrl-C is the board's
    )
    try:
        source = Daemon(_socket_in(folder), SystemClock())
        app = make(source, options)
        asyncio.run(_show(app, child, options.duration))
        if child.poll() is not None:
            raise EdgemonError("the demo's daemon ended by itself", "", _last_line(folder / "daemon.log"))
        return int(app.return_code or os.EX_OK)
    finally:
        child.terminate()
        with contextlib.suppress(subprocess.TimeoutExpired):
            child.wait(10)
        child.kill()
        child.wait()


async def _show(app: "BoardApp", child: "subprocess.Popen[bytes]", seconds: float | None) -> None:
    """Show the board until it is left, the time is over, the terminal is closed or the daemon is gone."""
    over = asyncio.Event()
    when_told_to_end(over.set, (signal.SIGTERM, signal.SIGHUP))  # Ctrl-C is the board's
    showing = asyncio.create_task(app.run_async(), name="board")
    enders = [asyncio.create_task(over.wait(), name="signal"), asyncio.create_task(_end_of(child), name="daemon")]
    if seconds is not None:
        enders.append(asyncio.create_task(SystemClock().sleep(seconds), name="duration"))
    await asyncio.wait({showing, *enders}, return_when=asyncio.FIRST_COMPLETED)
    for ender in enders:
        ender.cancel()
    app.exit()
    await showing


async def _end_of(child: "subprocess.Popen[bytes]") -> None:
    clock = SystemClock()
    while child.poll() is None:
        await clock.sleep(0.5)


def _last_line(log: Path) -> str:
    try:
        return log.read_text(errors="replace").strip().splitlines()[-1][:300]
    except (OSError, IndexError):
        return "it left no log"


def summary(snapshot: Snapshot) -> list[str]:
    """Say what the demo saw."""
    gateway = snapshot.gateway
    states = Counter(machine.state for machine in snapshot.machines)
    beyond = [machine for machine in snapshot.machines if machine.worst is not None]
    worst = max(beyond, key=lambda machine: machine.worst.ratio if machine.worst else 0.0, default=None)
    lines = [
        f"{gateway.site_name} (simulated)",
        f"messages  {gateway.messages} ({gateway.rejected} rejected, {gateway.repeats} repeats)",
        f"captures  {gateway.captures}, readings {gateway.readings}",
        f"states    {', '.join(f'{count} {state}' for state, count in states.most_common())}",
        f"events    {gateway.events}",
    ]
    if worst is not None and (level := worst.worst) is not None:
        lines.append(
            f"worst     {worst.name}, {level.point}: {level.title} {level.value:.3g} {level.unit}, "
            f"{level.ratio:.0%} of {'the way down to ' if level.side is Side.BELOW else ''}its alarm limit"
        )
    return lines
