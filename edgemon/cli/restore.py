"""`edgemon restore`: a backup put where the daemon looks for its store, after it was proven to be as it was made."""

import argparse
from pathlib import Path

from edgemon.cli.backup import told
from edgemon.cli.options import add_config
from edgemon.cli.progress import Progress
from edgemon.clock import SystemClock
from edgemon.model.instant import format_instant
from edgemon.settings.load import load_all
from edgemon.store.backup import restore


def add(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Register the command."""
    parser = commands.add_parser(
        "restore",
        help="put a backup in place of the store; the daemon must not run",
        description=__doc__,
        epilog="What was stored after the backup is not in it. Nothing is overwritten: with --replace the store that is there "
        "is kept under another name.",
    )
    add_config(parser)
    parser.add_argument("folder", metavar="FOLDER", type=Path, help="what `edgemon backup` made")
    parser.add_argument("--replace", action="store_true", help="there is a store: keep it under another name")
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Check, copy, prove, exchange."""
    _, gateway = load_all(options.config)
    stamp = format_instant(SystemClock().now()).replace(":", "").replace("-", "").split(".")[0]
    aside = f".before-{stamp}" if options.replace else ""
    with Progress("files") as progress:
        manifest = restore(options.folder, gateway.store, aside, progress.at)
    print(f"{gateway.store}: {told(manifest)}")
    return 0
