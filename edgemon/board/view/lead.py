"""Which of a machine's levels stands for it in one row: the one that makes it what it shows as.

That is nearly always the level furthest up to its alarm limit. Where a machine is near a limit, in alert or in alarm by another
level (86 % of an alert limit may be less of its alarm limit than a warm motor), that other one is shown.
"""

from collections.abc import Iterable

from edgemon.board.theme import Show
from edgemon.board.view import figures, status
from edgemon.model.limit import ratio
from edgemon.model.snapshot import LevelView, MachineView, PointView, WorstView, worst_view

_Place = tuple[PointView, LevelView]


def lead(machine: MachineView) -> WorstView | None:
    """Give the level a machine's row shows; None where none has a limit."""
    worst = machine.worst
    decisive = list(_decisive(machine))
    if not decisive or (worst is not None and any((worst.point, worst.level) == (p.point, one.name) for p, one in decisive)):
        return worst
    return _view(max(decisive, key=_reached))


def vibration(machine: MachineView) -> WorstView | None:
    """Give the vibration level furthest on its scale, where the row shows a temperature; else None."""
    shown = lead(machine)
    if shown is None or not status.is_temperature(shown.unit):
        return None
    others = [
        (point, level) for point, level in _levels(machine) if not status.is_temperature(level.unit) and _has_limit(level)
    ]
    return _view(max(others, key=_reached)) if others else None


def trend(machine: MachineView) -> tuple[float, ...]:
    """Give the short trend of the point whose level is shown."""
    shown, worst = lead(machine), machine.worst
    if shown is None or worst is None or shown.point == worst.point:
        return machine.trend
    return next((point.trend for point in machine.points if point.point == shown.point), ())


def _levels(machine: MachineView) -> Iterable[_Place]:
    return ((point, level) for point in machine.points for level in point.levels)


def _decisive(machine: MachineView) -> Iterable[_Place]:
    """Give the levels that make a machine what it shows as; none for a machine that is plainly normal, or not known."""
    if machine.state in ("alert", "alarm"):
        return ((point, level) for point, level in _levels(machine) if level.state == machine.state)
    if status.of_machine(machine) is Show.NEAR:
        return ((point, level) for point in machine.points for level in status.near_levels(point))
    return ()


def _reached(place: _Place) -> float:
    return figures.place(place[1].value, place[1].alert, place[1].alarm, place[1].side) or 0.0


def _has_limit(level: LevelView) -> bool:
    return level.alert is not None or level.alarm is not None


def _view(place: _Place) -> WorstView:
    point, level = place
    return worst_view(point.point, level, ratio(level.value, level.alert, level.alarm, level.side) or 0.0)
