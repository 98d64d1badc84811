"""The gateway in figures for a meter: OpenMetrics text, made by the kept library of that format.

Names follow its conventions: base units, `_total` for what only grows. Neither sensors nor machines are labels: a plant of
a thousand machines must not make a thousand series here; their states have their own documents.
"""

from collections import Counter
from collections.abc import Iterator

from prometheus_client.core import CounterMetricFamily, GaugeMetricFamily, Metric
from prometheus_client.openmetrics.exposition import CONTENT_TYPE_LATEST, generate_latest
from prometheus_client.registry import Collector

from edgemon.model.snapshot import AlarmView, GatewayView, MachineView, Snapshot
from edgemon.model.vitals import Vitals

CONTENT_TYPE = CONTENT_TYPE_LATEST
STATES = ("normal", "alert", "alarm", "not-running", "unknown")
QUALITIES = ("good", "stale", "bad")


class _Figures(Collector):
    """One snapshot's figures, as the library wants to collect them."""

    def __init__(self, figures: tuple[Metric, ...]) -> None:
        self._figures = figures

    def collect(self) -> Iterator[Metric]:
        """Give them."""
        yield from self._figures


def metrics_text(snapshot: Snapshot, vitals: Vitals) -> bytes:
    """Write all figures.

    Source: OpenMetrics 1.0 (the exposition format).
    """
    gateway = snapshot.gateway
    figures = (
        *_counts(gateway, vitals),
        *_levels(gateway, vitals),
        *_links(gateway),
        *_upstreams(gateway),
        *_states(snapshot.machines, gateway.alarms),
    )
    return bytes(generate_latest(_Figures(figures)))  # type: ignore[no-untyped-call]


def _counts(gateway: GatewayView, vitals: Vitals) -> Iterator[Metric]:
    messages = CounterMetricFamily("edgemon_messages", "Messages from the broker, by what became of them.", labels=["result"])
    for result, count in (
        ("taken", gateway.messages - gateway.rejected),
        ("rejected", gateway.rejected),
    ):
        messages.add_metric([result], max(0, count))
    yield messages
    yield CounterMetricFamily("edgemon_captures", "Captures stored.", value=gateway.captures)
    yield CounterMetricFamily("edgemon_readings", "Readings stored.", value=gateway.readings)
    yield CounterMetricFamily("edgemon_repeats", "Captures and readings that were known already.", value=gateway.repeats)
    yield CounterMetricFamily("edgemon_late", "Measurements older than one already judged.", value=gateway.late)
    yield CounterMetricFamily("edgemon_journal_entries", "Entries of the journal.", value=gateway.journal_seq)
    dropped = CounterMetricFamily("edgemon_captures_dropped", "Captures dropped since the start, by worth.", labels=["worth"])
    for worth, count in gateway.keep.dropped.items():
        dropped.add_metric([worth], count)
    yield dropped
    yield CounterMetricFamily("edgemon_readings_thinned", "Readings thinned since the start.", value=gateway.keep.thinned)
    yield CounterMetricFamily("edgemon_commits", "Transactions committed since the start.", value=vitals.commits)
    yield CounterMetricFamily("edgemon_commit_seconds", "Time spent in commits since the start.", value=vitals.commit_s)


def _levels(gateway: GatewayView, vitals: Vitals) -> Iterator[Metric]:
    build = GaugeMetricFamily("edgemon_build_info", "The version that runs.", labels=["version"])
    build.add_metric([gateway.version], 1)
    yield build
    yield GaugeMetricFamily("edgemon_start_time_seconds", "When it was started, seconds since 1970.", value=gateway.started_at)
    yield GaugeMetricFamily("edgemon_queue_depth", "Messages received and not yet worked off.", value=gateway.queue)
    yield GaugeMetricFamily("edgemon_open_captures", "Captures waiting for parts.", value=gateway.open_captures)
    yield GaugeMetricFamily("edgemon_unsent", "States and journal entries waiting to be published.", value=gateway.unsent)
    waiting = 0.0 if gateway.oldest_unsent is None else max(0.0, gateway.now - gateway.oldest_unsent)
    yield GaugeMetricFamily("edgemon_unsent_oldest_seconds", "How long something has been waiting.", value=waiting)
    yield GaugeMetricFamily("edgemon_store_bytes", "Size of the store.", value=gateway.store_bytes)
    yield GaugeMetricFamily("edgemon_store_budget_bytes", "Most that the store may take.", value=gateway.keep.budget_bytes)
    yield GaugeMetricFamily("edgemon_store_short_bytes", "Beyond it, and nothing may go.", value=gateway.keep.short_bytes)
    yield GaugeMetricFamily("edgemon_store_ok", "1 while the store takes what comes.", value=gateway.store_ok)
    failing = 0.0 if gateway.store_since is None else max(0.0, gateway.now - gateway.store_since)
    yield GaugeMetricFamily("edgemon_store_failing_seconds", "How long the store has not taken everything.", value=failing)
    yield GaugeMetricFamily(
        "edgemon_ingest_lag_seconds", "Arrival to commit, of the newest batch's oldest.", value=vitals.lag_s
    )
    yield GaugeMetricFamily("edgemon_event_loop_lag_seconds", "How late the newest second began.", value=vitals.loop_lag_s)
    yield GaugeMetricFamily("edgemon_path_idle_seconds", "Since the data path came round last.", value=vitals.idle_s)


def _links(gateway: GatewayView) -> Iterator[Metric]:
    links = GaugeMetricFamily("edgemon_link_up", "1 while a link of the gateway is up.", labels=["link"])
    for link in gateway.links:
        links.add_metric([link.name], link.up)
    yield links


def _upstreams(gateway: GatewayView) -> Iterator[Metric]:
    waiting = GaugeMetricFamily("edgemon_upstream_waiting", "What an upstream has not been sent yet.", labels=["upstream"])
    behind = GaugeMetricFamily("edgemon_upstream_oldest_seconds", "Age of the oldest of it.", labels=["upstream"])
    parked = GaugeMetricFamily("edgemon_upstream_parked", "What it refused.", labels=["upstream"])
    sent = CounterMetricFamily("edgemon_upstream_sent", "What it confirmed since the start.", labels=["upstream"])
    for one in gateway.upstreams:
        waiting.add_metric([one.name], one.waiting)
        behind.add_metric([one.name], 0.0 if one.oldest_unsent is None else max(0.0, gateway.now - one.oldest_unsent))
        parked.add_metric([one.name], one.parked)
        sent.add_metric([one.name], one.sent)
    yield from (waiting, behind, parked, sent)


def _states(machines: tuple[MachineView, ...], own: tuple[AlarmView, ...]) -> Iterator[Metric]:
    state_of = Counter(machine.state for machine in machines)
    states = GaugeMetricFamily("edgemon_machines", "Machines by state.", labels=["state"])
    for state in STATES:
        states.add_metric([state], state_of[state])
    yield states
    points = [point for machine in machines for point in machine.points]
    quality_of = Counter(point.quality for point in points)
    qualities = GaugeMetricFamily("edgemon_points", "Points by quality of what their state rests on.", labels=["quality"])
    for quality in QUALITIES:
        qualities.add_metric([quality], quality_of[quality])
    yield qualities
    alarms = GaugeMetricFamily("edgemon_alarms_unacknowledged", "Alarms that call, by priority.", labels=["priority"])
    calling = Counter(
        alarm.priority for each in (own, *(point.alarms for point in points)) for alarm in each if alarm.annunciates
    )
    for priority in ("high", "medium", "low"):
        alarms.add_metric([priority], calling[priority])
    yield alarms
