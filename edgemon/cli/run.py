"""`edgemon run`: the daemon, in the foreground."""

import argparse
import asyncio

from edgemon.cli.options import add_config
from edgemon.cli.signals import when_told_to_end
from edgemon.clock import SystemClock
from edgemon.daemon.log import set_up
from edgemon.daemon.service import Service
from edgemon.settings.load import fingerprint, load_all


def add(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Register the command."""
    parser = commands.add_parser("run", help="run the daemon in the foreground", description=__doc__)
    add_config(parser)
    parser.add_argument("--verbose", action="store_true", help="log in detail")
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Run until told to end."""
    plant, gateway = load_all(options.config)
    set_up(options.verbose)
    service = Service(plant, gateway, fingerprint(plant, gateway), SystemClock())
    asyncio.run(_until_told(service))
    return 0


async def _until_told(service: Service) -> None:
    stop = asyncio.Event()
    when_told_to_end(stop.set)
    await service.run(stop)
