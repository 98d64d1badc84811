"""`edgemon run`: the daemon, in the foreground.

Away from a terminal SIGHUP has it read its settings anew, all of them or none; on a terminal it ends it, as closing does.
"""

import argparse
import asyncio
import os
import signal
import sys

from edgemon.cli.options import add_config
from edgemon.cli.signals import when_told_to_end
from edgemon.clock import SystemClock
from edgemon.daemon.lives import Lives
from edgemon.daemon.log import set_up
from edgemon.daemon.supervisor import Supervisor


def add(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Register the command."""
    parser = commands.add_parser("run", help="run the daemon in the foreground", description=__doc__)
    add_config(parser)
    parser.add_argument("--verbose", action="store_true", help="log in detail")
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Run until told to end."""
    asyncio.run(_until_told(options))
    return 0


async def _until_told(options: argparse.Namespace) -> None:
    lives = Lives(options.config, SystemClock(), Supervisor(os.environ))
    set_up(options.verbose)
    reloads: set[asyncio.Task[None]] = set()

    def reload() -> None:
        task = asyncio.create_task(lives.reload(), name="reload")
        reloads.add(task)
        task.add_done_callback(reloads.discard)

    when_told_to_end(lives.end, (signal.SIGTERM, signal.SIGINT))
    when_told_to_end(lives.end if sys.stdin.isatty() else reload, (signal.SIGHUP,))
    await lives.run()
