"""On which line of a TOML text a key stands: a small scanner, for a text that is known to be valid TOML.

The parser of the standard library gives values without their places; every message to a person needs the place.
"""

import contextlib
import tomllib
from collections.abc import Mapping
from typing import TypeAlias

KeyPath: TypeAlias = tuple[str | int, ...]
"""Keys from the top of a file down; the elements of an array are counted from 0: `("machine", 0, "point", 1, "axis")`."""

_BARE_END = frozenset(" \t\r\n.=]#,}")
_SCALAR_END = frozenset(",]}#\r\n")


class Lines:
    """The lines of all keys, tables and array elements of one TOML text."""

    def __init__(self, lines: Mapping[KeyPath, int]) -> None:
        self._lines = lines

    def of(self, path: KeyPath) -> int:
        """Give the line (from 1) of a key path; of the nearest table around it where the key itself is not there."""
        while path and path not in self._lines:
            path = path[:-1]
        return self._lines.get(path, 1)


def find_lines(text: str) -> Lines:
    """Find the line of every key of a valid TOML text; of a text that is not valid, of the keys before its fault."""
    scanner = _Scanner(text.replace("\r\n", "\n"))
    with contextlib.suppress(IndexError, ValueError, KeyError, RecursionError):  # the parser has said what is wrong with it
        scanner.document()
    return Lines(scanner.lines)


class _Scanner:
    """A cursor over the text; Source: TOML v1.0.0."""

    def __init__(self, text: str) -> None:
        self.lines: dict[KeyPath, int] = {}
        self._text = text + "\n"
        self._at = 0
        self._line = 1
        self._counted = 0
        self._arrays: dict[KeyPath, int] = {}

    def document(self) -> None:
        """Scan headers and key-value pairs to the end."""
        table: KeyPath = ()
        self._blank()
        while self._at < len(self._text):
            if self._text.startswith("[[", self._at):
                table = self._array_header()
            elif self._text[self._at] == "[":
                table = self._table_header()
            else:
                self._pair(table)
            self._blank()

    def _here(self) -> int:
        """Give the line of the cursor."""
        self._line += self._text.count("\n", self._counted, self._at)
        self._counted = self._at
        return self._line

    def _blank(self) -> None:
        """Pass over spaces, line ends, commas and comments."""
        while self._at < len(self._text):
            char = self._text[self._at]
            if char == "#":
                self._at = self._text.index("\n", self._at)
            elif char in " \t\r\n,":
                self._at += 1
            else:
                return

    def _spaces(self) -> None:
        while self._text[self._at] in " \t":
            self._at += 1

    def _expect(self, mark: str) -> None:
        if not self._text.startswith(mark, self._at):
            raise ValueError(mark)
        self._at += len(mark)

    def _key(self) -> str:
        """Read one part of a key: bare or quoted."""
        start = self._at
        if self._text[start] in "\"'":
            self._string()
            return str(tomllib.loads(f"key = {self._text[start : self._at]}")["key"])
        while self._text[self._at] not in _BARE_END:
            self._at += 1
        if self._at == start:
            raise ValueError("empty key")
        return self._text[start : self._at]

    def _keys(self) -> tuple[str, ...]:
        """Read a dotted key."""
        self._spaces()
        keys = [self._key()]
        self._spaces()
        while self._text[self._at] == ".":
            self._at += 1
            self._spaces()
            keys.append(self._key())
            self._spaces()
        return tuple(keys)

    def _table_header(self) -> KeyPath:
        line = self._here()
        self._expect("[")
        path = self._enter((), self._keys(), line)
        self._expect("]")
        self.lines[path] = line
        return path

    def _array_header(self) -> KeyPath:
        line = self._here()
        self._expect("[[")
        *outer, last = self._keys()
        self._expect("]]")
        array = (*self._enter((), tuple(outer), line), last)
        count = self._arrays.get(array, 0)
        self._arrays[array] = count + 1
        self.lines.setdefault(array, line)
        self.lines[(*array, count)] = line
        return (*array, count)

    def _enter(self, path: KeyPath, keys: tuple[str, ...], line: int) -> KeyPath:
        """Go down from a path; an array of tables stands for its newest element."""
        for key in keys:
            path = (*path, key)
            self.lines.setdefault(path, line)
            if path in self._arrays:
                path = (*path, self._arrays[path] - 1)
        return path

    def _pair(self, table: KeyPath) -> None:
        line = self._here()
        keys = self._keys()
        self._expect("=")
        path = self._enter(table, keys, line)
        self._spaces()
        self._value(path)

    def _value(self, path: KeyPath) -> None:
        char = self._text[self._at]
        if char in "\"'":
            self._string()
        elif char == "[":
            self._array(path)
        elif char == "{":
            self._inline_table(path)
        else:
            while self._text[self._at] not in _SCALAR_END:
                self._at += 1

    def _array(self, path: KeyPath) -> None:
        self._expect("[")
        self._blank()
        count = 0
        while self._text[self._at] != "]":
            self.lines[(*path, count)] = self._here()
            self._value((*path, count))
            count += 1
            self._blank()
        self._at += 1

    def _inline_table(self, path: KeyPath) -> None:
        self._expect("{")
        self._blank()
        while self._text[self._at] != "}":
            self._pair(path)
            self._blank()
        self._at += 1

    def _string(self) -> None:
        """Pass over a string of any of the four kinds."""
        quote = self._text[self._at]
        mark = quote * 3 if self._text.startswith(quote * 3, self._at) else quote
        self._at += len(mark)
        while not self._text.startswith(mark, self._at):
            self._at += 2 if self._text[self._at] == "\\" and quote == '"' else 1
            if self._at >= len(self._text):
                raise ValueError("string without end")
        self._at += len(mark)
        while len(mark) == 3 and self._text[self._at] == quote:  # up to two quotes may stand before the closing three
            self._at += 1
