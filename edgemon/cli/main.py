"""The command `edgemon`: finds the subcommand, turns errors into exit codes."""

import argparse
import os
import sys
from collections.abc import Sequence

from edgemon import __version__
from edgemon.cli import board, check, demo, record, replay, run, scenario, simulate, status
from edgemon.errors import EdgemonError, ParameterError, SettingsError

OK, FAILED, USAGE = 0, 1, 2

CAUTION = (
    "edgemon monitors; it does not protect. It must not be the only means of stopping a machine or warning a person. "
    "Work on machines and sensors follows local codes, permits to work and the maker's instructions."
)


def parser() -> argparse.ArgumentParser:
    """Make the parser of all commands."""
    top = argparse.ArgumentParser(
        prog="edgemon",
        description="Vibration and temperature of machines: from wireless sensors to an alarm on the board.",
        epilog=CAUTION,
    )
    top.add_argument("--version", action="version", version=f"edgemon {__version__}")
    commands = top.add_subparsers(title="commands", metavar="COMMAND", required=True)
    for command in (demo, run, board, status, check, scenario, record, replay, simulate):
        command.add(commands)
    return top


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command and give its exit code: 0 fine, 1 failed at run time, 2 bad usage or configuration."""
    try:
        options = parser().parse_args(arguments)
    except SystemExit as refused:
        return int(refused.code or 0)
    try:
        return int(options.run(options))
    except SettingsError as error:
        print(error, file=sys.stderr)
        return USAGE
    except ParameterError:
        raise
    except EdgemonError as error:
        print(f"edgemon: {error}", file=sys.stderr)
        return FAILED
    except KeyboardInterrupt:
        return FAILED
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return OK
