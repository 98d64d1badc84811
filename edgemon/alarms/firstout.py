"""Which of a machine's alarms came first: the mark that tells cause from consequence.

A group is what waits for an acknowledgement on one machine, among the alarms that call the operator. Its first alarm, by the
sensor's time at which the limit was first exceeded (before the on-delay, whatever arrived first), is marked; where others began
within both clocks' errors of it, all of them are marked as uncertain. An alarm that comes later with an earlier onset takes the
mark over. The mark stays with an alarm that is acknowledged, and with one that comes again, until nothing of the group waits.

The onset is that of the measurement: what happened between two measurements nobody knows. Late measurements put it right
(`alarms.onset`); once the group is over, only the journal.

Source: first alarm marked apart from its followers: the sequences of ISA-18.1 as told in secondary texts, FirstInGroupFlag of
OPC 10000-9, 5.8.2; order by onset, uncertainty and release: house rules.
"""

from collections.abc import Callable, Iterable
from dataclasses import replace

from edgemon.alarms.state import WAITING
from edgemon.model.alarm import AlarmRecord, FirstOut
from edgemon.model.ids import AlarmKey
from edgemon.model.instant import Duration, Instant


def mark(records: Iterable[AlarmRecord], error_s: Callable[[AlarmKey], Duration]) -> tuple[AlarmRecord, ...]:
    """Give the records of one machine whose mark is to change, as they are with it.

    Parameters
    ----------
    records : iterable of AlarmRecord
        All of one machine, real or simulated.
    error_s : callable
        By how much the time of an alarm's onset may be wrong.
    """
    known = tuple(records)
    waiting = [record for record in known if record.annunciates and record.state in WAITING]
    group = {record.key: (record, onset_of(record)) for record in known if record.first_out is not None} if waiting else {}
    group |= {record.key: (record, onset_of(record)) for record in waiting}
    near: dict[AlarmKey, Instant] = {}
    if group:
        first, (_, began) = min(group.items(), key=lambda one: (one[1][1], one[0]))
        near = {
            key: onset for key, (_, onset) in group.items() if key == first or onset - began < error_s(key) + error_s(first)
        }
    changed = []
    for record in known:
        wanted = FirstOut(near[record.key], len(near) == 1) if record.key in near else None
        if record.first_out != wanted:
            changed.append(replace(record, first_out=wanted))
    return tuple(changed)


def onset_of(record: AlarmRecord) -> Instant:
    """Give when an alarm began; one that bears the mark, when what made it the first began."""
    if record.first_out is not None:
        return record.first_out.onset_at
    return record.raised_at if record.onset_at is None else record.onset_at
