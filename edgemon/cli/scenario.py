"""`edgemon scenario`: alarm timelines through the very alarm logic that the daemon runs, compared with what is expected."""

import argparse
import json
import tomllib
from pathlib import Path
from typing import TYPE_CHECKING, Any

from edgemon.alarms.scenario import Outcome
from edgemon.alarms.scenario_file import read_document
from edgemon.engine.scenario import play
from edgemon.errors import SettingsError

if TYPE_CHECKING:
    Subparsers = argparse._SubParsersAction[argparse.ArgumentParser]

FINE = 0
DIFFERS = 1


def add(subparsers: "Subparsers") -> None:
    """Add the command to the parser."""
    parser = subparsers.add_parser(
        "scenario",
        help="run alarm timelines and compare",
        description="Run alarm timelines (TOML or JSON) through the alarm logic and compare the states with those expected.",
        epilog="Exit code: 0 all as expected, 1 at least one differs, 2 a file that cannot be used.",
    )
    parser.add_argument("file", metavar="FILE", type=Path, nargs="+", help="scenario file, TOML or JSON")
    parser.add_argument("--json", action="store_true", help="print one JSON object instead of lines")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Play all scenarios of all files and give the exit code. Raises `SettingsError` for a file that cannot be used."""
    scenarios = [scenario for file in args.file for scenario in read_document(load(file), str(file))]
    outcomes = [play(scenario) for scenario in scenarios]
    if args.json:
        print(json.dumps({"scenarios": [outcome.document() for outcome in outcomes]}, ensure_ascii=False))
    else:
        for outcome in outcomes:
            print(_line(outcome))
    return FINE if all(outcome.passed for outcome in outcomes) else DIFFERS


def load(file: Path) -> Any:
    """Read a TOML or JSON file, told apart by its ending, else by its first character."""
    try:
        text = file.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        why = error.strerror if isinstance(error, OSError) and error.strerror else "not UTF-8 text"
        raise SettingsError(f"cannot be read: {why}", str(file)) from error
    try:
        if file.suffix == ".json" or (file.suffix != ".toml" and text.lstrip().startswith("{")):
            return json.loads(text)
        return tomllib.loads(text)
    except (ValueError, RecursionError) as error:
        raise SettingsError(f"not valid: {error}", str(file), "see the TOML or JSON syntax") from error


def _line(outcome: Outcome) -> str:
    head = f"{'passed' if outcome.passed else 'DIFFERS':8}{outcome.id}"
    return "\n".join((head, *(f"        {difference}" for difference in outcome.differences)))
