"""The command `edgemon`: finds the subcommand, turns errors into exit codes."""

import argparse
import os
import sys
from collections.abc import Collection, Sequence
from importlib import import_module

from edgemon import __version__
from edgemon.errors import EdgemonError, ParameterError, SettingsError

OK, FAILED, USAGE = 0, 1, 2

COMMANDS = {
    "demo": "show everything at once, with a simulated plant",
    "run": "run the daemon in the foreground",
    "board": "show the board of the running daemon",
    "status": "show all states of the running daemon once",
    "check": "validate a config directory",
    "doctor": "look over a running installation, and say what to do",
    "alarms": "the alarms that stand; acknowledge, silence, shelve, reset, out of service, lamp test",
    "proof": "prove alarms through the real path, announced and marked as a test; what is proven",
    "collect": "have a sensor measure more often for a while, its battery cost said first; and back",
    "battery": "how long a battery lasts at which interval of captures, before a sensor is mounted",
    "radio": "path loss and margin of a radio link, computed or from a measured signal strength",
    "commission": "per point, what stands between it and being trusted, and its sign-off; the hand-over list",
    "scenario": "run alarm timelines and compare",
    "diagnose": "levels and findings of recordings",
    "spectrum": "waveforms, spectra and envelope spectra of recordings and stored captures",
    "record": "record what sensors publish to a file",
    "replay": "publish recorded traffic, or a folder of recordings",
    "simulate": "publish synthetic traffic of a scene",
    "baseline": "baselines: learnt, proposed, approved; and the limits that follow",
    "forecast": "trends, and the time to alert and to alarm, or why there is no forecast",
    "rehearse": "other limits over the recorded past, beside those in force",
    "shift": "the handover page, the shift log, and taking over",
    "journal": "search the journal, and verify that nothing in it was changed",
    "export": "readings, captures, spectra or the journal as CSV",
    "upstream": "how the upstreams stand, what they refused, and trying that once more",
    "backup": "a proven copy of the store, while the daemon runs",
    "restore": "put a backup in place of the store; the daemon must not run",
    "performance": "how the alarms do, beside the figures of the alarm standards",
    "report": "write the analyst's report on a machine",
}
"""Each is a module of this folder with `add`; only the one that is meant is loaded, so that a board starts at once."""

CAUTION = (
    "edgemon monitors; it does not protect. It must not be the only means of stopping a machine or warning a person. "
    "Work on machines and sensors follows local codes, permits to work and the maker's instructions."
)


def parser(meant: Collection[str] = tuple(COMMANDS)) -> argparse.ArgumentParser:
    """Make the parser; the options of commands that are not meant are left out."""
    top = argparse.ArgumentParser(
        prog="edgemon",
        description="Vibration and temperature of machines: from wireless sensors to an alarm on the board.",
        epilog=CAUTION,
    )
    top.add_argument("--version", action="version", version=f"edgemon {__version__}")
    commands = top.add_subparsers(title="commands", metavar="COMMAND", required=True)
    for name, says in COMMANDS.items():
        if name in meant:
            import_module(f"edgemon.cli.{name}").add(commands)
        else:
            commands.add_parser(name, help=says)
    return top


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command and give its exit code: 0 fine, 1 failed at run time, 2 bad usage or configuration."""
    given = sys.argv[1:] if arguments is None else list(arguments)
    try:
        options = parser(given[:1]).parse_args(given)
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
