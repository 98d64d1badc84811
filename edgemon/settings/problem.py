"""What is wrong with a settings file, where exactly, and what would be right."""

import difflib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from edgemon.model.text import clean
from edgemon.settings.lines import KeyPath, Lines


@dataclass(frozen=True, slots=True)
class Problem:
    """One doubt about one field of one file."""

    file: str
    line: int
    """From 1."""
    field: str
    """The key, with the ids of the tables around it: `machine[hp-pump-1].point[motor-de-h].axis`."""
    what: str
    hint: str
    """What would be right."""
    is_error: bool = True
    """False: the settings can be used, but an engineer would ask."""

    def __str__(self) -> str:
        """Write `file:line: field: what (hint)`."""
        word = "" if self.is_error else "warning: "
        hint = f" ({self.hint})" if self.hint else ""
        return f"{self.file}:{self.line}: {word}{self.field}: {self.what}{hint}"


class Report:
    """Collects the problems of one file."""

    def __init__(self, file: str, lines: Lines, raw: Mapping[str, Any]) -> None:
        self.file = file
        self._lines = lines
        self._raw = raw
        self._problems: list[Problem] = []
        self._blamed: set[KeyPath] = set()

    @property
    def problems(self) -> tuple[Problem, ...]:
        """Give all problems in the order of the file."""
        return tuple(sorted(self._problems, key=lambda problem: problem.line))

    def error(self, path: KeyPath, what: str, hint: str = "") -> None:
        """Note what makes the file unusable."""
        self._note(path, what, hint, is_error=True)

    def warning(self, path: KeyPath, what: str, hint: str = "") -> None:
        """Note what an engineer would ask about."""
        self._note(path, what, hint, is_error=False)

    def blame(self, path: KeyPath) -> None:
        """Remember that something was said about a key, so that nothing is said twice."""
        self._blamed.add(path)

    def is_blamed(self, path: KeyPath) -> bool:
        """Say whether the key, or a table around it, has been found unusable already."""
        return any(path[:length] in self._blamed for length in range(1, len(path) + 1))

    def line(self, path: KeyPath) -> int:
        """Give the line of a key."""
        return self._lines.of(path)

    def _note(self, path: KeyPath, what: str, hint: str, *, is_error: bool) -> None:
        self._problems.append(Problem(self.file, self.line(path), self._field(path), what, hint, is_error))

    def _field(self, path: KeyPath) -> str:
        """Write a key path with ids, or with a number from 1 where an element has no id."""
        text = ""
        here: Any = self._raw
        for part in path:
            here = step(here, part)
            if isinstance(part, str):
                text += f".{shown(part)}" if text else shown(part)
            else:
                text += f"[{name_of(here) or f'#{part + 1}'}]"
        return text or "file"


def step(here: Any, part: str | int) -> Any:
    """Go one step down in parsed TOML; None where there is nothing."""
    if isinstance(part, str):
        return here.get(part) if isinstance(here, dict) else None
    return here[part] if isinstance(here, list) and part < len(here) else None


def name_of(table: Any) -> str:
    """Give what names an element of an array: its id, its level or its name; empty where it has none."""
    if not isinstance(table, dict):
        return ""
    name = table.get("id") or table.get("level") or table.get("name")
    return shown(name) if isinstance(name, str) else ""


def shown(text: str) -> str:
    """Make text of a file safe and short enough for a message."""
    return clean(text)


def nearest(name: str, known: Iterable[str]) -> str | None:
    """Give the known name that looks most like `name`; None where none does."""
    found = difflib.get_close_matches(name, list(known), n=1, cutoff=0.6)
    return found[0] if found else None


def suggest(name: str, known: Iterable[str], intro: str = "known") -> str:
    """Write a hint: the nearest known name where there is one, and all that are known."""
    names = list(known)
    near = nearest(name, names)
    listing = f"{intro}: {', '.join(names)}"
    return f'did you mean "{near}"? {listing}' if near else listing
