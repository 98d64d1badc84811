"""Health and figures: read back by the kept library's own parser of the format, and asked for over a real port."""

import asyncio
import socket
from dataclasses import replace

import httpx
import pytest
from prometheus_client.openmetrics.parser import text_string_to_metric_families

from edgemon.api.health import LOOPBACK, Health, health_document
from edgemon.api.metrics import metrics_text
from edgemon.errors import EdgemonError
from edgemon.model.snapshot import GatewayView, LinkView, Snapshot
from edgemon.model.vitals import STUCK_S, Vitals
from tests.support.fake_site import SNAPSHOT

WELL = Vitals(idle_s=0.2, rounds=10, commits=4, commit_s=0.5, lag_s=0.01, loop_lag_s=0.001)
STUCK = replace(WELL, idle_s=STUCK_S + 1.0)


def with_gateway(**changed: object) -> Snapshot:
    gateway: GatewayView = replace(SNAPSHOT.gateway, **changed)  # type: ignore[arg-type]
    return replace(SNAPSHOT, gateway=gateway)


def samples(snapshot: Snapshot, vitals: Vitals = WELL) -> dict[str, float]:
    """Read the text as OpenMetrics 1.0 wants it; the parser refuses what breaks the format."""
    found = {}
    for family in text_string_to_metric_families(metrics_text(snapshot, vitals).decode()):  # type: ignore[no-untyped-call]
        for sample in family.samples:
            labels = ",".join(f"{name}={value}" for name, value in sample.labels.items())
            found[f"{sample.name}{{{labels}}}" if labels else sample.name] = sample.value
    return found


def test_the_figures_are_those_of_the_snapshot() -> None:
    at, since = 1_700_000_100.0, 1_700_000_040.0
    found = samples(with_gateway(messages=12, rejected=2, now=at, oldest_unsent=since, unsent=7, store_bytes=4096))
    assert found["edgemon_messages_total{result=taken}"] == 10.0
    assert found["edgemon_messages_total{result=rejected}"] == 2.0
    assert found["edgemon_unsent"] == 7.0
    assert found["edgemon_unsent_oldest_seconds"] == 60.0
    assert found["edgemon_commits_total"] == 4.0
    assert found["edgemon_commit_seconds_total"] == 0.5
    assert found["edgemon_store_ok"] == 1.0
    assert found["edgemon_link_up{link=broker}"] == 1.0
    states = {name: value for name, value in found.items() if name.startswith("edgemon_machines{")}
    assert sum(states.values()) == len(SNAPSHOT.machines)
    assert found[f"edgemon_machines{{state={SNAPSHOT.machines[0].state}}}"] >= 1.0


def test_a_name_from_the_network_cannot_forge_a_line() -> None:
    hostile = 'a"} 1\nedgemon_store_ok 0\n'
    found = samples(with_gateway(links=(LinkView(hostile, False, ""),)))
    assert found["edgemon_store_ok"] == 1.0
    assert found[f"edgemon_link_up{{link={hostile}}}"] == 0.0


def test_a_broker_that_is_away_is_degraded_a_store_that_fails_is_failing() -> None:
    assert health_document(SNAPSHOT, WELL).status == "good"
    away = with_gateway(links=(LinkView("broker", False, "refused"),))
    assert (health_document(away, WELL).status, health_document(away, WELL).reasons) == ("degraded", ["broker is down"])
    deaf = with_gateway(deaf_since=1.0)
    assert (health_document(deaf, WELL).status, health_document(deaf, WELL).reasons) == ("degraded", ["no sensor is heard"])
    full = with_gateway(store_ok=False, store_detail="disk full", store_keeps="nothing", store_since=1.0)
    found = health_document(full, WELL)
    assert (found.status, found.reasons, found.store_since) == ("failing", ["the store keeps nothing"], 1.0)
    assert health_document(SNAPSHOT, STUCK).status == "failing"


def free_port() -> int:
    with socket.create_server((LOOPBACK, 0)) as probe:
        return int(probe.getsockname()[1])


@pytest.mark.parametrize(
    ("snapshot", "vitals", "lives", "ready"),
    [
        (SNAPSHOT, WELL, 200, 200),
        (with_gateway(links=(LinkView("broker", False, "refused"),)), WELL, 200, 200),
        (with_gateway(store_ok=False, store_detail="disk full"), WELL, 200, 503),
        (SNAPSHOT, STUCK, 503, 200),
    ],
)
async def test_over_a_port(snapshot: Snapshot, vitals: Vitals, lives: int, ready: int) -> None:
    port = free_port()
    health = Health(port, lambda: snapshot, lambda: vitals)
    serving = asyncio.create_task(health.serve())
    try:
        async with httpx.AsyncClient(base_url=f"http://{LOOPBACK}:{port}", trust_env=False) as client:
            assert (await client.get("/livez")).status_code == lives
            assert (await client.get("/readyz")).status_code == ready
            detail = await client.get("/health")
            assert detail.status_code == 200
            assert detail.json()["site"] == "saltmarsh"
            metrics = await client.get("/metrics")
            assert metrics.headers["content-type"].startswith("application/openmetrics-text")
            assert metrics.text.rstrip().endswith("# EOF")
            assert (await client.get("/v1/snapshot")).status_code == 404
    finally:
        health.stop()
        await serving


def test_a_port_that_is_taken_is_named() -> None:
    with socket.create_server((LOOPBACK, 0)) as taken, pytest.raises(EdgemonError, match=r"\[health\] port"):
        Health(taken.getsockname()[1], lambda: SNAPSHOT, lambda: WELL)
