"""A record to looks at it, at the speed that it tells: in one way for what is judged and for its baseline."""

from dataclasses import replace

from edgemon.analysis.speed import ShaftSpeed, estimate_speed, place_speed, refine_speed
from edgemon.diagnosis.bearing import settle_speed
from edgemon.diagnosis.look import Look
from edgemon.diagnosis.record import MachineFacts, Record


def looks_at(record: Record, facts: MachineFacts, places: int | None = None) -> list[Look]:
    """Look at each place of a record by itself, at the speed that all of its channels tell, or the envelopes of the place.

    Parameters
    ----------
    record : Record
        One or more channels, SI.
    facts : MachineFacts
        What is known of the machine.
    places : int, optional
        Places of the machine that are looked at altogether; those of the record unless given.

    Returns
    -------
    list of Look
        One for each place, in the order of their first channels.
    """
    (speed, sure), groups = _known_speed(record, facts), by_place(record)
    parts = [
        replace(
            record,
            samples=record.samples[group],
            channels=tuple(record.channels[i] for i in group),
            lines=None if record.lines is None else record.lines[group],
        )
        for group in groups
    ]
    every = parts if len(parts) > 1 else [record]
    found = [Look(part, facts, speed, clock=record, places=places or len(groups)) for part in every]
    for look in found:
        look.speed_confidence = sure
        settle_speed(look)
    return found


def look_by_lines(record: Record, facts: MachineFacts) -> Look:
    """Look at a whole record as one place, at the speed that lines of its plain spectrum tell, without its envelopes."""
    return Look(record, facts, _known_speed(record, facts)[0])


def by_place(record: Record) -> list[list[int]]:
    """Sort the channels of a record by the part and the end at which they sit."""
    found: dict[tuple[str, str], list[int]] = {}
    for number, channel in enumerate(record.channels):
        found.setdefault((channel.part, channel.end), []).append(number)
    return list(found.values())


def _known_speed(record: Record, facts: MachineFacts) -> tuple[ShaftSpeed | None, float | None]:
    """Give the speed that lines of the plain spectrum tell, and its confidence where only several weak ones do."""
    if facts.speed_hz is None:
        return None, None
    mesh = tuple(pair.teeth * pair.order for pair in facts.gears)
    if record.lines is not None:
        return place_speed(record.lines, record.line_hz, facts.speed_hz, facts.supply_hz, mesh), None
    speed = refine_speed(record.samples, record.fs_hz, facts.speed_hz, facts.supply_hz, mesh)
    if speed.measured:
        return speed, None
    other = estimate_speed(record.samples, record.fs_hz, 60.0 * facts.speed_hz, supply_hz=facts.supply_hz)
    if other is None:
        return speed, None
    return ShaftSpeed(other.rpm / 60.0, f"measured from {other.method}", measured=True, orders=other.orders), other.confidence
