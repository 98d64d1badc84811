"""Reading TOML tables with errors that name the file, the table and the field."""

import math
from itertools import pairwise
from typing import Any, TypeVar

from simulators.errors import SimulatorError

Choice = TypeVar("Choice", bound=str)


class Table:
    """One TOML table: hands out its fields by kind, and refuses what is left over.

    Parameters
    ----------
    fields : dict
        The table as `tomllib` gives it.
    where : str
        File and path of the table, for errors.
    """

    def __init__(self, fields: dict[str, Any], where: str) -> None:
        self._left = dict(fields)
        self._where = where

    def error(self, name: str, what: str) -> SimulatorError:
        """Make an error about a field."""
        return SimulatorError(what, f"{self._where}: {name}")

    def finish(self) -> None:
        """Refuse fields that nobody asked for: a slip of the pen must not pass in silence."""
        if self._left:
            raise self.error(next(iter(self._left)), "no such field here")

    def _take(self, name: str, default: Any) -> Any:
        """Take a field out; without it, the default, and an error where there is none."""
        if name in self._left:
            return self._left.pop(name)
        if default is None:
            raise self.error(name, "is missing")
        return default

    def text(self, name: str, default: str | None = None) -> str:
        """Take a text."""
        value = self._take(name, default)
        if not isinstance(value, str):
            raise self.error(name, f"must be a text, not {value!r}")
        return value

    def texts(self, name: str) -> tuple[str, ...]:
        """Take a list of texts, empty where it is missing."""
        value = self._take(name, [])
        if not isinstance(value, list) or not all(isinstance(item, str) for item in value):
            raise self.error(name, f"must be a list of texts, not {value!r}")
        return tuple(value)

    def choice(self, name: str, allowed: tuple[Choice, ...], default: Choice | None = None) -> Choice:
        """Take one of the texts allowed."""
        value = self._take(name, default)
        for item in allowed:
            if value == item:
                return item
        raise self.error(name, f"must be one of {', '.join(allowed)}, not {value!r}")

    def flag(self, name: str, default: bool) -> bool:
        """Take true or false."""
        value = self._take(name, default)
        if not isinstance(value, bool):
            raise self.error(name, f"must be true or false, not {value!r}")
        return value

    def number(
        self,
        name: str,
        default: float | None = None,
        *,
        above: float = -math.inf,
        at_least: float = -math.inf,
        at_most: float = math.inf,
    ) -> float:
        """Take a number within its bounds."""
        value = self._take(name, default)
        if not _is_number(value):
            raise self.error(name, f"must be a number, not {value!r}")
        if value <= above:
            raise self.error(name, f"must be above {above:g}, not {value!r}")
        if value < at_least:
            raise self.error(name, f"must be at least {at_least:g}, not {value!r}")
        if value > at_most:
            raise self.error(name, f"must be at most {at_most:g}, not {value!r}")
        return float(value)

    def whole(self, name: str, default: int, *, at_least: int) -> int:
        """Take a whole number."""
        value = self._take(name, default)
        if not isinstance(value, int) or isinstance(value, bool) or value < at_least:
            raise self.error(name, f"must be a whole number of at least {at_least}, not {value!r}")
        return value

    def spans(self, name: str) -> tuple[tuple[float, float], ...]:
        """Take a list of [from, to], empty where it is missing; `inf` is allowed as an end."""
        pairs = self._pairs(name, ())
        if any(start >= end for start, end in pairs):
            raise self.error(name, f"each span must end after it starts, not {pairs!r}")
        return pairs

    def knots(self, name: str, default: tuple[tuple[float, float], ...]) -> tuple[tuple[float, float], ...]:
        """Take a course over time: a list of [time, value] in order of time."""
        pairs = self._pairs(name, default)
        if not pairs or any(later[0] <= earlier[0] for earlier, later in pairwise(pairs)):
            raise self.error(name, f"must be [time, value] pairs in order of time, not {pairs!r}")
        return pairs

    def _pairs(self, name: str, default: tuple[tuple[float, float], ...]) -> tuple[tuple[float, float], ...]:
        """Take a list of pairs of numbers."""
        value = self._take(name, [list(pair) for pair in default])
        if not isinstance(value, list):
            raise self.error(name, f"must be a list of pairs of numbers, not {value!r}")
        for pair in value:
            if not isinstance(pair, list) or len(pair) != 2 or not all(_is_number(item) for item in pair):
                raise self.error(name, f"must be a list of pairs of numbers, not {value!r}")
        return tuple((float(pair[0]), float(pair[1])) for pair in value)

    def table(self, name: str, default: dict[str, Any] | None = None) -> "Table":
        """Take a table within."""
        value = self._take(name, default)
        if not isinstance(value, dict):
            raise self.error(name, f"must be a table, not {value!r}")
        return Table(value, f"{self._where}: {name}")

    def tables(self, name: str) -> list["Table"]:
        """Take a list of tables; each is named by its id or its place."""
        value = self._take(name, [])
        if not isinstance(value, list) or not all(isinstance(item, dict) for item in value):
            raise self.error(name, "must be a list of tables")
        return [
            Table(item, f"{self._where}: {name} {item.get('id', item.get('title', k + 1))}") for k, item in enumerate(value)
        ]


def _is_number(value: object) -> bool:
    """Say whether it is a number (true and false are none, nor is NaN)."""
    return isinstance(value, int | float) and not isinstance(value, bool) and not math.isnan(value)
