"""`edgemon record`: what sensors publish, to a file; `edgemon replay` puts it back onto a broker."""

import argparse
import asyncio
import contextlib
import os
import sys
from collections.abc import Callable
from pathlib import Path

from edgemon.cli.linking import add_broker, broker_of, broker_of_config, guest, linked
from edgemon.cli.options import duration
from edgemon.cli.signals import when_told_to_end
from edgemon.cli.traffic import Header, header_line, message_line
from edgemon.clock import SystemClock
from edgemon.errors import EdgemonError, SettingsError
from edgemon.model.gateway import Broker
from edgemon.mqtt.paho_client import PahoLink

AT_ONCE = 64
_TELL_S = 0.5

Write = Callable[[bytes], None]


def add(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Register the command."""
    parser = commands.add_parser(
        "record",
        help="record what sensors publish to a file",
        description=__doc__,
        epilog="Ends with --for, SIGINT or SIGTERM. The daemon is not disturbed: the broker gives each its own copy.",
    )
    parser.add_argument("--config", type=Path, metavar="DIR", help="the broker of this gateway, instead of --broker")
    add_broker(parser)
    parser.add_argument("--out", type=Path, required=True, metavar="FILE", help="file to make; - for standard output")
    parser.add_argument("--for", dest="duration", type=duration, metavar="TIME", help="stop after that time: 30s, 2m, 1h")
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Record until told to stop."""
    if options.config is not None and options.broker is not None:
        raise SettingsError("--config and --broker both name a broker", "", "give one of them")
    broker, root = broker_of(options) if options.config is None else broker_of_config(options.config)
    out = _Output(options.out)
    try:
        count = asyncio.run(_record(guest(broker, "record"), root, out.write, options.duration))
    finally:
        out.close()
    if sys.stderr.isatty():
        print(f"\r{count} messages recorded", file=sys.stderr)
    return 0


class _Output:
    """A new file, or standard output: whole lines only, each there for good before the next is taken."""

    def __init__(self, path: Path) -> None:
        self._is_file = str(path) != "-"
        self._where = str(path) if self._is_file else "standard output"
        try:
            flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_CLOEXEC
            self._file = os.open(path, flags, 0o640) if self._is_file else sys.stdout.fileno()
        except FileExistsError as error:
            raise SettingsError("is there already", self._where, "recordings are never written over: another name") from error
        except OSError as error:
            raise SettingsError(f"cannot be made: {error.strerror}", self._where) from error
        self._whole = 0

    def write(self, line: bytes) -> None:
        """Write a line; where not all of it fits, take back what was written of it."""
        done = 0
        try:
            while done < len(line):
                done += os.write(self._file, line[done:])
        except BrokenPipeError:
            raise
        except OSError as error:
            if self._is_file:
                os.ftruncate(self._file, self._whole)
            raise EdgemonError(
                f"cannot be written: {error.strerror}", self._where, "what was recorded so far is whole"
            ) from error
        self._whole += len(line)

    def close(self) -> None:
        """Put everything on the disk."""
        if self._is_file:
            with contextlib.suppress(OSError):
                os.fsync(self._file)
            os.close(self._file)


async def _record(broker: Broker, root: str, write: Write, seconds: float | None) -> int:
    clock = SystemClock()
    write(header_line(Header(root, clock.now())))
    stop = asyncio.Event()
    when_told_to_end(stop.set)
    count = [0]
    tasks: list[asyncio.Task[object]] = [
        asyncio.create_task(_take(broker, root, write, count), name="record"),
        asyncio.create_task(stop.wait(), name="stop"),
    ]
    if seconds is not None:
        tasks.append(asyncio.create_task(clock.sleep(seconds), name="duration"))
    if sys.stderr.isatty():
        tasks.append(asyncio.create_task(_tell(clock, count), name="progress"))
    await asyncio.wait(tasks, return_when=asyncio.FIRST_COMPLETED)
    for task in tasks:
        task.cancel()
    taking, *_ = await asyncio.gather(*tasks, return_exceptions=True)
    if isinstance(taking, Exception):
        raise taking
    return count[0]


async def _take(broker: Broker, root: str, write: Write, count: list[int]) -> None:
    async with linked(broker, (f"{root}/sensor/#",)) as link:
        while True:
            await _write_some(link, write, count)


async def _write_some(link: PahoLink, write: Write, count: list[int]) -> None:
    deliveries = await link.receive(AT_ONCE)
    for delivery in deliveries:
        write(message_line(delivery))
        count[0] += 1
    link.acknowledge(deliveries)


async def _tell(clock: SystemClock, count: list[int]) -> None:
    while True:
        print(f"\r{count[0]} messages recorded", end="", file=sys.stderr, flush=True)
        await clock.sleep(_TELL_S)
