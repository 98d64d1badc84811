"""Options that several commands share."""

import argparse
import os
import re
from pathlib import Path

from edgemon.api.client import Daemon
from edgemon.clock import SystemClock
from edgemon.settings.load import load_all

DEFAULT_DIRECTORY = Path("/etc/edgemon")

_DURATION = re.compile(r"(\d+(?:\.\d+)?)\s*(s|m|min|h)?")
_SECONDS = {None: 1.0, "s": 1.0, "m": 60.0, "min": 60.0, "h": 3600.0}


def duration(text: str) -> float:
    """Read a duration in seconds: `30s`, `2m`, `1h` or a plain number of seconds."""
    match = _DURATION.fullmatch(text.strip())
    if match is None:
        raise argparse.ArgumentTypeError(f"not a duration: {text!r}; write 30s, 2m or 1h")
    return float(match[1]) * _SECONDS[match[2]]


def add_config(parser: argparse.ArgumentParser) -> None:
    """Let the user say where the configuration is."""
    parser.add_argument(
        "--config",
        metavar="DIR",
        type=Path,
        default=Path(os.environ.get("EDGEMON_CONFIG", DEFAULT_DIRECTORY)),
        help="folder with plant.toml and gateway.toml (default: $EDGEMON_CONFIG, else /etc/edgemon)",
    )


def add_attach(parser: argparse.ArgumentParser) -> None:
    """Let the user say which daemon is meant."""
    add_config(parser)
    parser.add_argument(
        "--attach",
        metavar="URL",
        help="another way to the daemon: unix:PATH of its socket, or http://HOST:PORT",
    )


def daemon_of(options: argparse.Namespace) -> Daemon:
    """Give the daemon that the options mean. Raises `SettingsError` where the configuration cannot be read."""
    attach: str | None = options.attach
    if attach is None:
        _, gateway = load_all(options.config)
        return Daemon(gateway.access.socket, SystemClock())
    if attach.startswith("unix:"):
        return Daemon(Path(attach.removeprefix("unix:")), SystemClock())
    return Daemon(attach, SystemClock())
