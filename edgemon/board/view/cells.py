"""Rows of coloured text that are exactly as wide as asked, whatever the data holds."""

import unicodedata
from collections.abc import Iterable
from functools import lru_cache
from typing import NamedTuple, TypeAlias

from rich.cells import cell_len

from edgemon.board.theme import Role
from edgemon.model.text import REPLACEMENT, clean


class Span(NamedTuple):
    """A piece of one row in one role; selected pieces stand on the raised ground."""

    text: str
    role: Role = Role.TEXT
    selected: bool = False


Row: TypeAlias = tuple[Span, ...]


@lru_cache(maxsize=4096)
def safe(text: str, longest: int = 64) -> str:
    """Make text from outside safe to show: no controls, no bidirectional marks, and nothing that takes no cell of its own.

    Accents are composed first, so that they stay; a mark that cannot be composed shows as U+FFFD, for a row whose
    width terminals disagree about would shift the state of the machine beside it.
    """
    composed = clean(unicodedata.normalize("NFC", text[: 2 * longest]), longest)
    if composed.isascii():
        return composed
    return "".join(char if cell_len(char) else REPLACEMENT for char in composed)


@lru_cache(maxsize=8192)
def width_of(text: str) -> int:
    """Give the cells a text takes: the sum over its characters, as terminals without clusters count."""
    return len(text) if text.isascii() else sum(cell_len(char) for char in text)


@lru_cache(maxsize=8192)
def plain(text: str) -> str:
    """Write a text with ASCII only and as wide as it was: accents left out, `?` for what has no letter of its own."""
    if text.isascii():
        return text
    return "".join(_plain(char) for char in text)


def _plain(char: str) -> str:
    base, wide = unicodedata.normalize("NFKD", char)[:1], cell_len(char)
    return char if char.isascii() else base if base.isascii() and wide == 1 else "?" * wide


def fit(text: str, width: int, ellipsis: str = "…", right: bool = False) -> str:
    """Cut or pad a text to a width in cells."""
    if width <= 0:
        return ""
    long = width_of(text)
    if long > width:
        room, kept = width - 1, ""
        for char in text:
            room -= cell_len(char)
            if room < 0:
                break
            kept += char
        text = kept + ellipsis
        long = width_of(text)
    blank = " " * (width - long)
    return blank + text if right else text + blank


def row_width(row: Row) -> int:
    """Give the cells a row takes."""
    return sum(width_of(span.text) for span in row)


def row_text(row: Row) -> str:
    """Give a row without its roles."""
    return "".join(span.text for span in row)


def fit_row(row: Iterable[Span], width: int, ellipsis: str = "…", ground: Role = Role.TEXT) -> Row:
    """Cut or pad a row to a width in cells."""
    fitted: list[Span] = []
    room = width
    for span in row:
        long = width_of(span.text)
        if long > room:
            if room > 0:
                fitted.append(span._replace(text=fit(span.text, room, ellipsis)))
            return tuple(fitted)
        if span.text:
            fitted.append(span)
            room -= long
    if room > 0:
        fitted.append(Span(" " * room, ground, fitted[-1].selected if fitted and ground is Role.TEXT else False))
    return tuple(fitted)


def select(row: Row) -> Row:
    """Show a row as the selected one."""
    return tuple(span._replace(selected=True) for span in row)


def blank(width: int) -> Row:
    """Give an empty row."""
    return (Span(" " * width),)


def sides(left: Iterable[Span], right: Iterable[Span], width: int, ground: Role = Role.TEXT, ellipsis: str = "…") -> Row:
    """Set one group of spans left and one right; where both do not fit, the left one is cut."""
    end = tuple(right)
    room = max(0, width - row_width(end))
    return fit_row((*fit_row(left, room, ellipsis, ground), *end), width, ellipsis, ground)


def wrap(text: str, width: int) -> list[str]:
    """Break a text at spaces into lines of at most `width` cells; a longer word is broken anywhere."""
    lines: list[str] = []
    line = ""
    for word in text.split():
        while width_of(word) > width:
            head = ""
            while word and width_of(head + word[0]) <= width - (width_of(line) + 1 if line else 0):
                head, word = head + word[0], word[1:]
            if not head and not line:
                head, word = "?", word[1:]
            lines.append(f"{line} {head}".strip() if line else head)
            line = ""
        if line and width_of(line) + 1 + width_of(word) > width:
            lines.append(line)
            line = word
        else:
            line = f"{line} {word}" if line else word
    return [*lines, line] if line else lines
