"""What the journal says of annunciations, counted in one pass: bins, floods, chatter, fleeting and standing alarms.

Definitions
-----------
- An annunciation is an entry to the state UNACK that calls the operator (`annunciates`), by any line of the transition table
  that announces. Acknowledgements, returns to normal, changes of quality and alerts for the analyst are none.
- Its time is when it was recorded, for then the operator was called; how long a condition was there goes by its own times.
- Bins of ten minutes, hours and days are aligned to the clock (UTC). A period may begin and end within a bin: that bin counts.
- What a start of the gateway says again (recorded with the start) is counted apart. Simulated data is counted apart.
- A flood begins with a bin of more than 10 annunciations and lasts until a bin of fewer than 5.
- Chattering: the same alarm announced 3 times or more within 60 s, not by what a person did (unshelved, returned to service).
- Fleeting: the condition was there for less than 10 s, and the same alarm was not announced within 60 s before or after.
- Stale: announced and there (UNACK or ACKED) without a break for more than 24 h.

Source: flood, stale: ANSI/ISA-18.2-2016, 16.4.3 to 16.4.7, as told in secondary texts; chattering and fleeting: common starting
criteria of the same texts; fixed bins and what a start says again: house choice.
"""

import math
from bisect import bisect_left, bisect_right
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field

from edgemon.alarms.table import TABLE
from edgemon.model.alarm import AlarmState
from edgemon.model.event import AlarmChanged, JournalEntry
from edgemon.model.gateway_event import GatewayStarted
from edgemon.model.ids import AlarmKey
from edgemon.model.instant import Duration, Instant
from edgemon.model.performance import Flood

BIN_S, HOUR_S, DAY_S = 600.0, 3600.0, 86_400.0
FLOOD_ABOVE, FLOOD_UNTIL_BELOW = 10, 5
CHATTER_COUNT, CHATTER_S = 3, 60.0
FLEETING_S, REPEATED_S = 10.0, 60.0
STALE_S = 86_400.0

ANNOUNCING = frozenset(line.change for line in TABLE if line.announce)
"""Changes by which the operator can be called."""
_THERE = (AlarmState.UNACK, AlarmState.ACKED)


@dataclass(frozen=True, slots=True)
class Stood:
    """From when to when an alarm stood; `until` is None where it still does."""

    alarm: AlarmKey
    since: Instant
    until: Instant | None


@dataclass(slots=True)
class Tally:
    """Counts journal entries in their order; those before `since` only tell what stood then."""

    since: Instant
    until: Instant
    sim: bool = False
    times: dict[AlarmKey, list[Instant]] = field(default_factory=dict)
    """Of the annunciations of each alarm."""
    unasked: dict[AlarmKey, list[Instant]] = field(default_factory=dict)
    """Likewise, without those that a person brought about."""
    priorities: Counter[str] = field(default_factory=Counter)
    severities: Counter[str] = field(default_factory=Counter)
    stood: list[Stood] = field(default_factory=list)
    """Those that ended, and stood for long."""
    after_restart: int = 0
    not_announced: int = 0
    other: int = 0
    _brief: dict[AlarmKey, list[Instant]] = field(default_factory=dict)
    _standing: dict[AlarmKey, Instant] = field(default_factory=dict)
    _called: dict[AlarmKey, tuple[Instant, Instant]] = field(default_factory=dict)
    _started_at: Instant = -math.inf

    def take(self, entry: JournalEntry) -> None:
        """Count an entry; whatever it is."""
        event, at = entry.event, entry.recorded_at
        if isinstance(event, GatewayStarted):
            self._started_at = at
        elif isinstance(event, AlarmChanged) and at < self.until:
            if event.alarm.sim is self.sim:
                self._stand(event, at)
            if at >= self.since:
                self._count(event, at)

    def _count(self, event: AlarmChanged, at: Instant) -> None:
        is_new = event.change in ANNOUNCING and event.to_state is AlarmState.UNACK
        if event.alarm.sim is not self.sim:
            self.other += is_new and event.annunciates
        elif is_new and event.annunciates:
            self._announced(event, at)
        elif event.change == "RAISED":
            self.not_announced += 1
        elif event.change == "CLEARED":
            called = self._called.pop(event.alarm, None)
            if called is not None and not event.is_closed and event.at - called[0] < FLEETING_S:
                self._brief.setdefault(event.alarm, []).append(called[1])

    def _announced(self, event: AlarmChanged, at: Instant) -> None:
        if at == self._started_at:
            self.after_restart += 1
            return
        self.times.setdefault(event.alarm, []).append(at)
        if not event.by:
            self.unasked.setdefault(event.alarm, []).append(at)
        self._called[event.alarm] = (event.at, at)
        self.priorities[event.priority.value] += 1
        self.severities[event.severity.word] += 1

    def _stand(self, event: AlarmChanged, at: Instant) -> None:
        stands = event.to_state in _THERE and event.annunciates
        if stands:
            self._standing.setdefault(event.alarm, at)
        elif (since := self._standing.pop(event.alarm, None)) is not None and at - since > STALE_S:
            self.stood.append(Stood(event.alarm, since, at))

    def all_times(self) -> list[Instant]:
        """Give the times of all annunciations, in order."""
        return sorted(at for times in self.times.values() for at in times)

    def stale(self) -> list[Stood]:
        """Give what was stale at any time of the period, longest first."""
        still = [Stood(alarm, since, None) for alarm, since in self._standing.items() if self.until - since > STALE_S]
        found = [one for one in self.stood if one.until is None or one.until > self.since] + still
        return sorted(found, key=lambda one: (one.since, one.alarm))

    def fleeting(self) -> dict[AlarmKey, int]:
        """Give how often each alarm was fleeting."""
        found = {alarm: _alone(brief, self.times[alarm]) for alarm, brief in self._brief.items()}
        return {alarm: count for alarm, count in found.items() if count}

    def chattering(self) -> dict[AlarmKey, int]:
        """Give how many annunciations of each alarm belong to chatter."""
        found = {alarm: chatter(times) for alarm, times in self.unasked.items() if len(times) >= CHATTER_COUNT}
        return {alarm: count for alarm, count in found.items() if count}


def _alone(times: Iterable[Instant], among: Iterable[Instant]) -> int:
    """Count the times near which there is no other one among all."""
    ordered = sorted(among)
    return sum(bisect_right(ordered, at + REPEATED_S) - bisect_left(ordered, at - REPEATED_S) == 1 for at in times)


def chatter(times: Iterable[Instant]) -> int:
    """Count the annunciations that lie, with two others of the same alarm, within 60 s."""
    ordered = sorted(times)
    belongs = [False] * len(ordered)
    for first in range(len(ordered) - CHATTER_COUNT + 1):
        last = first + CHATTER_COUNT - 1
        if ordered[last] - ordered[first] <= CHATTER_S:
            belongs[first : last + 1] = [True] * CHATTER_COUNT
    return sum(belongs)


def binned(times: Iterable[Instant], width_s: Duration) -> Counter[int]:
    """Count by bins aligned to the clock; the number of a bin times its width is its begin."""
    return Counter(math.floor(at / width_s) for at in times)


def bins_of(since: Instant, until: Instant, width_s: Duration) -> range:
    """Give the bins that a period touches."""
    return range(math.floor(since / width_s), math.ceil(until / width_s))


def floods(counts: Counter[int], bins: range) -> tuple[Flood, ...]:
    """Find floods in bins of ten minutes; one that still lasts ends with the last bin."""
    found: list[Flood] = []
    begin: int | None = None
    for place in (*bins, None):
        count = 0 if place is None else counts[place]
        if begin is None and count > FLOOD_ABOVE:
            begin = place
        elif begin is not None and (place is None or count < FLOOD_UNTIL_BELOW):
            end = bins.stop if place is None else place
            each = [counts[one] for one in range(begin, end)]
            found.append(Flood(begin * BIN_S, end * BIN_S, sum(each), max(each)))
            begin = None
    return tuple(found)
