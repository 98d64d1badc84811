"""Fields of a scenario as people write them: each is read with its place, so that what is wrong is named."""

from collections.abc import Iterable, Mapping, Sequence
from math import isfinite
from typing import Any

from edgemon.errors import SettingsError


class Fields:
    """A table of fields, with its place for messages."""

    def __init__(self, raw: Any, place: str, known: Iterable[str], aliases: Mapping[str, str] | None = None) -> None:
        self.place = place
        if not isinstance(raw, Mapping):
            raise SettingsError("not a table of fields", place, "")
        self.raw = {(aliases or {}).get(name, name): value for name, value in raw.items()}
        self.known = tuple(known)

    def check_names(self) -> None:
        """Refuse a field that nobody knows."""
        for field in self.raw:
            if field not in self.known:
                raise self.wrong(str(field), "unknown field", f"known: {', '.join(self.known)}")

    def wrong(self, field: str, what: str, hint: str = "") -> SettingsError:
        """Make the error that names a field."""
        return SettingsError(what, f"{self.place}: {field}", hint)

    def inner(self, field: str, known: Iterable[str]) -> "Fields":
        """Read a table within the table."""
        one = Fields(self.raw[field], f"{self.place}: {field}", known)
        one.check_names()
        return one

    def rows(self, field: str) -> Sequence[Any]:
        """Read a list."""
        rows = self.raw.get(field, ())
        if isinstance(rows, (str, Mapping)) or not isinstance(rows, Sequence):
            raise self.wrong(field, "not a list", "write [...]")
        return rows

    def row(self, field: str, row: Any, least: int, most: int, shape: str) -> Sequence[Any]:
        """Read a list of so many parts."""
        if isinstance(row, (str, Mapping)) or not isinstance(row, Sequence) or not least <= len(row) <= most:
            raise self.wrong(field, f"not {shape}: {row!r}")
        return row

    def pairs(self, field: str, rows: Sequence[Any], shape: str) -> tuple[tuple[float, float], ...]:
        """Read a list of pairs of numbers."""
        found = [self.row(f"{field}[{number}]", row, 2, 2, shape) for number, row in enumerate(rows)]
        return tuple(
            (self.finite(f"{field}[{number}]", one[0]), self.finite(f"{field}[{number}]", one[1]))
            for number, one in enumerate(found)
        )

    def finite(self, field: str, value: Any, least: float | None = None) -> float:
        """Read a number."""
        if isinstance(value, bool) or not isinstance(value, (int, float)) or not isfinite(value):
            raise self.wrong(field, f"not a number: {value!r}")
        if least is not None and value < least:
            raise self.wrong(field, f"{value!r} is too small", f"{least:g} or more")
        return float(value)

    def number(self, field: str, default: float, least: float | None = None) -> float:
        """Read the number of a field, or take the default where it is not there."""
        return self.finite(field, self.raw[field], least) if field in self.raw else default

    def positive(self, field: str, default: float) -> float:
        """Read likewise a number above zero."""
        value = self.number(field, default, least=0.0)
        if value == 0.0:
            raise self.wrong(field, "must be above zero")
        return value

    def table(self, field: str, defaults: Mapping[str, float]) -> dict[str, float]:
        """Read a table of numbers from 0."""
        given = self.raw.get(field, {})
        if not isinstance(given, Mapping):
            raise self.wrong(field, f"not a table: {given!r}", f"write {{ {', '.join(f'{name} = ...' for name in defaults)} }}")
        for name in given:
            if name not in defaults:
                raise self.wrong(f"{field}.{name}", "unknown field", f"known: {', '.join(defaults)}")
        return {
            name: self.finite(f"{field}.{name}", given[name], 0.0) if name in given else value
            for name, value in defaults.items()
        }

    def word(self, field: str, word: Any, known: Sequence[str]) -> str:
        """Read one of the words known."""
        if not isinstance(word, str) or word not in known:
            raise self.wrong(field, f"unknown word {word!r}", f"known: {', '.join(known)}")
        return word

    def text(self, field: str, default: str) -> str:
        """Read text that is not empty, or take the default."""
        value = self.raw.get(field, default)
        if not isinstance(value, str) or not value:
            raise self.wrong(field, f"not a text: {value!r}")
        return value
