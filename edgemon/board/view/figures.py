"""Numbers, ages, bars and short trends as text."""

import itertools
import math
from collections.abc import Sequence

from edgemon.board.theme import Glyphs
from edgemon.board.view.cells import safe
from edgemon.model.instant import EARLIEST, LATEST, Duration, Instant, format_instant
from edgemon.model.limit import Side, good_end
from edgemon.model.retention import Room
from edgemon.model.snapshot import GatewayView

DAY: Duration = 86_400.0
WEEK: Duration = 7 * DAY
NUMBER = 7
"""Cells the longest number takes."""
ALERT_AT = 0.5
"""Where the alert limit stands on every bar, as part of its length."""
ALARM_AT = 0.75
"""Where the alarm limit stands; the bar ends at twice the alarm limit."""
TREND_TOP = 1.25
"""Value over alarm limit at which a short trend is full height."""

_UNITS = {"m/s2": "m/s²", "mm/s2": "mm/s²", "Cel": "°C", "um": "µm", "degF": "°F", "1": "", "/": ""}
_PLAIN_UNITS = {"Cel": "C", "degF": "F", "1": "", "/": ""}


def number(value: float | None) -> str:
    """Write a value in three significant digits, never wider than `NUMBER` cells; `--` where there is none."""
    if value is None or not math.isfinite(value):
        return "--"
    size = abs(value)
    if size >= 99_999.5:
        return f"{value:.0e}"
    digits = 2 if size < 9.995 else 1 if size < 99.95 else 0
    return f"{value:.{digits}f}"


def limit(value: float | None, side: Side) -> str:
    """Write a limit: a low one with `<` before it."""
    return f"<{number(value)}" if side is Side.BELOW and value is not None else number(value)


def unit(name: str, glyphs: Glyphs) -> str:
    """Write a unit as people do."""
    return safe((_PLAIN_UNITS if glyphs.plain else _UNITS).get(name, name), 8)


def age(since: Instant | None, now: Instant) -> str:
    """Write how old something is in coarse steps, so that a healthy wall of numbers stands still; at most 4 cells."""
    if since is None:
        return "--"
    seconds = now - since
    if not math.isfinite(seconds):
        return "--"
    if seconds < 10.0:
        return "<10s"
    if seconds < 60.0:
        return f"{int(seconds // 10) * 10}s"
    for size, letter, most in ((60.0, "m", 60), (3600.0, "h", 48), (DAY, "d", 56), (WEEK, "w", 1000)):
        if seconds / size < most:
            return f"{int(seconds // size)}{letter}"
    return ">19y"


def clock(instant: Instant) -> str:
    """Write the time of day, UTC."""
    return format_instant(instant)[11:19] if EARLIEST <= instant <= LATEST else "--:--:--"


def stamp(instant: Instant) -> str:
    """Write date and time of day, UTC, without a letter for the zone."""
    return format_instant(instant)[:19].replace("T", " ") if EARLIEST <= instant <= LATEST else "---------- --:--:--"


def place(value: float, alert: float | None, alarm: float | None, side: Side = Side.ABOVE) -> float | None:
    """Place a value on the one scale that all machines share, 0 to 1; None where no limit is set.

    From nothing to the alert limit is the first half, from alert to alarm the next quarter, from alarm to twice the
    alarm limit the last one; beyond that the bar is full. With one limit only, the scale is straight through it. Low limits
    are seen from their good end (`model.limit.good_end`): the bar is empty there, and grows as the value falls.
    """
    if side is Side.BELOW:
        top = good_end(alert, alarm)
        if top is None:
            return None
        alert, alarm = (None if one is None else top - one for one in (alert, alarm))
        value = top - value
    return _upwards(value, alert, alarm)


def _upwards(value: float, alert: float | None, alarm: float | None) -> float | None:
    if not math.isfinite(value):
        return None
    knots = [(0.0, 0.0)]
    if alert is not None and alert > 0.0:
        knots.append((alert, ALERT_AT))
    if alarm is not None and alarm > knots[-1][0]:
        knots.append((alarm, ALARM_AT))
    if len(knots) == 1:
        return None
    knots.append((2.0 * knots[-1][0], 1.0 if knots[-1][1] == ALARM_AT else ALARM_AT))
    for (low, start), (high, end) in itertools.pairwise(knots):
        if value <= high:
            return start + (end - start) * max(0.0, value - low) / (high - low)
    return 1.0


def ticks(width: int) -> tuple[int, int]:
    """Give the cells in which the alert and the alarm limit of a bar stand."""
    return int(ALERT_AT * width), min(width - 1, int(ALARM_AT * width)) if width else 0


def bar(at: float | None, width: int, glyphs: Glyphs, limits: tuple[bool, bool] = (True, True)) -> tuple[str, str]:
    """Draw a bar: the filled part, and the track with what ticks remain; together exactly `width` cells."""
    marks = [tick for tick, shown in zip(ticks(width), limits, strict=True) if shown]
    halves = _halves(at, width, limits) if at is not None else 0
    full, rest = divmod(halves, 2)
    filled = [glyphs.tick_filled if cell in marks else glyphs.fill for cell in range(full)]
    if rest and full < width:
        filled.append(glyphs.tick_half if full in marks else glyphs.half)
    track = [glyphs.tick if cell in marks else glyphs.track for cell in range(len(filled), width)]
    return "".join(filled), "".join(track)


def _halves(at: float, width: int, limits: tuple[bool, bool]) -> int:
    """Round to half cells, but never across a limit: a tick is covered exactly where its limit is reached."""
    halves = round(min(1.0, max(0.0, at)) * width * 2)
    for tick, limit, shown in zip(ticks(width), (ALERT_AT, ALARM_AT), limits, strict=True):
        if shown:
            halves = max(halves, 2 * tick + 1) if at >= limit else min(halves, 2 * tick)
    return min(halves, 2 * width)


def trend(values: Sequence[float], width: int, glyphs: Glyphs) -> str:
    """Draw the newest values as columns, newest at the right; a value that is no number is a blank."""
    last = len(glyphs.steps) - 1
    drawn = "".join(
        glyphs.steps[int(min(last, max(0.0, value / TREND_TOP * (last + 1))))] if math.isfinite(value) else " "
        for value in values[max(0, len(values) - width) :]
    )
    return drawn.rjust(width) if width > 0 else ""


def spoken(seconds: Duration) -> str:
    """Write a span of time exactly, in the unit people count it in: from 8 weeks on in weeks, above 48 h in days."""
    for size, word, least in ((WEEK, "weeks", 8 * WEEK), (DAY, "days", 2 * DAY + 1.0), (3600.0, "h", 0.0)):
        if seconds >= least and seconds % size == 0.0:
            return f"{seconds / size:.0f} {word}"
    return f"{seconds / 60.0:g} min"


def duration(seconds: Duration) -> str:
    """Write a span of time in its largest whole unit."""
    return age(0.0, max(10.0, seconds))


def room(gateway: GatewayView) -> str:
    """Say how near the store is to its budget, or how far over it; empty where that is not worth a word."""
    percent, keep = gateway.keep.percent(gateway.store_bytes), gateway.keep
    if percent is None or keep.room(gateway.store_bytes) is Room.ENOUGH:
        return ""
    return f"store at {percent:.0f} % of its budget" + (", nothing may go" if keep.short_bytes else "")
