"""Numbers, times and names as a reader of a report sees them, and faults in words that need no specialist."""

from edgemon.model.alarm import MONITORING
from edgemon.model.finding import Fault
from edgemon.model.instant import Instant, format_instant
from edgemon.model.level import LEVEL_KINDS, LevelKind
from edgemon.model.limit import Limit, Side
from edgemon.units import from_si

SHOWN_UNITS = {"m/s2": "m/s²", "um": "µm", "Cel": "°C", "degF": "°F", "1": "", "%EL": "%"}
"""Units as they are printed, where not by their own names."""

FAULT_WORDS: dict[Fault, tuple[str, str]] = {
    Fault.UNBALANCE: ("unbalance", "The rotor's mass is not evenly spread round its axis, so it shakes once a turn."),
    Fault.BENT_SHAFT: ("bent shaft", "The shaft is not straight, so the machine is shaken once a turn, lengthways too."),
    Fault.MISALIGNMENT: ("misalignment", "Two coupled shafts do not run in one line and bend each other at every turn."),
    Fault.LOOSENESS: ("looseness", "A part can move that should sit tight: foundation, foot, bearing seat or fit."),
    Fault.RESONANCE: ("resonance", "The machine is driven near a frequency at which its structure rings by itself."),
    Fault.OUTER_RACE: ("bearing damage, outer race", "The standing ring of a rolling bearing is damaged on its running track."),
    Fault.INNER_RACE: ("bearing damage, inner race", "The turning ring of a rolling bearing is damaged on its running track."),
    Fault.ROLLING_ELEMENT: ("bearing damage, rolling element", "A ball or roller of a rolling bearing is damaged."),
    Fault.CAGE: ("bearing damage, cage", "The cage that keeps the rolling elements apart is damaged or worn."),
    Fault.LUBRICATION: ("poor lubrication", "A bearing runs with too little or unsuitable lubricant: metal meets metal."),
    Fault.GEAR: ("gear damage", "Teeth of a gear mesh unevenly: worn, broken, or out of line."),
    Fault.BLADE_PASS: ("blade or vane passing", "Each blade or vane gives a blow as it passes a fixed part."),
    Fault.CAVITATION: (
        "cavitation",
        "Vapour bubbles form in the pumped liquid and collapse violently; they wear the impeller.",
    ),
    Fault.BELT: ("belt", "A drive belt is worn, loose or out of line."),
    Fault.ELECTRICAL: ("electrical cause in the motor", "The motor's magnetic pull is uneven: stator, rotor bars, air gap."),
    Fault.OIL_WHIRL: ("oil whirl", "The shaft circles on its oil film at a little less than half its speed."),
    Fault.RUB: ("rub", "A turning part touches a standing one."),
    Fault.SENSOR: ("measurement", "The sensor or its mounting is at fault, so the machine may be sound."),
}
"""Name and plain explanation of each fault."""


def shown_unit(unit: str) -> str:
    """Give a unit as it is printed; empty for a ratio."""
    return SHOWN_UNITS.get(unit, unit)


def number(value: float) -> str:
    """Write a number with three figures that mean something, never with an exponent."""
    if value == 0.0:
        return "0"
    size = abs(value)
    if size >= 100.0:
        return f"{value:.0f}"
    return f"{value:.2f}" if 1.0 <= size < 10.0 else f"{value:.1f}" if size >= 10.0 else f"{value:.3f}"


def limit_number(value: float) -> str:
    """Write a limit as people set it: without figures that were never given."""
    return f"{value:.4g}" if abs(value) < 1000.0 else f"{value:.6g}"


def amount(value: float, unit: str) -> str:
    """Write a value of the house's unit in `unit`."""
    return f"{number(from_si(value, unit))} {shown_unit(unit)}".rstrip()


def limit_amount(value: float | None, unit: str, side: Side = Side.ABOVE) -> str:
    """Write a limit of the house's unit in `unit`, a low one with `below`; a dash where there is none."""
    below = "below " if side is Side.BELOW else ""
    return "–" if value is None else f"{below}{limit_number(from_si(value, unit))} {shown_unit(unit)}".rstrip()


def when(instant: Instant) -> str:
    """Write an instant to the second: `2026-11-25 10:00:28 UTC`."""
    return f"{stamp(instant)} UTC"


def stamp(instant: Instant) -> str:
    """Write an instant to the second, without its zone."""
    text = format_instant(instant)
    return f"{text[:10]} {text[11:19]}"


def span(seconds: float) -> str:
    """Write a duration in the unit people would choose."""
    for size, name in ((86_400.0, "day"), (3600.0, "hour"), (60.0, "minute")):
        if seconds >= 2.0 * size:
            return f"{seconds / size:.0f} {name}s"
    return f"{seconds:.0f} seconds"


def level_title(name: str, kind: LevelKind | None = None) -> str:
    """Give the name of a level as people say it: quantity and detector."""
    if name == MONITORING:
        return "loss of monitoring"
    kind = kind or LEVEL_KINDS.get(name)
    return name if kind is None else kind.title


def level_unit(name: str, limit: Limit | None, kind: LevelKind | None = None) -> str:
    """Give the unit a level is shown in: that of its limit, else the usual one."""
    kind = kind or LEVEL_KINDS.get(name)
    return limit.unit if limit is not None else "1" if kind is None else kind.unit


def fault_name(fault: Fault) -> str:
    """Give a fault's name in plain words."""
    return FAULT_WORDS[fault][0]


def sureness(confidence: float) -> str:
    """Write a confidence; nothing is ever quite certain."""
    return f"confidence {100.0 * confidence:.0f} %" if confidence < 0.995 else "confidence above 99 %"


def capital(text: str) -> str:
    """Begin with a capital letter and leave the rest as it is."""
    return text[:1].upper() + text[1:]


def counted(count: int, word: str) -> str:
    """Write `1 capture`, `3 captures`."""
    return f"{count} {word}" if count == 1 else f"{count} {word}s"
