"""`edgemon backup`: a proven copy of the store, taken while the daemon runs."""

import argparse
from pathlib import Path

from edgemon.cli.options import add_config
from edgemon.cli.progress import Progress
from edgemon.clock import SystemClock
from edgemon.settings.load import load_all
from edgemon.store.backup import Manifest, back_up


def add(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Register the command."""
    parser = commands.add_parser(
        "backup",
        help="a proven copy of the store, while the daemon runs",
        description=__doc__,
        epilog="The copy is as of one instant. Its pages, the chain of its journal and the samples of every capture are looked "
        "through before it gets its name. Settings and passwords are not in it: keep the config directory, too.",
    )
    add_config(parser)
    parser.add_argument("folder", metavar="FOLDER", type=Path, help="a new folder, best on another disk")
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Copy, prove, say what there is."""
    _, gateway = load_all(options.config)
    with Progress("sample files") as progress:
        manifest = back_up(gateway.store, options.folder, SystemClock().now(), progress.at)
    print(f"{options.folder}: {told(manifest)}")
    return 0


def told(manifest: Manifest) -> str:
    """Say what a backup holds."""
    size = sum(file.bytes for file in manifest.files) / 1e6
    text = f"{manifest.captures} captures, {size:.1f} MB in {len(manifest.files)} files, as of {manifest.made_at}"
    if manifest.journal_hash:
        text += f"; checkpoint of the journal to keep elsewhere: {manifest.journal_seq}:{manifest.journal_hash}"
    return text
