"""`edgemon journal`: what happened and who did what; and whether the journal is as it was written."""

import argparse
import json
import re
import sys
from collections.abc import Iterator
from itertools import islice
from pathlib import Path

from edgemon.api.client import Daemon
from edgemon.api.view import NO_POINTS, Points, journal_view
from edgemon.cli.gateways import asked_of_all
from edgemon.cli.journals import ASKED, Entry, asked_document, asked_line, entries_of, of_all
from edgemon.cli.options import add_config, add_several, directories_of, told
from edgemon.cli.progress import Progress
from edgemon.cli.report import TIMES_WORDS, read_time
from edgemon.clock import SystemClock
from edgemon.errors import SettingsError
from edgemon.model.event import EVENT_OF, JournalEntry
from edgemon.model.instant import format_instant
from edgemon.model.search import Search
from edgemon.model.text import clean
from edgemon.settings.load import load_all
from edgemon.store.chain import Verdict
from edgemon.store.stream import Stream
from edgemon.store.wire import journal_document

_CHECKPOINT = re.compile(r"(\d{1,18}):([0-9a-fA-F]{64})")
_WHOLE_LINE = 2000


def add(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Register the command."""
    parser = commands.add_parser(
        "journal",
        help="search the journal, and verify that nothing in it was changed",
        description=__doc__,
        epilog="Reads the store only, whether the daemon runs or not. Oldest first. With --attach, or --config again, the "
        f"running daemons are asked instead, for the newest {ASKED} each unless told otherwise: all journals as one, by time.",
    )
    add_several(parser)
    add_file(parser)
    add_search(parser)
    parser.add_argument("--limit", metavar="N", type=_count, help="the newest N of them")
    says = "for programs: one JSON object a line, as published on MQTT; of daemons with gateway, seq, t, kind and text"
    parser.add_argument("--json", action="store_true", help=says)
    parser.set_defaults(run=run_list)
    orders = parser.add_subparsers(metavar="ORDER", title="orders")
    says = "look whether entries were changed, taken out, put in, exchanged or cut off"
    verify = orders.add_parser(
        "verify",
        help=says,
        description=f"{says.capitalize()}; exit code 1 if so.",
        epilog="Whoever may write the file may also compute the chain anew or cut off its end: that shows only against a "
        "checkpoint kept elsewhere. Each entry is published with its hash on MQTT, the newest hash in the gateway's state.",
    )
    add_source(verify, is_below=True)
    verify.add_argument(
        "--checkpoint", metavar="SEQ:HASH", action="append", default=[], help="a hash noted before; may be given again"
    )
    verify.add_argument("--json", action="store_true", help="for programs: one JSON object")
    verify.set_defaults(run=run_verify)


def add_source(parser: argparse.ArgumentParser, is_below: bool = False) -> None:
    """Let the user say which store is meant."""
    add_config(parser, is_below)
    add_file(parser, is_below)


def add_file(parser: argparse.ArgumentParser, is_below: bool = False) -> None:
    """Let the user name a store by its file."""
    default = argparse.SUPPRESS if is_below else None
    parser.add_argument("--file", metavar="FILE", type=Path, default=default, help="a store by its file, without configuration")


def add_search(parser: argparse.ArgumentParser) -> None:
    """Let the user say which entries are wanted."""
    parser.add_argument("--since", metavar="TIME", help=f"recorded at this time or later: {TIMES_WORDS}")
    parser.add_argument("--until", metavar="TIME", help="recorded before, likewise")
    parser.add_argument("--kind", metavar="KIND", action="append", choices=sorted(EVENT_OF), help="as alarm-changed")
    parser.add_argument("--machine", metavar="ID", help="one machine only")
    parser.add_argument("--person", metavar="NAME", help="what this person did")


def search_of(options: argparse.Namespace) -> Search:
    """Give what the user wants to find. Raises `SettingsError` where a time cannot be read."""
    now = SystemClock().now()
    until = None if options.until is None else read_time(options.until, now, "--until")
    since = None if options.since is None else read_time(options.since, now if until is None else until, "--since")
    return Search(since, until, tuple(options.kind or ()), options.machine, options.person)


def store_of(options: argparse.Namespace) -> Path:
    """Say which store is meant."""
    file: Path | None = options.file
    return load_all(_directory(options))[1].store if file is None else file


def _directory(options: argparse.Namespace) -> Path:
    """Give the config directory, also where several might have been named."""
    given = options.config
    if isinstance(given, Path):
        return given
    found = directories_of(options)
    if len(found) > 1:
        raise SettingsError("one store at a time", "--config", "name one gateway")
    return found[0]


def _store_and_points(options: argparse.Namespace) -> tuple[Path, Points]:
    """Say which store is meant, and what the plant file calls levels of its own; a store by its file has no plant file."""
    file: Path | None = options.file
    if file is not None:
        return file, NO_POINTS
    plant, gateway = load_all(_directory(options))
    return gateway.store, plant.points


def run_list(options: argparse.Namespace) -> int:
    """Print what is found: in the store, or by the daemons that were named."""
    if is_asked(options):
        return _run_asked(options)
    path, points = _store_and_points(options)
    with Stream(path) as stream:
        for entry in _found(stream, search_of(options), options.limit):
            print(json.dumps(journal_document(entry), ensure_ascii=False) if options.json else line(entry, points))
    sys.stdout.flush()  # a reader that has gone is noticed here
    return 0


def _found(stream: Stream, search: Search, limit: int | None) -> Iterator[JournalEntry]:
    if limit is None:
        return stream.journal(search)
    newest = list(islice(stream.journal(search, newest_first=True), limit))
    return reversed(newest)


def is_asked(options: argparse.Namespace) -> bool:
    """Say whether daemons are to be asked, and not a store read. Raises `SettingsError` where both are named."""
    asked = bool(told(options, "attach")) or len(told(options, "config")) > 1
    if asked and options.file is not None:
        raise SettingsError("either a store is read or daemons are asked", "--file", "leave one of them out")
    return asked


def _run_asked(options: argparse.Namespace) -> int:
    search, limit = search_of(options), options.limit or ASKED

    async def of_one(daemon: Daemon) -> tuple[list[Entry], list[str]]:
        return [("", one) for one in await entries_of(daemon, search, limit)], []

    found, missing = asked_of_all(options, of_one, lambda gateways: of_all(gateways, search, limit))
    for name, one in reversed(found):
        print(json.dumps(asked_document(name, one), ensure_ascii=False) if options.json else asked_line(name, one))
    sys.stdout.flush()
    print("".join(f"edgemon journal: {one}\n" for one in missing), end="", file=sys.stderr)
    return int(bool(missing))


def line(entry: JournalEntry, points: Points = NO_POINTS) -> str:
    """Give one line for people."""
    view = journal_view(entry, points)
    return f"{view.seq:>8}  {format_instant(view.t)}  {view.kind:18}  {clean(view.text, _WHOLE_LINE)}"


def run_verify(options: argparse.Namespace) -> int:
    """Look through the journal and say what was found."""
    if told(options, "attach"):
        raise SettingsError("the chain is verified in the store itself", "--attach", "at the gateway, with --config or --file")
    checkpoints = dict(_checkpoint(text) for text in options.checkpoint)
    path = store_of(options)
    with Stream(path) as stream, Progress("entries") as progress:
        verdict = stream.verify(checkpoints, progress.at)
    if options.json:
        print(json.dumps(document(verdict)))
    else:
        print("\n".join(lines(verdict, path)))
    return 0 if verdict.is_whole else 1


def _checkpoint(text: str) -> tuple[int, str]:
    match = _CHECKPOINT.fullmatch(text.strip())
    if match is None:
        raise SettingsError(f"not a checkpoint: {clean(text)!r}", "--checkpoint", "as 812:9f86d0...")
    return int(match[1]), match[2].lower()


def document(verdict: Verdict) -> dict[str, object]:
    """Give the verdict for programs."""
    return {
        "whole": verdict.is_whole,
        "entries": verdict.entries,
        "unchained": verdict.unchained,
        "forgotten_up_to": verdict.cut_seq or None,
        "unproven": verdict.unproven,
        "newest": {"seq": verdict.newest_seq, "hash": verdict.newest_hash or None},
        "first_broken": verdict.breaks[0].seq if verdict.breaks else None,
        "breaks": [{"seq": one.seq, "what": one.what} for one in verdict.breaks],
        "break_count": verdict.break_count,
    }


def lines(verdict: Verdict, path: Path) -> list[str]:
    """Give the verdict for people."""
    text = [f"{path}: {verdict.entries} entries"]
    if verdict.cut_seq:
        stay = f"; {verdict.unproven} of them stay, which the chain no longer proves" if verdict.unproven else ""
        text.append(f"entries up to {verdict.cut_seq} were older than the journal's age and went{stay}")
    if verdict.unchained:
        text.append(f"entries before {verdict.chained_from} ({verdict.unchained}) are of an older version and not protected")
    if verdict.breaks:
        text.append(f"BROKEN, first at entry {verdict.breaks[0].seq}; {verdict.break_count} in all:")
        text += [f"  entry {one.seq} {one.what}" for one in verdict.breaks]
        hidden = verdict.break_count - len(verdict.breaks)
        text += [f"  and {hidden} more"] if hidden else []
    else:
        text.append("whole: every entry fits the one before it")
    if verdict.newest_hash:
        text.append(f"checkpoint to keep elsewhere: {verdict.newest_seq}:{verdict.newest_hash}")
    return text


def _count(text: str) -> int:
    if not text.isdigit() or not 1 <= int(text) <= 1_000_000:
        raise argparse.ArgumentTypeError(f"not a number from 1 to 1000000: {text!r}")
    return int(text)
