"""The train of a machine in one line: what stands on the shaft, in the points' order, and how each of its points is."""

from collections.abc import Sequence
from dataclasses import dataclass

from edgemon.board.theme import Look, Role
from edgemon.board.view import status
from edgemon.board.view.cells import Row, Span, fit_row, row_width, safe, select, width_of
from edgemon.model.snapshot import MachineView, PointView

ENDS = frozenset({"DE", "NDE", "input", "output", "in", "out"})
"""Words with which the place on a component begins: drive end, non-drive end, input and output shaft."""
_SHORT = {"horizontal": "h", "vertical": "v", "axial": "a", "input": "in", "output": "out"}
_SHAFT = 4


@dataclass(frozen=True, slots=True)
class Component:
    """One thing on the shaft, and its points."""

    name: str
    points: tuple[tuple[PointView, str], ...]
    """Each with its place in short: `DE h`."""


def components(machine: MachineView) -> list[Component]:
    """Sort the points by what they stand on, from their names: `Motor DE horizontal` is on the motor."""
    found: dict[str, list[tuple[PointView, str]]] = {}
    for point in machine.points:
        words = safe(point.name).split()
        at = next((number for number, word in enumerate(words) if word in ENDS and number), len(words))
        name = " ".join(words[:at]) or safe(point.point)
        place = " ".join(_SHORT.get(word, word) for word in words[at:])
        found.setdefault(name, []).append((point, place or _SHORT.get(point.direction, "")))
    return [Component(name, tuple(points)) for name, points in found.items()]


def train(machine: MachineView, selected: str, look: Look, width: int) -> list[Row]:
    """Draw the train: names above, points below; marks alone where there is no room; nothing where that is too much."""
    parts = components(machine)
    for with_places in (True, False):
        blocks = [_block(part, selected, look, with_places) for part in parts]
        needed = 2 + sum(max(row_width(tuple(block)), width_of(part.name)) for part, block in zip(parts, blocks, strict=True))
        if parts and needed + _SHAFT * (len(parts) - 1) <= width:
            return _drawn(parts, blocks, look, width)
    return []


def _block(part: Component, selected: str, look: Look, with_places: bool) -> list[Span]:
    spans = [Span("[", Role.RULE)]
    for point, place in part.points:
        calling = any(status.calls(alarm) for alarm in point.alarms)
        mark = status.tag(status.of_point(point), look, calling, status.is_unsure(point.state, point.quality))
        shown = [*mark, Span(f"{place} ", Role.BRIGHT if point.point == selected else Role.DIM)] if with_places else [*mark]
        spans.extend(select(tuple(shown)) if point.point == selected else shown)
    return [*spans, Span("]", Role.RULE)]


def _drawn(parts: Sequence[Component], blocks: Sequence[list[Span]], look: Look, width: int) -> list[Row]:
    names, line = [Span(" ")], [Span(" ")]
    shaft = look.glyphs.fill * _SHAFT
    for number, (part, block) in enumerate(zip(parts, blocks, strict=True)):
        room = max(row_width(tuple(block)), width_of(part.name))
        before = _SHAFT if number else 0
        names.append(Span(f"{' ' * before}{part.name}{' ' * (room - width_of(part.name))}", Role.DIM))
        line += [Span(shaft if number else "", Role.RULE), *block]
        line.append(Span((look.glyphs.fill if number + 1 < len(parts) else " ") * (room - row_width(tuple(block))), Role.RULE))
    return [fit_row(names, width, look.glyphs.ellipsis), fit_row(line, width, look.glyphs.ellipsis)]
