"""All doubts about both files at once, and the model values where nothing is wrong; the disk is behind `Disk`."""

import re
import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from edgemon.settings.check_gateway import check_gateway
from edgemon.settings.check_plant import check_plant
from edgemon.settings.check_server import Disk
from edgemon.settings.lines import Lines, find_lines
from edgemon.settings.problem import Problem, Report
from edgemon.settings.schema import GatewayFile, PlantFile
from edgemon.settings.shape import fit

_PLACE = re.compile(r"\s*\(at (?:line (\d+), column \d+|end of document)\)$")


@dataclass(frozen=True, slots=True)
class Checked:
    """Both files as they were understood, and everything doubtful in them; the files count only where no error is."""

    plant: PlantFile
    gateway: GatewayFile
    problems: tuple[Problem, ...]

    @property
    def is_usable(self) -> bool:
        """Say whether there is no error; warnings do not count."""
        return not any(problem.is_error for problem in self.problems)


def check(plant: tuple[str, bytes], gateway: tuple[str, bytes], directory: Path, disk: Disk) -> Checked:
    """Check both files, each given as its name for messages and its bytes.

    Parameters
    ----------
    plant, gateway : tuple of str and bytes
        Name and content of `plant.toml` and `gateway.toml`.
    directory : Path
        The config directory, absolute; paths in `gateway.toml` are relative to it.
    disk : Disk
        Answers questions about files and groups of the machine.
    """
    plant_report, plant_is_toml = _open(*plant)
    plant_file = PlantFile()
    if plant_is_toml is not None:
        plant_file = fit(PlantFile, plant_is_toml, plant_report, gateway[0], set(GatewayFile.model_fields))
        check_plant(plant_file, plant_report)
    gateway_report, gateway_is_toml = _open(*gateway)
    gateway_file = GatewayFile()
    if gateway_is_toml is not None:
        gateway_file = fit(GatewayFile, gateway_is_toml, gateway_report, plant[0], set(PlantFile.model_fields))
        check_gateway(gateway_file, directory, disk, gateway_report)
    return Checked(plant_file, gateway_file, plant_report.problems + gateway_report.problems)


def _open(name: str, content: bytes) -> tuple[Report, dict[str, Any] | None]:
    """Parse one file; where it is no TOML, say in which line."""
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        return _unreadable(name, line, "is not UTF-8 text", "save the file as UTF-8")
    try:
        raw = tomllib.loads(text)
    except (ValueError, RecursionError) as error:
        line, what = _place(str(error), text)
        return _unreadable(name, line, f"is not TOML: {what}", "see the line named, or the one before it")
    return Report(name, find_lines(text), raw), raw


def _unreadable(name: str, line: int, what: str, hint: str) -> tuple[Report, None]:
    report = Report(name, Lines({(): line}), {})
    report.error((), what, hint)
    return report, None


def _place(message: str, text: str) -> tuple[int, str]:
    """Take the line out of the parser's message."""
    found = _PLACE.search(message)
    what = _PLACE.sub("", message)
    if found is None:
        return 1, what
    last = text.rstrip().count("\n") + 1
    return int(found[1]) if found[1] else last, what[:1].lower() + what[1:]
