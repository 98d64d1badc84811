"""Alarm performance: the figures that EEMUA 191 and ISA-18.2 ask for, beside what they ask; how they are counted: `tally`.

The targets are those for one operator. Neither text was at hand: the figures are those that secondary texts and HSE Chemicals
Information Sheet 6 (Better alarm handling) give, and the source of each stands beside it.
"""

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from edgemon.alarms.tally import BIN_S, DAY_S, FLOOD_ABOVE, HOUR_S, STALE_S, Stood, Tally, binned, bins_of, floods
from edgemon.errors import ParameterError
from edgemon.model.alarm import Priority
from edgemon.model.event import JournalEntry
from edgemon.model.ids import AlarmKey
from edgemon.model.instant import Duration, Instant
from edgemon.model.limit import Severity
from edgemon.model.performance import Figure, Flood, Performance, Share, Standing

KINDS = ("alarm-changed", "gateway-started")
"""Kinds of journal entries that are counted."""
TOP = 10
HOUR_ABOVE = 30
_ENOUGH_S = 30 * DAY_S

_ISA = "ISA-18.2-2016"
_RATE = f"{_ISA} 16.4.2, Table 5; HSE CHIS 6"
_STEADY = (
    (1.0, "very likely to be acceptable"),
    (2.0, "manageable"),
    (5.0, "likely to be over-demanding"),
    (10.0, "likely to be unacceptable"),
)
"""Average in ten minutes, below which EEMUA 191 judges a steady state so. From secondary texts, unverified."""


@dataclass(frozen=True, slots=True)
class _Asked:
    """What is asked of one figure."""

    name: str
    title: str
    unit: str
    target: str = ""
    met: float | None = None
    """Up to this it is met; shares (%) must stay below."""
    tolerable: float | None = None
    source: str = ""


_ASKED = (
    _Asked("per_10_min", "annunciations per 10 min, average", "1", "about 1, at most 2", 1.0, 2.0, _RATE),
    _Asked("most_per_10_min", "most in any 10 min", "1", "at most 10", 10.0, None, f"{_ISA} 16.4.3; HSE CHIS 6"),
    _Asked("share_above_10", "10-min periods with more than 10", "%", "below 1 %", 1.0, None, f"{_ISA} 16.4.3"),
    _Asked("per_hour", "annunciations per hour, average", "1", "about 6, at most 12", 6.0, 12.0, f"{_ISA} Table 5"),
    _Asked("most_per_hour", "most in any hour", "1"),
    _Asked("share_above_30", "hours with more than 30", "%", "below 1 %", 1.0, None, f"{_ISA}, unverified"),
    _Asked(
        "per_day", "annunciations per day, average", "1", "about 150, at most 300", 150.0, 300.0, "ISA-18.2-2009, unverified"
    ),
    _Asked("most_per_day", "most on any day (UTC)", "1"),
    _Asked("floods", "floods", "1"),
    _Asked("time_in_flood", "time in flood", "%", "below 1 %", 1.0, None, f"{_ISA} 16.4.4"),
    _Asked("top_10_share", "share of the 10 most frequent alarms", "%", "1 to 5 %", 5.0, None, f"{_ISA} 16.4.5"),
    _Asked("chattering", "chattering alarms", "1", "none", 0.0, None, f"{_ISA} 16.4.6"),
    _Asked("fleeting", "fleeting alarms", "1", "none", 0.0, None, f"{_ISA} 16.4.6"),
    _Asked("stale", "stale alarms, most on any day (UTC)", "1", "fewer than 5", 4.0, None, f"{_ISA} 16.4.7"),
    _Asked("high_share", "priority high", "%", "about 5 %", source=f"{_ISA} 16.4.8; EEMUA 191"),
    _Asked("medium_share", "priority medium", "%", "about 15 %", source=f"{_ISA} 16.4.8; EEMUA 191"),
    _Asked("low_share", "priority low", "%", "about 80 %", source=f"{_ISA} 16.4.8; EEMUA 191"),
)


def performance(entries: Iterable[JournalEntry], since: Instant, until: Instant, sim: bool = False) -> Performance:
    """Give the figures of a period from journal entries in their order.

    Parameters
    ----------
    entries : iterable of JournalEntry
        Any; those before `since` tell which alarms stood already.
    since, until : Instant
        Begin and end, which does not belong to it.
    sim : bool
        Figures of simulated data, instead of real ones.

    Raises
    ------
    ParameterError
        The period is empty.
    """
    tally = Tally(since, until, sim)
    for entry in entries:
        tally.take(entry)
    return figures_of(tally)


def figures_of(tally: Tally) -> Performance:
    """Give the figures of what was counted. Raises `ParameterError` if the period is empty."""
    since, until = tally.since, tally.until
    if not since < until:
        raise ParameterError("the period is empty")
    times = tally.all_times()
    counts = binned(times, BIN_S)
    flooded = floods(counts, bins_of(since, until, BIN_S))
    by_alarm = Counter({str(alarm): len(found) for alarm, found in tally.times.items()})
    chattering, fleeting, stale = tally.chattering(), tally.fleeting(), tally.stale()
    values = {
        **_rates(times, counts, since, until),
        "floods": float(len(flooded)),
        "time_in_flood": 100.0 * _within(flooded, since, until) / (until - since),
        "top_10_share": _percent(sum(count for _, count in by_alarm.most_common(TOP)), len(times)),
        "chattering": float(len(chattering)),
        "fleeting": float(len(fleeting)),
        "stale": float(_most_stale(stale, since, until)),
        **{f"{one.value}_share": _percent(tally.priorities[one.value], len(times)) for one in Priority},
    }
    return Performance(
        since=since,
        until=until,
        sim=tally.sim,
        annunciations=len(times),
        after_restart=tally.after_restart,
        not_announced=tally.not_announced,
        other=tally.other,
        figures=tuple(_figure(asked, values[asked.name]) for asked in _ASKED),
        priorities=tuple(_share(one.value, tally.priorities[one.value], len(times)) for one in Priority),
        severities=tuple(_share(one.word, tally.severities[one.word], len(times)) for one in (Severity.ALARM, Severity.ALERT)),
        contributors=_ranked(by_alarm, len(times))[:TOP],
        floods=flooded,
        chattering=_ranked(_named(chattering), len(times)),
        fleeting=_ranked(_named(fleeting), len(times)),
        stale=tuple(Standing(str(one.alarm), one.since, one.until) for one in stale),
        remarks=_remarks(values["per_10_min"], until - since),
    )


def _rates(times: list[Instant], counts: Counter[int], since: Instant, until: Instant) -> dict[str, float | None]:
    hours, days = binned(times, HOUR_S), binned(times, DAY_S)
    lasts = until - since

    def average(width_s: Duration) -> float | None:
        return len(times) * width_s / lasts if lasts >= width_s else None

    def share(found: Counter[int], above: int, width_s: Duration) -> float:
        return 100.0 * sum(count > above for count in found.values()) / len(bins_of(since, until, width_s))

    return {
        "per_10_min": average(BIN_S),
        "most_per_10_min": float(max(counts.values(), default=0)),
        "share_above_10": share(counts, FLOOD_ABOVE, BIN_S),
        "per_hour": average(HOUR_S),
        "most_per_hour": float(max(hours.values(), default=0)),
        "share_above_30": share(hours, HOUR_ABOVE, HOUR_S),
        "per_day": average(DAY_S),
        "most_per_day": float(max(days.values(), default=0)),
    }


def _within(flooded: Iterable[Flood], since: Instant, until: Instant) -> Duration:
    return sum(min(one.end, until) - max(one.begin, since) for one in flooded)


def _most_stale(stale: Iterable[Stood], since: Instant, until: Instant) -> int:
    """Count the stale alarms of each day and give the most."""
    days: Counter[int] = Counter()
    for one in stale:
        days.update(bins_of(max(one.since + STALE_S, since), until if one.until is None else min(one.until, until), DAY_S))
    return max(days.values(), default=0)


def _figure(asked: _Asked, value: float | None) -> Figure:
    return Figure(asked.name, asked.title, value, asked.unit, asked.target, _verdict(asked, value), asked.source)


def _verdict(asked: _Asked, value: float | None) -> str:
    if value is None or asked.met is None:
        return ""
    if value < asked.met or (value == asked.met and not asked.target.startswith("below")):
        return "met"
    return "tolerable" if asked.tolerable is not None and value <= asked.tolerable else "missed"


def _percent(count: int, total: int) -> float | None:
    return 100.0 * count / total if total else None


def _share(name: str, count: int, total: int) -> Share:
    return Share(name, count, count / total if total else 0.0)


def _named(counts: Mapping[AlarmKey, int]) -> dict[str, int]:
    return {str(alarm): count for alarm, count in counts.items()}


def _ranked(counts: Mapping[str, int], total: int) -> tuple[Share, ...]:
    ordered = sorted(counts.items(), key=lambda one: (-one[1], one[0]))
    return tuple(_share(name, count, total) for name, count in ordered)


def _remarks(average: float | None, lasts: Duration) -> tuple[str, ...]:
    remarks = []
    if average is not None:
        word = next((word for below, word in _STEADY if average < below), "very likely to be unacceptable")
        remarks.append(f"steady state: {word} (EEMUA 191, from secondary texts)")
    if lasts < _ENOUGH_S:
        remarks.append("less than 30 days: the figures are asked for over 30 days at least (ISA-18.2-2016)")
    return tuple(remarks)
