"""`edgemon board`: the board, attached to a running daemon; quitting it does not disturb the daemon."""

import argparse
import curses
import gc
import os
import sys
from typing import TYPE_CHECKING

from edgemon.cli.options import add_several, daemons_of
from edgemon.clock import SystemClock
from edgemon.errors import EdgemonError, SettingsError

if TYPE_CHECKING:
    from edgemon.board.app import BoardApp
    from edgemon.board.port import Source

BROWSER = "127.0.0.1:8118"
"""Where the board is served to browsers by default: to this machine only."""


def add(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Register the command."""
    parser = commands.add_parser("board", help="show the board of the running daemon", description=__doc__)
    add_several(parser)
    add_look(parser)
    parser.add_argument(
        "--browser",
        nargs="?",
        const=BROWSER,
        metavar="HOST:PORT",
        help=f"serve the board to browsers there (default: {BROWSER}) instead of showing it here; it has no login of its own: "
        "whoever reaches the address orders in the name of the account that runs this",
    )
    parser.set_defaults(run=run)


def add_look(parser: argparse.ArgumentParser) -> None:
    """Let the user say how the board looks."""
    parser.add_argument("--still", action="store_true", help="nothing flashes; unacknowledged alarms get a still mark")
    parser.add_argument(
        "--ascii",
        action=argparse.BooleanOptionalAction,
        help="draw with ASCII only, or never; without either: on a plain console, without UTF-8, and with 8 colours or fewer",
    )
    parser.add_argument("--light", action="store_true", help="dark on light, for a bright room")


def make(source: "Source", options: argparse.Namespace) -> "BoardApp":
    """Make the board with the look that the options ask for."""
    from edgemon.board.app import BoardApp  # the terminal library is loaded where a terminal is wanted

    gc.freeze()  # what is loaded by now stays: a full collection that passes over it holds up the board less
    theme = "light" if options.light else "dark"
    plain = _is_plain() if options.ascii is None else options.ascii
    is_seen = sys.stdin.isatty if "TEXTUAL_DRIVER" not in os.environ else lambda: True  # in a browser there is no terminal
    return BoardApp(source, SystemClock(), still=options.still, ascii=plain, theme=theme, is_seen=is_seen)


def _is_plain() -> bool:
    """Say whether this terminal is drawn with ASCII only."""
    from edgemon.board.theme import is_plain

    return is_plain(os.environ.get("TERM", ""), sys.stdout.encoding, _colours())


def _colours() -> int | None:
    """Give the colours the terminal's description names; None where there is none, or where the terminal says more itself."""
    if os.environ.get("COLORTERM", "").casefold() in ("truecolor", "24bit"):
        return None
    try:
        curses.setupterm(None, sys.stdout.fileno())
        return curses.tigetnum("colors")
    except (curses.error, OSError, ValueError):
        return None


def source_of(options: argparse.Namespace) -> "Source":
    """Give the daemon that the options mean; several of them as one."""
    daemons = daemons_of(options)
    if len(daemons) == 1:
        return daemons[0]
    from edgemon.board.several import Several

    return Several([(daemon.where, daemon) for daemon in daemons], SystemClock())


def need_terminal(instead: str) -> None:
    """Raise `EdgemonError` where there is no terminal to draw on; `instead` says what needs none."""
    if not (sys.stdin.isatty() and sys.stdout.isatty()):
        raise EdgemonError("the board needs a terminal", "", instead)


def run(options: argparse.Namespace) -> int:
    """Show the board until the user quits."""
    if options.browser is not None:
        return _serve(options)
    source = source_of(options)
    if "TEXTUAL_DRIVER" not in os.environ:  # where a browser is the terminal there is none here
        need_terminal("`edgemon status` needs none")
    app = make(source, options)
    app.run()
    return int(app.return_code or os.EX_OK)


def _serve(options: argparse.Namespace) -> int:
    """Serve the board to browsers until the user ends it."""
    host, port = _address(options.browser)
    daemons_of(options)  # what is wrong with the configuration is said here, not on every page
    try:
        from edgemon.board.browser import BoardServer
    except ModuleNotFoundError as error:
        raise EdgemonError(
            f"the board in a browser needs {error.name}, which is not installed", "", "pip install 'edgemon[browser]'"
        ) from error
    try:
        BoardServer(_command(options), host, port, lambda text: print(text, flush=True)).serve()
    except OSError as error:
        raise EdgemonError(f"cannot listen: {error.strerror or error}", f"--browser {host}:{port}") from error
    return os.EX_OK


def _address(text: str) -> tuple[str, int]:
    """Read `HOST:PORT`. Raises `SettingsError` where it is none, or one that no browser can call."""
    host, _, port = text.rpartition(":")
    host = host.removeprefix("[").removesuffix("]")
    if not host or not port.isascii() or not port.isdigit() or not 0 < int(port) < 65536:
        raise SettingsError(f"{text!r} is no HOST:PORT", "--browser", f"as in {BROWSER}")
    if host in ("0.0.0.0", "::", "*"):
        raise SettingsError(f"{host} is no name by which a browser calls", "--browser", "name one address of this machine")
    return host, int(port)


def _command(options: argparse.Namespace) -> list[str]:
    """Give the command of the board that each page gets."""
    where = [word for one in options.attach or () for word in ("--attach", one)]
    where = where or [word for one in options.config or () for word in ("--config", str(one))]
    look = [f"--{name}" for name in ("still", "light") if getattr(options, name)]
    return [sys.executable, "-m", "edgemon", "board", *where, *look, "--ascii" if options.ascii else "--no-ascii"]
