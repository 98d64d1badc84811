"""Reads the config directory: the only file reader of the settings."""

import grp
import hashlib
import os
import shutil
import stat
import tomllib
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from edgemon.errors import SettingsError
from edgemon.model.gateway import Gateway
from edgemon.model.machine import Plant
from edgemon.model.secret import Secret
from edgemon.settings.address import read_address
from edgemon.settings.check import Checked, check
from edgemon.settings.problem import Problem, shown
from edgemon.settings.resolve import resolve_gateway, resolve_plant

PLANT_FILE = "plant.toml"
GATEWAY_FILE = "gateway.toml"
MACHINE_ID = Path("/etc/machine-id")
"""Source: machine-id(5), which asks that the id be shown hashed only."""


def load_all(directory: Path) -> tuple[Plant, Gateway]:
    """Read `plant.toml` and `gateway.toml` of a config directory.

    Raises
    ------
    SettingsError
        The directory or a file is not there, or something in them is wrong; lists everything that is wrong.
    """
    home = directory.resolve()
    checked = _checked(directory)
    if not checked.is_usable:
        raise SettingsError(_listing(checked.problems), str(directory), "edgemon check tells the same, warnings too")
    plant = resolve_plant(checked.plant)
    table = checked.gateway.broker
    address = read_address(table.url) if table.url is not None else None
    password = None if table.password_file is None else _password(home / table.password_file)
    upstream = {one.name: _password(home / one.password_file) for one in checked.gateway.upstream if one.password_file}
    return plant, resolve_gateway(checked.gateway, home, address, password, default_client_id(plant.site), upstream)


def documents(directory: Path) -> dict[str, dict[str, Any]]:
    """Give both files as parsed TOML, of a config directory that `load_all` has just read."""
    return {name: tomllib.loads((directory / name).read_text("utf-8")) for name in (PLANT_FILE, GATEWAY_FILE)}


def load_plant(path: Path) -> Plant:
    """Read one plant file by itself.

    Raises
    ------
    SettingsError
        It cannot be read, or something in it is wrong; lists everything that is wrong.
    """
    try:
        content = path.read_bytes()
    except OSError as error:
        raise SettingsError(f"cannot be read: {_reason(error)}", str(path), "a plant file") from error
    checked = check((str(path), content), (GATEWAY_FILE, b""), path.resolve().parent, MachineDisk())
    wrong = [problem for problem in checked.problems if problem.file == str(path)]
    if any(problem.is_error for problem in wrong):
        raise SettingsError(_listing(wrong), str(path), "edgemon check tells the same of a config directory")
    return resolve_plant(checked.plant)


def problems(directory: Path) -> tuple[Problem, ...]:
    """Give everything doubtful in a config directory, errors and warnings, in the order of the files.

    Raises
    ------
    SettingsError
        There is no such directory.
    """
    return _checked(directory).problems


def fingerprint(plant: Plant, gateway: Gateway) -> str:
    """Give twelve hexadecimal digits that change whenever the settings do; secrets have no part in it."""
    text = f"{plant!r}\n{gateway!r}"
    return hashlib.sha256(text.encode("utf-8", "backslashreplace")).hexdigest()[:12]


def default_client_id(site: str) -> str:
    """Make a client id that stays the same on this machine, of the site and the machine's own id."""
    try:
        machine = MACHINE_ID.read_text("ascii").strip()
    except (OSError, ValueError):
        return f"edgemon-{site}"
    return f"edgemon-{site}-{hashlib.sha256(f'edgemon {machine}'.encode()).hexdigest()[:8]}"


def _checked(directory: Path) -> Checked:
    if not directory.is_dir():
        there = "is not a directory" if directory.exists() else "there is no such directory"
        raise SettingsError(there, str(directory), f"a directory with {PLANT_FILE} and {GATEWAY_FILE}")
    contents = []
    missing = []
    for name in (PLANT_FILE, GATEWAY_FILE):
        path = directory / name
        try:
            contents.append((str(path), path.read_bytes()))
        except OSError as error:
            contents.append((str(path), b""))
            missing.append(
                Problem(str(path), 1, "file", _reason(error), f"{directory} must hold {PLANT_FILE} and {GATEWAY_FILE}")
            )
    checked = check(contents[0], contents[1], directory.resolve(), MachineDisk())
    gone = {problem.file for problem in missing}
    rest = (problem for problem in checked.problems if problem.file not in gone)
    return Checked(checked.plant, checked.gateway, (*missing, *rest))


def _listing(found: Iterable[Problem]) -> str:
    wrong = [str(problem) for problem in found if problem.is_error]
    return "\n".join((f"{len(wrong)} problem{'' if len(wrong) == 1 else 's'} in the settings", *wrong))


def _password(path: Path) -> Secret:
    """Read a password: the file without the end of its last line."""
    try:
        return Secret(path.read_text("utf-8").rstrip("\r\n"))
    except (OSError, ValueError) as error:
        raise SettingsError("the password cannot be read", str(path), _reason(error)) from None


def _reason(error: Exception) -> str:
    """Say in a few words why a file could not be read."""
    return (error.strerror or str(error)).lower() if isinstance(error, OSError) else "not UTF-8 text"


class MachineDisk:
    """The machine this runs on."""

    def why_unreadable(self, path: Path) -> str:
        """Say why a file cannot be read; empty if it can."""
        try:
            with path.open("rb") as file:
                is_empty = not file.read(1)
        except (OSError, ValueError) as error:
            return f"{path} cannot be read: {_reason(error)}"
        return f"{path} is empty" if is_empty else ""

    def is_open(self, path: Path) -> bool:
        """Say whether everybody on the machine may read a file."""
        return bool(path.stat().st_mode & stat.S_IROTH)

    def why_not_creatable(self, path: Path) -> str:
        """Say why a file cannot be made at a path; empty if it can."""
        try:
            if path.is_dir():
                return f"{path} is a directory"
            folder = path.parent
            while not folder.exists():
                folder = folder.parent
        except (OSError, ValueError) as error:
            return f"{path} cannot be looked at: {_reason(error)}"
        if not folder.is_dir():
            return f"{folder} is not a directory"
        if os.access(folder, os.W_OK | os.X_OK) or self.is_read_only(path):
            return ""
        return f"{folder} cannot be written"

    def is_read_only(self, path: Path) -> bool:
        """Say whether a path, there or not, is on a file system that is read-only now."""
        while not path.exists():
            path = path.parent
        return bool(os.statvfs(path).f_flag & os.ST_RDONLY)

    def why_not_runnable(self, program: str) -> str:
        """Say why a program cannot be run; empty if it can."""
        return "" if shutil.which(program) else f"there is no program {shown(program)} that can be run on this machine"

    def has_group(self, name: str) -> bool:
        """Say whether the machine knows a group of users."""
        try:
            grp.getgrnam(name)
        except (KeyError, ValueError):
            return False
        return True
