"""Options that several commands share."""

import argparse
import asyncio
import os
import re
import sys
from collections import Counter
from collections.abc import Awaitable, Callable
from pathlib import Path
from typing import Any, TypeVar

from edgemon.api.client import Daemon
from edgemon.clock import SystemClock
from edgemon.errors import EdgemonError, SettingsError
from edgemon.model.instant import format_instant
from edgemon.model.snapshot import Outcome
from edgemon.model.text import clean

T = TypeVar("T")

DEFAULT_DIRECTORY = Path("/etc/edgemon")

TIMES = frozenset({"t", "at", "since", "until", "calls_from", "now", "oldest_unsent", "earliest", "likely", "latest"})
"""Fields that are times, beside those that end in `_at`."""

_DURATION = re.compile(r"(\d+(?:\.\d+)?)\s*(s|m|min|h)?")
_SECONDS = {None: 1.0, "s": 1.0, "m": 60.0, "min": 60.0, "h": 3600.0}


def duration(text: str) -> float:
    """Read a duration in seconds: `30s`, `2m`, `1h` or a plain number of seconds."""
    match = _DURATION.fullmatch(text.strip())
    if match is None:
        raise argparse.ArgumentTypeError(f"not a duration: {text!r}; write 30s, 2m or 1h")
    return float(match[1]) * _SECONDS[match[2]]


def add_config(parser: argparse.ArgumentParser, is_below: bool = False) -> None:
    """Let the user say where the configuration is; `is_below`: unless a command above has been told already."""
    default = _default_directory()
    parser.add_argument(
        "--config",
        metavar="DIR",
        type=Path,
        default=argparse.SUPPRESS if is_below else default,
        help="folder with plant.toml and gateway.toml (default: $EDGEMON_CONFIG, else /etc/edgemon)",
    )


def add_reason(parser: argparse.ArgumentParser) -> None:
    """Have the user say why."""
    parser.add_argument("--reason", metavar="TEXT", required=True, help="why; stands in the journal beside your name")


def refused(question: str, unattended: str, otherwise: str) -> int | None:
    """Ask whether to go on: None if so, else the exit code, and what is to be known is said."""
    if not sys.stdin.isatty():
        print(f"edgemon {unattended}", file=sys.stderr)
        return 2
    if input(f"{question} [y/N] ").strip().casefold() in ("y", "yes"):
        return None
    print(otherwise)
    return 1


def _default_directory() -> Path:
    return Path(os.environ.get("EDGEMON_CONFIG", DEFAULT_DIRECTORY))


def plain(document: dict[str, Any]) -> dict[str, Any]:
    """Give a document with its times as RFC 3339, for programs."""
    return {key: _with_times(key, value) for key, value in document.items()}


def _with_times(key: str, value: Any) -> Any:
    if isinstance(value, dict):
        return plain(value)
    if isinstance(value, list | tuple):
        return [_with_times(key, one) for one in value]
    is_time = key.endswith("_at") or key in TIMES
    return format_instant(value) if is_time and isinstance(value, float) else value


def add_attach(parser: argparse.ArgumentParser, is_below: bool = False) -> None:
    """Let the user say which daemon is meant; `is_below` as for `add_config`."""
    add_config(parser, is_below)
    parser.add_argument(
        "--attach",
        default=argparse.SUPPRESS if is_below else None,
        metavar="URL",
        help="another way to the daemon: unix:PATH of its socket, or http://HOST:PORT",
    )


def add_several(parser: argparse.ArgumentParser, is_below: bool = False) -> None:
    """Let the user say which daemon is meant, or which of them; `is_below`: beside those that a command above was told."""
    below = "_below" if is_below else ""
    parser.add_argument(
        "--config",
        dest=f"config{below}",
        metavar="DIR",
        type=Path,
        action="append",
        help="folder with plant.toml and gateway.toml (default: $EDGEMON_CONFIG, else /etc/edgemon); again for each gateway",
    )
    parser.add_argument(
        "--attach",
        dest=f"attach{below}",
        metavar="URL",
        action="append",
        help="another way to the daemon: unix:PATH of its socket, or http://HOST:PORT; again for each gateway of a site",
    )


def asked(options: argparse.Namespace, ask: Callable[[Daemon], Awaitable[T]]) -> T:
    """Ask the daemon that the options mean, and stop asking."""

    async def whole() -> T:
        daemon = daemon_of(options)
        try:
            return await ask(daemon)
        finally:
            await daemon.close()

    return asyncio.run(whole())


def done(outcome: Outcome, what: str) -> int:
    """Say what came of an order. Raises `EdgemonError` where nothing did."""
    if not outcome.done:
        raise EdgemonError(outcome.why, clean(what, 200))
    print(outcome.why or "done")
    return 0


def daemon_of(options: argparse.Namespace) -> Daemon:
    """Give the daemon that the options mean. Raises `SettingsError` where the configuration cannot be read."""
    return _configured(options.config) if options.attach is None else _attached(options.attach)


def daemons_of(options: argparse.Namespace) -> list[Daemon]:
    """Give the daemons that the options of `add_several` mean. Raises `SettingsError`, also where one is named twice."""
    attached = told(options, "attach")
    found = [_attached(where) for where in attached] if attached else [_configured(one) for one in directories_of(options)]
    for where, count in Counter(daemon.where for daemon in found).items():
        if count > 1:
            raise SettingsError("the same gateway is named twice", where, "name each gateway of the site once")
    return found


def told(options: argparse.Namespace, name: str) -> list[Any]:
    """Give what was said of `config` or `attach`, to the command and to its order."""
    return [*(getattr(options, name, None) or ()), *(getattr(options, f"{name}_below", None) or ())]


def directories_of(options: argparse.Namespace) -> list[Path]:
    """Give the config directories that the options of `add_several` mean."""
    return told(options, "config") or [_default_directory()]


def _configured(directory: Path) -> Daemon:
    from edgemon.settings.load import load_all  # not needed, and not small, where the daemon is named

    _, gateway = load_all(directory)
    return Daemon(gateway.access.socket, SystemClock())


def _attached(where: str) -> Daemon:
    if where.startswith("unix:"):
        return Daemon(Path(where.removeprefix("unix:")), SystemClock())
    return Daemon(where, SystemClock())
