"""`edgemon board`: the board, attached to a running daemon; quitting it does not disturb the daemon."""

import argparse
import curses
import gc
import os
import sys
from typing import TYPE_CHECKING

from edgemon.cli.options import add_attach, daemon_of
from edgemon.clock import SystemClock
from edgemon.errors import EdgemonError

if TYPE_CHECKING:
    from edgemon.board.app import BoardApp
    from edgemon.board.port import Source


def add(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Register the command."""
    parser = commands.add_parser("board", help="show the board of the running daemon", description=__doc__)
    add_attach(parser)
    add_look(parser)
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
    return BoardApp(source, SystemClock(), still=options.still, ascii=plain, theme=theme)


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


def need_terminal(instead: str) -> None:
    """Raise `EdgemonError` where there is no terminal to draw on; `instead` says what needs none."""
    if not (sys.stdin.isatty() and sys.stdout.isatty()):
        raise EdgemonError("the board needs a terminal", "", instead)


def run(options: argparse.Namespace) -> int:
    """Show the board until the user quits."""
    source = daemon_of(options)
    need_terminal("`edgemon status` needs none")
    app = make(source, options)
    app.run()
    return int(app.return_code or os.EX_OK)
