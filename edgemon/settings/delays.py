"""Delays of a limit: its own, else its machine's limit's, its class of alarms', the site's, the usual ones."""

from collections.abc import Sequence

from edgemon.model.limit import Delay
from edgemon.settings.schema import AlarmsTable, ClassTable, DelaysTable, LimitTable, MachineTable

DEFAULT_DELAY = Delay(2)
"""Two readings in a row: a delay in seconds says little where a value comes every few minutes. Common practice, no source."""


def said_by(limits: Sequence[LimitTable], machine: MachineTable, alarms: AlarmsTable) -> tuple[DelaysTable, ...]:
    """Give who may say how long the delays of a limit are, the one that goes before the others first."""
    own: ClassTable = getattr(alarms, machine.criticality)
    return *limits, own, alarms


def on_delay(tables: Sequence[DelaysTable], severity: str) -> Delay:
    """Give the on-delay of a severity."""
    for table in tables:
        seconds, readings = (getattr(each, severity, None) for each in (table.on_delay_s, table.on_delay))
        if seconds is not None or readings is not None:
            return _delay(readings, seconds)
    return DEFAULT_DELAY


def off_delay(tables: Sequence[DelaysTable]) -> Delay:
    """Give the off-delay."""
    for table in tables:
        if table.off_delay_s is not None or table.off_delay is not None:
            return _delay(table.off_delay, table.off_delay_s)
    return DEFAULT_DELAY


def _delay(readings: float | None, seconds: float | None) -> Delay:
    return Delay(seconds=seconds) if readings is None else Delay(int(readings))
