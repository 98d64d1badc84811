"""`edgemon doctor`: looks over a running installation, and says of each doubt what to do. It changes nothing."""

import argparse
import asyncio
import ctypes
import grp
import json
import os
import platform
import pwd
import shutil
import socket
import ssl
import tempfile
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import asdict
from pathlib import Path

from edgemon import __version__
from edgemon.api.client import Daemon
from edgemon.cli import ailments
from edgemon.cli.ailments import Disk, Finding, Weight
from edgemon.cli.linking import guest, linked
from edgemon.cli.options import add_config
from edgemon.clock import SystemClock
from edgemon.errors import EdgemonError, LinkDown, SettingsError, StoreError
from edgemon.model.gateway import Broker, Gateway
from edgemon.model.snapshot import Snapshot
from edgemon.model.text import clean
from edgemon.settings.load import load_all, problems
from edgemon.store.connection import ENGINE
from edgemon.store.mend import set_aside
from edgemon.store.reader import SqliteReader

PATIENCE_S = 8.0
_TRIALS = 5
_NOT_SYNCHRONISED = 5
"""Source: adjtimex(2): TIME_ERROR, the clock is not synchronised."""
_TIMEX_BYTES = 512
"""More than `struct timex` takes on any machine; all zero it only asks."""
_DAY_S = 86_400.0


def add(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Register the command."""
    parser = commands.add_parser(
        "doctor",
        help="look over a running installation, and say what to do",
        description=__doc__,
        epilog="Exit code: 0 nothing is wrong (there may be points that want attention), 1 something is. "
        "Run it as the user of the daemon, or as root.",
    )
    add_config(parser)
    parser.add_argument("--json", action="store_true", help="for programs: everything, as one JSON object")
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Look, print, and give the exit code."""
    found = list(_look(options.config))
    is_wrong = any(one.weight is Weight.WRONG for one in found)
    if options.json:
        print(json.dumps({"ok": not is_wrong, "findings": [asdict(one) for one in found]}, ensure_ascii=False))
    else:
        width = max(len(one.what) for one in found)
        for one in found:
            print(f"{one.weight:9}  {one.what:{width}}  {clean(one.found, 300)}" + (f"  ->  {one.do}" if one.do else ""))
    return 1 if is_wrong else 0


def _look(directory: Path) -> Iterator[Finding]:
    versions = f"edgemon {__version__}, Python {platform.python_version()}, {ENGINE}"
    yield Finding("versions", Weight.OK, versions)
    yield ailments.settings(problems(directory))
    yield ailments.clock(_clock_is_synchronised())
    try:
        _, gateway = load_all(directory)
    except SettingsError:
        return  # said already
    yield from ailments.disk(_disk(_existing(gateway.store.parent)))
    yield _store(gateway.store)
    yield from ailments.damaged([path.name for path in set_aside(gateway.store)])
    yield from asyncio.run(_broker(gateway))
    snapshot, why = asyncio.run(_snapshot(gateway))
    yield from ailments.daemon(snapshot, why)
    yield ailments.people(gateway, _members((*gateway.access.operators, *gateway.access.engineers)))


def _clock_is_synchronised() -> bool | None:
    """Ask the kernel; None where it cannot be asked."""
    try:
        library = ctypes.CDLL(None, use_errno=True)
        state = int(library.adjtimex(ctypes.create_string_buffer(_TIMEX_BYTES)))
    except (OSError, AttributeError):
        return None
    return None if state < 0 else state != _NOT_SYNCHRONISED


def _existing(folder: Path) -> Path:
    while not folder.exists():
        folder = folder.parent
    return folder


def _disk(folder: Path) -> Disk:
    usage = shutil.disk_usage(folder)
    return Disk(_file_system(folder), usage.free, usage.total, _slowest_sync_s(folder))


def _file_system(folder: Path) -> str:
    """Give the type of the file system a folder is on: that of the longest mount point above it."""
    best, kind = "", "unknown"
    with suppress(OSError):
        for line in Path("/proc/self/mounts").read_text("utf-8", "replace").splitlines():
            _, point, of_kind, *_ = line.split(" ")
            if folder.resolve().is_relative_to(point) and len(point) >= len(best):
                best, kind = point, of_kind
    return kind


def _slowest_sync_s(folder: Path) -> float | None:
    clock = SystemClock()
    slowest = 0.0
    try:
        with tempfile.TemporaryFile(dir=folder) as file:
            for _ in range(_TRIALS):
                began = clock.elapsed()
                file.write(bytes(4096))
                file.flush()
                os.fsync(file.fileno())
                slowest = max(slowest, clock.elapsed() - began)
    except OSError:
        return None
    return slowest


def _store(path: Path) -> Finding:
    if not path.exists():
        return Finding("store", Weight.ATTENTION, f"{path}: there is none yet", "the daemon makes it at its first start")
    try:
        entries = asyncio.run(_journal_end(path))
    except StoreError as error:
        return Finding("store", Weight.WRONG, str(error), "edgemon journal verify tells more")
    return Finding("store", Weight.OK, f"{path.stat().st_size / 1e6:.1f} MB, {entries} journal entries")


async def _journal_end(path: Path) -> int:
    reader = await SqliteReader.open(path)
    try:
        newest = await reader.journal(1)
    finally:
        await reader.close()
    return newest[0].seq if newest else 0


async def _broker(gateway: Gateway) -> list[Finding]:
    broker = gateway.broker
    if broker.is_embedded:
        return [ailments.broker(gateway, "")]
    trouble = ""
    try:
        async with linked(guest(broker, "doctor"), (), PATIENCE_S):
            pass
    except LinkDown as error:
        trouble = error.what
    found = [ailments.broker(gateway, trouble)]
    if broker.tls:
        found.append(ailments.certificate(await asyncio.to_thread(_certificate_days, broker)))
    return found


def _certificate_days(broker: Broker) -> float | None:
    """Give for how many days the broker's certificate holds; None where it cannot be read."""
    context = ssl.create_default_context(cafile=broker.ca_file)
    try:
        if broker.certificate_file is not None:
            context.load_cert_chain(broker.certificate_file, broker.key_file)
        with (
            socket.create_connection((broker.host, broker.port), PATIENCE_S) as plain,
            context.wrap_socket(plain, server_hostname=broker.host) as secured,
        ):
            ends = (secured.getpeercert() or {}).get("notAfter")
    except (OSError, ValueError):
        return None
    return None if not isinstance(ends, str) else (ssl.cert_time_to_seconds(ends) - SystemClock().now()) / _DAY_S


async def _snapshot(gateway: Gateway) -> tuple[Snapshot | None, str]:
    daemon = Daemon(gateway.access.socket, SystemClock())
    try:
        return await daemon.snapshot(), ""
    except EdgemonError as error:
        return None, error.what
    finally:
        await daemon.close()


def _members(groups: tuple[str, ...]) -> dict[str, int]:
    """Count the members of each group that this machine knows, those included whose first group it is."""
    found = {}
    for name in groups:
        with suppress(KeyError, ValueError):
            group = grp.getgrnam(name)
            firsts = {user.pw_name for user in pwd.getpwall() if user.pw_gid == group.gr_gid}
            found[name] = len({*group.gr_mem, *firsts})
    return found
