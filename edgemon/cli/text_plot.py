"""Pictures in plain ASCII, for any terminal and any log: stems of a spectrum, lanes of a waveform."""

from collections.abc import Iterator, Sequence

HEIGHT = 12
_MARGIN = 10


def stems(
    values: Sequence[float],
    width: int,
    left: str,
    right: str,
    unit: str,
    tops: Sequence[tuple[int, float]] = (),
    signs: Sequence[tuple[str, float]] = (),
) -> Iterator[str]:
    """Draw values from zero up; each column shows the highest of those that fall into it.

    Parameters
    ----------
    values : sequence of float
        Zero or more each.
    width : int
        Characters of a line.
    left, right, unit : str
        What stands at the ends of the axis, and at its top.
    tops : sequence of (int, float)
        Numbers to stand above values, and where: counted in values from the first.
    signs : sequence of (str, float)
        Letters to stand below the axis, likewise.
    """
    room = max(8, width - _MARGIN - 1)
    highest = [0.0] * room
    for k, value in enumerate(values):
        at = _column(k, len(values), room)
        highest[at] = max(highest[at], value)
    top = max(highest, default=0.0)
    heights = [0 if not top > 0.0 else round(HEIGHT * value / top) for value in highest]
    grid = [["|" if height > row else " " for height in heights] for row in range(HEIGHT + 1)]
    for number, place in reversed(tops):
        at = _column(place, len(values), room)
        grid[min(heights[at], HEIGHT)][at] = str(number)[-1]
    for row in range(HEIGHT, -1, -1):
        label = f"{top:.3g}" if row == HEIGHT else ""
        yield f"{label:>{_MARGIN - 1}} |{''.join(grid[row])}".rstrip()
    yield f"{unit[: _MARGIN - 1]:>{_MARGIN - 1}} +{'-' * room}"
    if signs:
        below = [" "] * room
        for letter, place in reversed(signs):
            below[_column(place, len(values), room)] = letter
        yield f"{'':{_MARGIN + 1}}{''.join(below)}".rstrip()
    yield f"{'':{_MARGIN + 1}}{left}{right:>{max(1, room - len(left))}}"


def lanes(low: Sequence[float], high: Sequence[float], width: int, left: str, right: str, unit: str) -> Iterator[str]:
    """Draw a waveform: in each column everything between its lowest and its highest value; arguments as above."""
    room = max(8, width - _MARGIN - 1)
    lows, highs = [float("inf")] * room, [float("-inf")] * room
    for k, (least, most) in enumerate(zip(low, high, strict=True)):
        at = _column(k, len(low), room)
        lows[at], highs[at] = min(lows[at], least), max(highs[at], most)
    top = max((abs(value) for value in (*low, *high)), default=0.0) or 1.0
    half = HEIGHT // 2
    for row in range(half, -half - 1, -1):
        cells = "".join(
            "|" if most >= least and round(half * least / top) <= row <= round(half * most / top) else "-" if row == 0 else " "
            for least, most in zip(lows, highs, strict=True)
        )
        label = {half: f"{top:.3g}", 0: "0", -half: f"{-top:.3g}"}.get(row, "")
        yield f"{label:>{_MARGIN - 1}} |{cells}".rstrip()
    yield f"{unit[: _MARGIN - 1]:>{_MARGIN - 1}} {left}{right:>{max(1, room + 1 - len(left))}}"


def _column(place: float, count: int, room: int) -> int:
    """Give the column of a place counted in values; values that are fewer than columns are spread."""
    share = place / max(1, count - 1)
    return min(room - 1, max(0, int(share * (room - 1) + 0.5)))
