"""`edgemon check`: everything doubtful in a config directory, each with file, line, field and what would be right."""

import argparse
import json
import sys
from collections import Counter
from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

from edgemon.cli.kinematics import gear_rows, motor_rows, planetary_rows, told
from edgemon.diagnosis.shafts import shaft_orders
from edgemon.errors import SettingsError
from edgemon.model.machine import Plant
from edgemon.settings.load import fingerprint, load_all, problems
from edgemon.settings.problem import Problem

if TYPE_CHECKING:
    Subparsers = argparse._SubParsersAction[argparse.ArgumentParser]

FINE = 0
BAD_SETTINGS = 2


def add(subparsers: "Subparsers") -> None:
    """Add the command to the parser."""
    parser = subparsers.add_parser(
        "check",
        help="validate a config directory",
        description="Validate plant.toml and gateway.toml. Lists every problem with file, line, field and what would be right; "
        "warnings leave the settings usable.",
        epilog="Exit code: 0 no error, 2 at least one.",
    )
    parser.add_argument("--config", metavar="DIR", type=Path, required=True, help="directory with plant.toml and gateway.toml")
    parser.add_argument("--json", action="store_true", help="print one JSON object instead of lines")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Check, print, and give the exit code."""
    try:
        found = problems(args.config)
        summary = _summary(args.config) if not _errors(found) else None
    except SettingsError as error:
        return _refuse(error, as_json=args.json)
    if args.json:
        print(json.dumps(_document(found, summary), ensure_ascii=False))
    else:
        for problem in found:
            print(problem)
        for row in (*summary["planetary"], *summary["gears"], *summary["motors"]) if summary is not None else ():
            print(told(row))
        for machine, shafts in summary["shafts"].items() if summary is not None else ():
            print(f"{machine}: shafts, in multiples of its own: {', '.join(f'{name} {x:.5g}' for name, x in shafts.items())}")
        print(_last_line(found, summary))
    return BAD_SETTINGS if _errors(found) else FINE


def _refuse(error: SettingsError, *, as_json: bool) -> int:
    """Say that there is nothing to check."""
    if as_json:
        problem = Problem(error.where, 1, "directory", error.what, error.hint)
        print(json.dumps(_document((problem,), None), ensure_ascii=False))
    else:
        print(error, file=sys.stderr)
    return BAD_SETTINGS


def _errors(found: Sequence[Problem]) -> int:
    return sum(problem.is_error for problem in found)


def _summary(directory: Path) -> dict[str, Any]:
    """Count what the settings hold, and say where the limits come from."""
    plant, gateway = load_all(directory)
    return {
        "machines": len(plant.machines),
        "points": len(plant.points),
        "sensors": len(plant.sensors),
        "limits_from": _origins(plant),
        "planetary": planetary_rows(plant.machines),
        "gears": gear_rows(plant.machines),
        "motors": motor_rows(plant.machines),
        "shafts": {one.id: shaft_orders(one.train) for one in plant.machines if one.train.planetary and one.train.gears},
        "fingerprint": fingerprint(plant, gateway),
    }


def _origins(plant: Plant) -> dict[str, int]:
    """Count the limits of each origin, most frequent first."""
    counts = Counter(limit.origin for point in plant.points.values() for limit in point.limits)
    return dict(counts.most_common())


def _document(found: Sequence[Problem], summary: dict[str, Any] | None) -> dict[str, Any]:
    errors = _errors(found)
    return {
        "ok": errors == 0,
        "errors": errors,
        "warnings": len(found) - errors,
        "problems": [asdict(problem) for problem in found],
        "summary": summary,
    }


def _last_line(found: Sequence[Problem], summary: dict[str, Any] | None) -> str:
    errors = _errors(found)
    counts = ", ".join(_count(number, word) for number, word in ((errors, "error"), (len(found) - errors, "warning")) if number)
    if summary is None:
        return counts
    words = ", ".join(_count(summary[f"{word}s"], word) for word in ("machine", "point", "sensor"))
    origins = "; ".join(f"{origin} ({number})" for origin, number in summary["limits_from"].items()) or "nowhere"
    text = f"{words}, limits from {origins}"
    return f"{text}; {counts}" if counts else text


def _count(number: int, word: str) -> str:
    return f"{number} {word}" if number == 1 else f"{number} {word}s"
