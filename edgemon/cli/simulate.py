"""`edgemon simulate`: synthetic traffic of a scene, published to a broker; every message is marked as simulated."""

import argparse
import signal
import subprocess
import sys
from collections.abc import Sequence
from types import FrameType

from edgemon.cli.linking import DEFAULT_ROOT, DEFAULT_URL, add_broker
from edgemon.errors import SettingsError

_USUAL = 1
"""Exit code where the simulators were ended by a signal."""


def add(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Register the command."""
    parser = commands.add_parser("simulate", help="publish synthetic traffic of a scene", description=__doc__)
    parser.add_argument("scene", nargs="?", default="saltmarsh", metavar="SCENE", help="scene file or name (default saltmarsh)")
    add_broker(parser)
    parser.add_argument("--seed", type=int, help="the same seed plays the same messages (default 1)")
    parser.add_argument("--speed", type=float, help="seconds of the story in a real one (default 1)")
    parser.add_argument("--for", dest="duration", metavar="TIME", help="stop after that time: 30s, 2m, 1h")
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Run the simulators and give their exit code."""
    more = {"--seed": options.seed, "--speed": options.speed, "--for": options.duration}
    return run_simulators(["scene", options.scene, *broker_options(options), *given(more)])


def broker_options(options: argparse.Namespace) -> list[str]:
    """Write the options of `add_broker` as the simulators read them."""
    return given(
        {
            "--broker": options.broker or DEFAULT_URL,
            "--root": options.root or DEFAULT_ROOT,
            "--username": options.username,
            "--password-file": options.password_file,
            "--ca-file": options.ca_file,
            "--certificate-file": options.certificate_file,
            "--key-file": options.key_file,
        }
    )


def given(options: dict[str, object]) -> list[str]:
    """Write the options that have a value; `--name=value`, so that no value is taken for an option."""
    return [f"{name}={value}" for name, value in options.items() if value is not None]


def run_simulators(arguments: Sequence[str]) -> int:
    """Run `python -m simulators` beside us, quiet where nobody watches, and end it when we are told to end.

    Returns
    -------
    int
        Its exit code.

    Raises
    ------
    SettingsError
        An argument that no program can be given.
    """
    # In a process group of its own it hears of Ctrl-C once, from us.
    quiet = () if sys.stderr.isatty() else ("--quiet",)
    try:
        child = subprocess.Popen([sys.executable, "-m", "simulators", *arguments, *quiet], process_group=0)
    except ValueError as error:
        raise SettingsError(f"an option cannot be passed on: {error}") from error

    def pass_on(number: int, _frame: FrameType | None) -> None:
        child.send_signal(number)

    before = {number: signal.signal(number, pass_on) for number in (signal.SIGTERM, signal.SIGINT)}
    try:
        code = child.wait()
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
    return code if code >= 0 else _USUAL
