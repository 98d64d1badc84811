"""Where each machine stands on the plant screen: how many columns, how much of each machine, which pages."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple, TypeAlias


@dataclass(frozen=True, slots=True)
class Form:
    """How much is said of each machine."""

    name: str
    lines: int
    """Rows a machine takes."""
    gap: int
    """Empty rows after each machine."""
    rest: int
    """Cells it needs beside the machine's name."""


TALL = Form("tall", 2, 1, 64)
FULL = Form("full", 1, 0, 88)
MEDIUM = Form("medium", 1, 0, 44)
COMPACT = Form("compact", 1, 0, 17)
GUTTER = 2
"""Empty cells between two columns."""


class Heading(NamedTuple):
    """The line above an area's machines."""

    area: str
    title: str
    continued: bool = False


class Place(NamedTuple):
    """One of the rows of a machine."""

    machine: str
    line: int


Slot: TypeAlias = Heading | Place | None


@dataclass(frozen=True, slots=True)
class Group:
    """Machines that stand together under one heading."""

    area: str
    title: str
    machines: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Grid:
    """The whole arrangement: pages of columns of slots, each column `height` slots long at most."""

    form: Form
    columns: int
    column_width: int
    height: int
    pages: tuple[tuple[tuple[Slot, ...], ...], ...]

    def slot(self, page: int, column: int, line: int) -> Slot:
        """Give what stands at one place."""
        columns = self.pages[page] if page < len(self.pages) else ()
        slots = columns[column] if column < len(columns) else ()
        return slots[line] if line < len(slots) else None

    def find(self, machine: str) -> tuple[int, int, int] | None:
        """Give page, column and line of a machine's first row."""
        for page, columns in enumerate(self.pages):
            for column, slots in enumerate(columns):
                for line, slot in enumerate(slots):
                    if slot == Place(machine, 0):
                        return page, column, line
        return None

    def order(self) -> list[str]:
        """List the machines in the order in which they are read."""
        return [
            slot.machine
            for page in self.pages
            for column in page
            for slot in column
            if isinstance(slot, Place) and not slot.line
        ]


def arrange(groups: Sequence[Group], width: int, height: int, name_width: int) -> Grid:
    """Choose the richest form that shows every machine at once; where none does, pages of the compact one."""
    rows = max(1, height)
    for form in (TALL, FULL, MEDIUM, COMPACT):
        most = _columns(width, form.rest + name_width)
        for columns in range(1, most + 1):
            packed = _pack(groups, form, columns, rows)
            if packed is not None:
                return _grid(form, columns, width, rows, packed)
    columns = max(1, _columns(width, COMPACT.rest + name_width))
    return _grid(COMPACT, columns, width, rows, _flow(groups, COMPACT, rows))


def _columns(width: int, each: int) -> int:
    return (width + GUTTER) // (each + GUTTER)


def _grid(form: Form, columns: int, width: int, rows: int, packed: list[tuple[Slot, ...]]) -> Grid:
    column_width = (width - GUTTER * (columns - 1)) // columns
    pages = tuple(tuple(packed[start : start + columns]) for start in range(0, len(packed), columns)) or ((),)
    return Grid(form, columns, column_width, rows, pages)


def _length(group: Group, form: Form) -> int:
    return bool(group.title) + len(group.machines) * (form.lines + form.gap) - form.gap


def _pack(groups: Sequence[Group], form: Form, columns: int, rows: int) -> list[tuple[Slot, ...]] | None:
    """Set whole areas into columns of equal height as low as possible; if that fails, let areas run over."""
    lengths = [_length(group, form) for group in groups]
    if sum(lengths) > columns * rows:
        return None
    for limit in range(max([*lengths, -(-sum(lengths) // columns), 1]), rows + 1):
        packed: list[list[Slot]] = []
        for group, length in zip(groups, lengths, strict=True):
            if not packed or len(packed[-1]) + 1 + length > limit:
                packed.append([])
            packed[-1].extend([*([None] if packed[-1] else []), *_slots(group, form)])
        if len(packed) <= columns:
            return [tuple(column) for column in packed]
    flowed = _flow(groups, form, rows)
    return flowed if len(flowed) <= columns else None


def _slots(group: Group, form: Form) -> list[Slot]:
    slots: list[Slot] = [Heading(group.area, group.title)] if group.title else []
    for machine in group.machines:
        slots.extend([*(Place(machine, line) for line in range(form.lines)), *([None] * form.gap)])
    return slots[: len(slots) - form.gap] if group.machines else slots


def _flow(groups: Sequence[Group], form: Form, rows: int) -> list[tuple[Slot, ...]]:
    """Fill columns to the brim; an area that runs over is named again at the head of the next column."""
    packed: list[list[Slot]] = [[]]
    for group in groups:
        headed = 1 if group.title and rows > form.lines else 0
        for index, machine in enumerate(group.machines):
            column = packed[-1]
            needs = form.lines + (headed + bool(column) if index == 0 else form.gap)
            if len(column) + needs > rows and column:
                packed.append(column := [])
            starts = not column or index == 0
            if column:
                column.extend([None] * (1 if index == 0 else form.gap))
            if starts and headed:
                column.append(Heading(group.area, group.title, continued=index > 0))
            column.extend(Place(machine, line) for line in range(form.lines))
    return [tuple(column[:rows]) for column in packed if column]
