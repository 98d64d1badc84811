"""Forecasts and change detection on open recordings, step by step through their time: `python -m tests.bench.forecast`.

Run-to-failure records (bearing life tests). At some fifty moments of each record a forecast is made from the values up to
then, as the gateway would, and judged by what came. Limits, chosen before any forecast was looked at: for acceleration twice
and four times the median of values 50 to 150 (multiples of the baseline: common practice, no source); for velocity B/C and
C/D of ISO 10816-3:2009 group 2, rigid, 2.8 and 4.5 mm/s (the rigs are smaller than its scope; the numbers are usual ones). A
limit counts as crossed when the median of the newest five values reaches it. Beside it: least squares through all values,
90 % interval of the slope, forecast where p < 0.05 and no further ahead than the values reach back.

    held        the crossing lay within the interval
    early       it came before the interval
    late        it came after the interval, or the interval passed without one
    open        the record ended before the interval did: nobody knows
    healthy     forecasts made while the level was below 1.25 x the median of values 50 to 150
    lead        part of the time to the crossing that was left at the first forecast
    width       median of latest - earliest over the time that was left

Labelled records of a test loop: CUSUM and EWMA on blocks of ten values, reference from the first 400 rows; the changes come
at about row 570. Once against the scatter of the reference alone, once for shifts of a quarter of its median and more (what
ISO 10816-3:2009 5.3 calls significant, taken of the baseline).

Nothing here can fail: figures are for people; the tests marked `recordings` hold them.
"""

import os
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import scipy.stats
from numpy.typing import NDArray

from edgemon.trend.change import cusum, ewma, reference_of
from edgemon.trend.conditions import Conditions, like, make_series
from edgemon.trend.forecast import forecast

Values = NDArray[np.float64]
Interval = tuple[float, float, float]
Maker = Callable[[Values, Values, float], Interval | None]

FOLDER = Path(os.environ.get("EDGEMON_RECORDINGS", "no-such-folder"))
LIFE_TESTS = ("femto-1-1", "femto-1-2", "femto-3-1")
LOOPS = ("skab-valve1-1", "skab-other-12", "skab-other-5", "skab-other-6", "skab-other-9")
QUIET_LOOP = "skab-anomaly-free-anomaly-free"
COLUMNS = (
    "rms_g_h",
    "rms_g_v",
    "peak_g_h",
    "band_1000_5000_g_h",
    "velocity_10_1000_mm_s_h",
    "velocity_10_1000_mm_s_v",
)
LEARNT = slice(50, 150)
MOMENTS = 50
BLOCK = 10
TRAINING_ROWS = 400


@dataclass
class Case:
    """One level against one limit through one record."""

    record: str
    column: str
    severity: str
    t_s: Values
    values: Values
    limit: float
    usual: float
    crossed_s: float | None = None


@dataclass
class Score:
    """What became of the forecasts of some cases."""

    given: int = 0
    held: int = 0
    early: int = 0
    late: int = 0
    open: int = 0
    healthy: int = 0
    leads: list[float] = field(default_factory=list)
    widths: list[float] = field(default_factory=list)

    @property
    def judged(self) -> int:
        return self.held + self.early + self.late

    def add(self, other: "Score") -> None:
        for name in ("given", "held", "early", "late", "open", "healthy"):
            setattr(self, name, getattr(self, name) + getattr(other, name))
        self.leads += other.leads
        self.widths += other.widths

    def __str__(self) -> str:
        lead = f"{np.median(self.leads):5.2f}" if self.leads else "    -"
        width = f"{np.median(self.widths):6.1f}" if self.widths else "     -"
        counts = f"{self.given:>5} {self.held:>4} {self.early:>5} {self.late:>4} {self.open:>4} {self.healthy:>7}"
        return f"{counts} {lead} {width}"


def cases() -> list[Case]:
    found = []
    for record in LIFE_TESTS:
        with np.load(FOLDER / f"{record}.npz") as arrays:
            t_s, columns, table = arrays["t_s"].astype(float), [str(name) for name in arrays["columns"]], arrays["values"]
        for column in COLUMNS:
            values = table[:, columns.index(column)].astype(float)
            usual = float(np.median(values[LEARNT]))
            limits = (2.8, 4.5) if column.startswith("velocity") else (2.0 * usual, 4.0 * usual)
            for severity, limit in zip(("alert", "alarm"), limits, strict=True):
                case = Case(record, column, severity, t_s, values, limit, usual)
                beyond = np.flatnonzero(newest_level(values) >= limit)
                case.crossed_s = float(t_s[beyond[0]]) if beyond.size else None
                found.append(case)
    return found


def newest_level(values: Values) -> Values:
    return np.array([np.median(values[max(0, i - 4) : i + 1]) for i in range(len(values))])


def ours(t_s: Values, values: Values, limit: float) -> Interval | None:
    now = float(t_s[-1])
    made = forecast("level", limit, like(make_series(t_s, values), Conditions()), now)
    if made.earliest is None or made.likely is None or made.latest is None:
        return None
    return made.earliest - now, made.likely - now, made.latest - now


def least_squares(t_s: Values, values: Values, limit: float) -> Interval | None:
    fit = scipy.stats.linregress(t_s - t_s[-1], values)
    if np.median(values[-5:]) >= limit or fit.pvalue > 0.05 or fit.slope <= 0.0:
        return None
    away, middle = limit - float(np.mean(values)), float(np.mean(t_s - t_s[-1]))
    half = 1.645 * fit.stderr
    ahead = [middle + away / slope for slope in (fit.slope + half, fit.slope, max(fit.slope - half, 1e-12))]
    return (max(0.0, ahead[0]), ahead[1], ahead[2]) if 0.0 < ahead[1] <= t_s[-1] - t_s[0] else None


def score(case: Case, make: Maker) -> Score:
    result = Score()
    level = newest_level(case.values)
    for i in range(LEARNT.stop, len(case.t_s), max(1, len(case.t_s) // MOMENTS)):
        now = float(case.t_s[i])
        if case.crossed_s is not None and now >= case.crossed_s:
            break
        made = make(case.t_s[: i + 1], case.values[: i + 1], case.limit)
        if made is None:
            continue
        result.given += 1
        result.healthy += bool(level[i] < 1.25 * case.usual)
        if case.crossed_s is None:
            passed = now + made[2] <= case.t_s[-1]
            result.late += passed
            result.open += not passed
            continue
        left = case.crossed_s - now
        result.leads += [] if result.leads else [left / case.crossed_s]
        result.widths.append((made[2] - made[0]) / left)
        result.early += left < made[0]
        result.late += left > made[2]
        result.held += made[0] <= left <= made[2]
    return result


@dataclass
class Detection:
    """First signal of one chart on one column, in rows; rows that signalled before the change."""

    chart: str
    least: float
    """Smallest shift that matters, part of the median."""
    change_row: int
    first_row: int | None
    false_blocks: int
    quiet_blocks: int


def detections(record: str, column: int) -> list[Detection]:
    """Run both charts over one column; a record without labels has no change."""
    with np.load(FOLDER / f"{record}.npz") as arrays:
        values = arrays["values"][:, column].astype(float)
        labels = np.asarray(arrays["anomaly"]) if "anomaly" in arrays else np.zeros(len(values))
    change = int(np.argmax(labels > 0)) if labels.any() else len(values)
    whole = len(values) // BLOCK * BLOCK
    blocks = np.median(values[:whole].reshape(-1, BLOCK), axis=1)
    trained = TRAINING_ROWS // BLOCK
    quiet = change // BLOCK - trained
    found = []
    for least in (0.0, 0.25):
        reference = reference_of(blocks[:trained], least * float(np.median(blocks[:trained])))
        charts = {"CUSUM": cusum(blocks[trained:], reference).signals, "EWMA": ewma(blocks[trained:], reference).signals}
        for name, signals in charts.items():
            after = np.flatnonzero(signals[quiet:])
            first = (trained + quiet + int(after[0]) + 1) * BLOCK if after.size else None
            found.append(Detection(name, least, change, first, int(signals[:quiet].sum()), quiet))
    return found


def totals(make: Maker) -> Score:
    total = Score()
    for case in cases():
        total.add(score(case, make))
    return total


def print_forecasts() -> None:
    head = "given held early late open healthy  lead  width"
    print(f"{'record':<10} {'level':<24} {'limit':<13} {'crossed':>8}   {'forecast: ' + head:<60} least squares: {head}")
    mine, plain = Score(), Score()
    of_record = {record: (Score(), Score()) for record in LIFE_TESTS}
    for case in cases():
        crossed = f"{case.crossed_s:.0f} s" if case.crossed_s is not None else "never"
        a, b = score(case, ours), score(case, least_squares)
        mine.add(a)
        plain.add(b)
        of_record[case.record][0].add(a)
        of_record[case.record][1].add(b)
        limit = f"{case.severity} {case.limit:.3g}"
        print(f"{case.record:<10} {case.column:<24} {limit:<13} {crossed:>8}             {a!s}              {b!s}")
    for record, (a, b) in of_record.items():
        print(f"{record:<58}             {a!s}              {b!s}")
    print(f"{'all':<58}             {mine!s}              {plain!s}")
    for record, scores in of_record.items():
        print(f"{record}: " + "; ".join(_grade(*one) for one in zip(("forecast", "least squares"), scores, strict=True)))
    for name, total in (("forecast", mine), ("least squares", plain)):
        if total.judged:
            print(f"{name}: {total.held} of {total.judged} intervals that could be judged held the crossing")


def _grade(name: str, score: Score) -> str:
    """Say how often a method was wrong on one bearing, and how early it spoke."""
    wrong = f"{score.judged - score.held} of {score.judged} wrong" if score.judged else "none that could be judged"
    lead = f", first {100.0 * float(np.median(score.leads)):.0f} % of the life before the crossing" if score.leads else ""
    return f"{name} {wrong}{lead}, {score.healthy} in healthy time"


def print_detections() -> None:
    print("\nfound: rows from the change to the first signal; false: blocks that signalled before it, of so many")
    print(f"{'record':<31} {'column':<18} {'change':<7}" + f"{'CUSUM found  false':>21}{'EWMA found  false':>21}" * 2)
    print(f"{'':<57} {'against scatter alone':>42}{'shifts of a quarter and more':>42}")
    for record in (*LOOPS, QUIET_LOOP):
        for column, name in enumerate(("Accelerometer1RMS", "Accelerometer2RMS")):
            made = detections(record, column)
            change = "none" if record == QUIET_LOOP else f"{made[0].change_row}"
            text = ""
            for one in made:
                found = "-" if one.first_row is None else str(one.first_row - one.change_row)
                text += f"{found:>10} {f'{one.false_blocks} of {one.quiet_blocks}':>10}"
            print(f"{record:<31} {name:<18} {change:<7}{text}")


def main() -> None:
    if not (FOLDER / f"{LIFE_TESTS[0]}.npz").exists():
        print("set EDGEMON_RECORDINGS to the folder of open recordings")
        return
    print_forecasts()
    print_detections()


if __name__ == "__main__":
    main()
