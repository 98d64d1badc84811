"""Settings files written line by line, so that a test can count the lines it expects."""

from collections.abc import Iterable
from pathlib import Path

from edgemon.model.gateway import Gateway
from edgemon.model.machine import Plant
from edgemon.settings.load import load_all, problems
from edgemon.settings.problem import Problem

SITE = '[site]\nid = "saltmarsh"\n'
MACHINE = '[[machine]]\nid = "hp-pump-1"\narea = "ro-hall"\nseverity_class = "iso20816-3/group2/rigid"\nrpm = 2975\n'
POINT = '[[machine.point]]\nid = "motor-de-h"\nsensor = "s-0001"\naxis = "x"\n'
LIMIT = '[[machine.point.limit]]\nlevel = "velocity_rms"\nunit = "mm/s"\n'
PLANT = SITE + MACHINE + POINT


def write(directory: Path, plant: str = PLANT, gateway: str = "") -> Path:
    """Write both files and give their directory."""
    (directory / "plant.toml").write_text(plant, "utf-8")
    (directory / "gateway.toml").write_text(gateway, "utf-8")
    return directory


def found(directory: Path, plant: str = PLANT, gateway: str = "") -> tuple[Problem, ...]:
    """Give everything doubtful in two files."""
    return problems(write(directory, plant, gateway))


def loaded(directory: Path, plant: str = PLANT, gateway: str = "") -> tuple[Plant, Gateway]:
    """Load two files."""
    return load_all(write(directory, plant, gateway))


def only(found_ones: Iterable[Problem]) -> Problem:
    """Give the one problem; fail with all of them where there is not exactly one."""
    listed = list(found_ones)
    assert len(listed) == 1, "\n".join(map(str, listed)) or "no problem found"
    return listed[0]


def line_of(text: str, part: str) -> int:
    """Give the line (from 1) on which `part` first stands."""
    return text[: text.index(part)].count("\n") + 1
