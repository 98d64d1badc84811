"""`[retention]`: its shape, its doubts, and what it resolves to."""

from edgemon.model.retention import DAY_S, Retention
from edgemon.settings.form import Shape
from edgemon.settings.problem import Report

_KEPT = Retention()
SMALLEST_BUDGET = 64 << 20
"""Bytes: a segment of samples, and the log of the database. House choice."""


class RetentionTable(Shape):
    """`[retention]`: how long what is stored is kept, and the most that it may take."""

    budget_bytes: int | None = None
    captures_days: float = _KEPT.normal_s / DAY_S
    alert_captures_days: float = _KEPT.alert_s / DAY_S
    event_captures_days: float = _KEPT.event_s / DAY_S
    event_hours: float = _KEPT.around_s / 3600.0
    readings_days: float = _KEPT.readings_s / DAY_S
    journal_days: float | None = None


def check_retention(table: RetentionTable, report: Report) -> None:
    """Report ages and a budget with which nothing can be kept."""
    if table.budget_bytes is not None and table.budget_bytes < SMALLEST_BUDGET:
        what = f"must be {SMALLEST_BUDGET} (64 MiB) or more, not {table.budget_bytes}"
        report.error(("retention", "budget_bytes"), what, "bytes; leave it out for nine tenths of what the disk has for it")
    for key in ("captures_days", "alert_captures_days", "event_captures_days", "readings_days", "journal_days"):
        value = getattr(table, key)
        if value is not None and value < 1.0:
            report.error(("retention", key), f"must be a day or more, not {value:g}", "leave it out for the usual value")
    if table.event_hours < 0.0:
        report.error(("retention", "event_hours"), f"must not be below zero, not {table.event_hours:g}", "hours, usually 48")
    ages = (table.captures_days, table.alert_captures_days, table.event_captures_days)
    if list(ages) != sorted(ages):
        what = "captures of machines in alert, or around events, are kept for a shorter time than others"
        report.warning(("retention", "captures_days"), what, "captures_days <= alert_captures_days <= event_captures_days")
    if table.journal_days is not None and table.journal_days < 30.0:
        what = "the performance of the alarms is looked at over the last 30 days of the journal"
        report.warning(("retention", "journal_days"), what, "leave it out: the journal is small, and kept for ever")


def retention_of(table: RetentionTable) -> Retention:
    """Give ages in seconds."""
    return Retention(
        budget_bytes=table.budget_bytes,
        normal_s=table.captures_days * DAY_S,
        alert_s=table.alert_captures_days * DAY_S,
        event_s=table.event_captures_days * DAY_S,
        around_s=table.event_hours * 3600.0,
        readings_s=table.readings_days * DAY_S,
        journal_s=None if table.journal_days is None else table.journal_days * DAY_S,
    )
