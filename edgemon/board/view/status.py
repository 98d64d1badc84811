"""What a machine, a point or an alarm shows as: the bridge from the snapshot's words to the table of marks."""

from collections.abc import Sequence
from functools import lru_cache

from edgemon.board.theme import MARKS, PRECEDENCE, Look, Show
from edgemon.board.view.cells import Row, Span
from edgemon.model.limit import Side, good_end
from edgemon.model.snapshot import AlarmView, LevelView, MachineView, PointView
from edgemon.units import Quantity, interval_from_si, quantity_of

_UNACKNOWLEDGED = frozenset({"UNACK", "RTNUN", "LATUN"})
_HIDDEN = {"SHLVD": Show.SHELVED, "DSUPR": Show.SUPPRESSED, "OOSRV": Show.OUT_OF_SERVICE}
_SEVERE = {"alert": Show.ALERT, "alarm": Show.ALARM}
NEAR = 0.8
"""Share of an alert limit from which a normal machine counts as near it. House choice, no source."""
NEAR_K = 5.0
"""The same for a temperature, in kelvin below its limit: a share of a Celsius value has no meaning. House choice."""
_LATCHED = frozenset({"LATUN", "LATAK"})


def wants_acknowledgement(alarm: AlarmView) -> bool:
    """Say whether an operator may still acknowledge this alarm."""
    return alarm.alarm_state in _UNACKNOWLEDGED


def waits(alarm: AlarmView) -> bool:
    """Say whether this alarm waits for the operator: it calls, or came and went before anyone had noticed it."""
    return alarm.annunciates and wants_acknowledgement(alarm)


def calls(alarm: AlarmView) -> bool:
    """Say whether this alarm calls the operator, and so flashes; one that came and went waits quietly."""
    return waits(alarm) and alarm.alarm_state != "RTNUN"


def is_suppressed(alarm: AlarmView) -> bool:
    """Say whether the plant's logic hides this record: its machine does not run."""
    return alarm.alarm_state == "DSUPR"


def of_alarm(alarm: AlarmView) -> Show:
    """Give what an alarm record shows as."""
    if alarm.alarm_state in _HIDDEN:
        return _HIDDEN[alarm.alarm_state]
    if alarm.alarm_state in _LATCHED:
        return Show.LATCHED
    if alarm.alarm_state == "RTNUN":
        return Show.RETURNED
    if alarm.level == "monitoring":
        return Show.NO_DATA
    return _SEVERE.get(alarm.severity, Show.NORMAL)


def of_point(point: PointView) -> Show:
    """Give what a point shows as."""
    show = _of(point.state, point.quality, point.alarms, any(waits(alarm) for alarm in point.alarms))
    return Show.NEAR if show is Show.NORMAL and is_near(point) else show


def of_machine(machine: MachineView) -> Show:
    """Give what a machine shows as."""
    alarms = tuple(alarm for point in machine.points for alarm in point.alarms)
    show = _of(machine.state, machine.quality, alarms, machine.unacknowledged or any(waits(alarm) for alarm in alarms))
    return Show.NEAR if show is Show.NORMAL and any(is_near(point) for point in machine.points) else show


def is_near(point: PointView) -> bool:
    """Say whether some level of a running point is near its alert limit."""
    return bool(near_levels(point))


def near_levels(point: PointView) -> tuple[LevelView, ...]:
    """Give the levels of a running point that are near their alert limits."""
    if point.state != "normal":
        return ()
    return tuple(level for level in point.levels if _is_near(level))


@lru_cache(maxsize=64)
def is_temperature(unit: str) -> bool:
    """Say whether a unit is one of temperature; a unit nobody knows is not."""
    try:
        return quantity_of(unit) is Quantity.TEMPERATURE
    except KeyError:
        return False


def _is_near(level: LevelView) -> bool:
    alert, is_low = level.alert, level.side is Side.BELOW
    if alert is None:
        return False
    if is_temperature(level.unit):
        margin = interval_from_si(NEAR_K, level.unit)
        return level.value <= alert + margin if is_low else level.value >= alert - margin
    if not is_low:
        return level.value >= (NEAR * alert if alert > 0.0 else alert)
    top = good_end(alert, level.alarm)
    return level.value <= (alert if top is None else top - NEAR * (top - alert))


def _of(state: str, quality: str, alarms: tuple[AlarmView, ...], calling: bool) -> Show:
    if state in _SEVERE:
        return _SEVERE[state]
    shows = [of_alarm(alarm) for alarm in alarms]
    if Show.LATCHED in shows:
        return Show.LATCHED
    if state not in ("normal", "not-running"):
        return Show.NO_DATA
    if calling:
        return Show.RETURNED
    if quality != "good" and state == "normal":
        return Show.DOUBTFUL
    if state == "not-running":
        return Show.STOPPED
    hidden = [show for show in shows if show in _HIDDEN.values()]
    return min(hidden, key=PRECEDENCE.__getitem__, default=Show.NORMAL)


def is_abnormal(machine: MachineView) -> bool:
    """Say whether a machine is anything but running well or standing still."""
    if machine.unacknowledged or machine.quality != "good":
        return True
    return of_machine(machine) not in (Show.NORMAL, Show.NEAR, Show.STOPPED)


def is_notable(machine: MachineView) -> bool:
    """Say whether a machine is abnormal or near a limit."""
    return is_abnormal(machine) or of_machine(machine) is Show.NEAR


def is_unsure(state: str, quality: str) -> bool:
    """Say whether a state in force rests on data that is no longer good."""
    return quality != "good" and state in _SEVERE


def tag(show: Show, look: Look, calling: bool, unsure: bool = False) -> Row:
    """Draw a mark in three cells: shape, digit, and `!` where what calls may not flash."""
    mark = MARKS[show]
    plain = look.glyphs.plain
    solid = mark.ascii if plain else mark.glyph
    outline = solid if plain else mark.outline
    digit = "?" if unsure else mark.digit
    if not calling:
        return Span(f"{solid}{digit}", mark.role), Span(" ")
    if look.still:
        return (Span(f"{solid}{digit}!", mark.fill),)
    if look.phase:
        return Span(f"{solid}{digit}", mark.fill), Span(" ")
    return Span(f"{outline}{digit}", mark.role), Span(" ")


def word(show: Show, unsure: bool, short: bool) -> Span:
    """Give the word of a state, with what it lacks."""
    mark = MARKS[show]
    text = mark.short if short or len(mark.word) > 12 else mark.word
    return Span(f"{text} ?" if unsure and short else f"{text}, stale" if unsure else text, mark.role)


def counts(machines: Sequence[MachineView]) -> dict[Show, int]:
    """Count machines by what they show as, in order of precedence."""
    found = dict.fromkeys(MARKS, 0)
    for machine in machines:
        found[of_machine(machine)] += 1
    return found
