"""The API over a real Unix socket: who one is, what one may, what one sees, and how it ends."""

import asyncio
import json
import math
import os
import pwd
import socket
import stat
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path

import pytest

from edgemon.api.client import Daemon
from edgemon.api.roles import Peer, may, peer_of, person_of
from edgemon.api.service import Api, application, bind
from edgemon.api.wire import alarm_key
from edgemon.clock import SystemClock
from edgemon.errors import EdgemonError, LinkDown, LinkRefused
from edgemon.model.command import (
    Acknowledge,
    Person,
    RemoveFromService,
    Reset,
    ReturnToService,
    Role,
    Shelve,
    Unshelve,
)
from edgemon.model.gateway import Access
from edgemon.model.ids import AlarmKey, MachineId, PointId, PointKey
from edgemon.model.search import Search
from edgemon.model.snapshot import Change, Lost, Outcome, Snapshot, TrendBin, TrendBins
from edgemon.mqtt.embedded import stop_listening
from tests.support.fake_site import MACHINE, SNAPSHOT, FakeSite


@asynccontextmanager
async def served(tmp_path: Path, site: FakeSite) -> AsyncIterator[Daemon]:
    api = Api(site, Access(tmp_path / "s.sock"))
    serving = asyncio.create_task(api.serve())
    daemon = Daemon(tmp_path / "s.sock", SystemClock())
    try:
        yield daemon
    finally:
        await daemon.close()
        api.stop()
        await serving


async def test_snapshot_comes_through_unchanged(tmp_path: Path) -> None:
    async with served(tmp_path, FakeSite()) as daemon:
        assert await daemon.snapshot() == SNAPSHOT


async def test_stream_gives_a_snapshot_then_changes_and_tells_when_the_daemon_ends(tmp_path: Path) -> None:
    site = FakeSite()
    api = Api(site, Access(tmp_path / "s.sock"))
    serving = asyncio.create_task(api.serve())
    daemon = Daemon(tmp_path / "s.sock", SystemClock())
    seen: list[object] = []
    async with asyncio.timeout(10):
        async for update in daemon.updates():
            seen.append(update)
            if len(seen) == 3:
                api.stop()
            if isinstance(update, Lost):
                break
    await daemon.close()
    await serving
    assert isinstance(seen[0], Snapshot)
    assert isinstance(seen[1], Change)
    assert seen[1].machines == (MACHINE,)
    assert isinstance(seen[-1], Lost)


async def test_client_reconnects_by_itself(tmp_path: Path) -> None:
    daemon = Daemon(tmp_path / "s.sock", SystemClock())
    updates = daemon.updates()
    async with asyncio.timeout(10):
        first = await anext(updates)
        assert isinstance(first, Lost)
        assert "no daemon answers" in first.why
        api = Api(FakeSite(), Access(tmp_path / "s.sock"))
        serving = asyncio.create_task(api.serve())
        while isinstance(update := await anext(updates), Lost):
            pass
        assert isinstance(update, Snapshot)
        api.stop()
        await serving
    await daemon.close()


async def test_a_person_is_their_account(tmp_path: Path) -> None:
    async with served(tmp_path, FakeSite()) as daemon:
        person = await daemon.whoami()
    assert person.name == pwd.getpwuid(os.geteuid()).pw_name
    assert person.role is Role.ENGINEER
    assert str(os.getpid()) in person.station


async def test_acknowledge_reaches_the_site_with_name_and_occurrence(tmp_path: Path) -> None:
    site = FakeSite()
    async with served(tmp_path, site) as daemon:
        assert await daemon.acknowledge("hp-pump-1/pump-de-h/velocity_rms/sim", 2) == Outcome(True)
        site.outcome = Outcome(False, "acknowledged already")
        assert await daemon.acknowledge("hp-pump-1/pump-de-h/velocity_rms", 2) == Outcome(False, "acknowledged already")
        refused = await daemon.acknowledge("nonsense", 1)
    order, person = site.commanded[0]
    assert order == Acknowledge(AlarmKey(MachineId("hp-pump-1"), PointId("pump-de-h"), "velocity_rms", True), 2)
    assert person.name
    assert len(site.commanded) == 2
    assert not refused.done
    assert "no such alarm" in refused.why


async def test_every_order_about_an_alarm_reaches_the_site(tmp_path: Path) -> None:
    site, name = FakeSite(), "hp-pump-1/pump-de-h/velocity_rms"
    key = AlarmKey(MachineId("hp-pump-1"), PointId("pump-de-h"), "velocity_rms", False)
    async with served(tmp_path, site) as daemon:
        assert await daemon.reset(name) == Outcome(True)
        assert await daemon.shelve(name, 1800.0, "belt is being changed", one_shot=True) == Outcome(True)
        assert await daemon.unshelve(name) == Outcome(True)
        assert await daemon.remove_from_service(name, "sensor is taken off") == Outcome(True)
        assert await daemon.return_to_service(name) == Outcome(True)
        unreasoned = await daemon.shelve(name, 1800.0, "")
        instant = await daemon.shelve(name, 0.0, "for no time")
    assert [order for order, _ in site.commanded] == [
        Reset(key),
        Shelve(key, 1800.0, "belt is being changed", one_shot=True),
        Unshelve(key),
        RemoveFromService(key, "sensor is taken off"),
        ReturnToService(key),
    ]
    assert (unreasoned.done, instant.done) == (False, False)
    assert unreasoned.why.startswith("reason: ")
    assert instant.why.startswith("duration_s: ")


async def test_an_operator_takes_nothing_out_of_service(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    site = FakeSite()
    operator = Person("operator", Role.OPERATOR, "desk")
    monkeypatch.setattr("edgemon.api.service.person_of", lambda peer, access: operator)
    async with served(tmp_path, site) as daemon:
        assert (await daemon.shelve("hp-pump-1/pump-de-h/velocity_rms", 60.0, "noise")).done
        refused = await daemon.remove_from_service("hp-pump-1/pump-de-h/velocity_rms", "noise")
    assert not refused.done
    assert "takes an engineer" in refused.why
    assert len(site.commanded) == 1


async def test_a_viewer_is_told_why_not(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    site = FakeSite()
    monkeypatch.setattr("edgemon.api.service.peer_of", lambda connection: Peer(1, 65534, 65534))
    async with served(tmp_path, site) as daemon:
        assert (await daemon.whoami()).role is Role.VIEWER
        outcome = await daemon.acknowledge("hp-pump-1/pump-de-h/velocity_rms", 1)
        others = [await daemon.silence(), await daemon.lamp_test()]
    assert not outcome.done
    assert "takes an operator" in outcome.why
    assert site.commanded == []
    assert all("takes an operator" in one.why for one in others)
    assert site.ordered == []


async def test_an_operator_silences_and_tests_by_name(tmp_path: Path) -> None:
    site = FakeSite()
    async with served(tmp_path, site) as daemon:
        person = await daemon.whoami()
        assert (await daemon.silence()).done
        assert (await daemon.lamp_test()).done
    assert [one[0] for one in site.ordered] == ["silence", "lamp-test"]
    assert {str(getattr(one[1], "name", "")) for one in site.ordered} == {person.name}


async def test_trend_asks_for_simulated_data_where_the_point_shows_it(tmp_path: Path) -> None:
    site = FakeSite()
    async with served(tmp_path, site) as daemon:
        await anext(daemon.updates())
        found = await daemon.trend("hp-pump-1", "pump-de-h", "velocity_rms", 1.0, 2.0)
        with pytest.raises(LinkRefused, match="no such point"):
            await daemon.trend("nobody", "x", "velocity_rms", 1.0, 2.0)
    assert [(one.t, one.fit) for one in found] == [(1.0, True), (2.0, False)]
    assert site.asked[0][2] is True


async def test_a_trend_in_stretches_comes_through_and_what_cannot_be_is_refused(tmp_path: Path) -> None:
    site = FakeSite()
    async with served(tmp_path, site) as daemon:
        await anext(daemon.updates())
        found = await daemon.trend_bins("hp-pump-1", "pump-de-h", "velocity_rms", None, 1.7e9, 60)
        assert found == TrendBins(1.7e9 - 60.0, 1.7e9, 60, (TrendBin(0, 1.0, 2.5, 3.5, 4),))
        with pytest.raises(LinkRefused, match="no such point"):
            await daemon.trend_bins("nobody", "x", "velocity_rms", 1.6e9, 1.7e9, 60)
        for columns, until in ((0, 1.7e9), (1_000_000, 1.7e9), (60, math.nan)):
            with pytest.raises(LinkRefused, match=r"columns|until"):
                await daemon.trend_bins("hp-pump-1", "pump-de-h", "velocity_rms", 1.6e9, until, columns)
    assert site.asked == [(PointKey(MachineId("hp-pump-1"), PointId("pump-de-h")), "velocity_rms", True)]


async def test_a_diagnosis_is_asked_for(tmp_path: Path) -> None:
    site = FakeSite()
    async with served(tmp_path, site) as daemon:
        await anext(daemon.updates())
        assert await daemon.diagnose("hp-pump-1", "pump-de-h") == Outcome(True)
        site.outcome = Outcome(False, "no capture is stored")
        assert (await daemon.diagnose("hp-pump-1", "pump-de-h")).why == "no capture is stored"
    assert site.asked == [((MachineId("hp-pump-1"), PointId("pump-de-h")), "diagnose", True)] * 2


async def test_journal_is_limited(tmp_path: Path) -> None:
    async with served(tmp_path, FakeSite()) as daemon:
        assert [line.seq for line in await daemon.journal(3)] == [3, 2, 1]
        with pytest.raises(LinkRefused):
            await daemon.journal(0)


async def test_the_journal_is_searched(tmp_path: Path) -> None:
    site = FakeSite()
    search = Search(10.0, 20.5, ("alarm-changed", "gateway-started"), "hp-pump-1", "operator on shift")
    async with served(tmp_path, site) as daemon:
        await daemon.journal(3, before=7, search=search)
        await daemon.journal(3)
        with pytest.raises(LinkRefused, match="no such kind: 'alarms'"):
            await daemon.journal(3, search=Search(kinds=("alarms",)))
    assert site.searches == [(7, search), (None, Search())]


async def test_alarm_performance_is_asked_for(tmp_path: Path) -> None:
    site = FakeSite()
    async with served(tmp_path, site) as daemon:
        found = await daemon.performance(86_400.0)
        assert (found.since, found.until, found.sim, found.annunciations) == (86_400.0, 172_800.0, False, 0)
        assert {figure.name: figure.verdict for figure in found.figures}["per_10_min"] == "met"
        assert (await daemon.performance(0.0, 86_400.0, sim=True)).sim
        with pytest.raises(LinkRefused, match="empty"):
            await daemon.performance(5.0, 5.0)
    assert site.periods[:2] == [(86_400.0, None, None), (0.0, 86_400.0, True)]


async def test_no_daemon_is_said_with_what_to_do(tmp_path: Path) -> None:
    daemon = Daemon(tmp_path / "nobody.sock", SystemClock())
    with pytest.raises(LinkDown, match="edgemon run"):
        await daemon.snapshot()
    await daemon.close()


def test_socket_is_closed_to_others_and_gone_afterwards(tmp_path: Path) -> None:
    path = tmp_path / "deep" / "s.sock"
    listener = bind(path)
    assert stat.S_IMODE(path.stat().st_mode) == 0o660
    with pytest.raises(EdgemonError, match="another daemon answers"):
        bind(path)
    listener.close()
    bind(path).close()  # what a killed daemon left is replaced


def test_socket_path_that_is_too_long_is_said(tmp_path: Path) -> None:
    with pytest.raises(EdgemonError, match="cannot be"):
        bind(tmp_path / ("x" * 120))


def test_openapi_describes_every_way(tmp_path: Path) -> None:
    document = application(FakeSite(), Access(tmp_path / "s.sock")).openapi()
    assert set(document["paths"]) == {
        "/v1/snapshot",
        "/v1/changes",
        "/v1/machines/{machine}/points/{point}/levels/{level}",
        "/v1/machines/{machine}/points/{point}/diagnose",
        "/v1/journal",
        "/v1/proof",
        "/v1/commissioning",
        "/v1/commissioning/sign-off",
        "/v1/commissioning/withdraw",
        "/v1/proof/start",
        "/v1/proof/stop",
        "/v1/collection/start",
        "/v1/collection/stop",
        "/v1/performance",
        "/v1/me",
        "/v1/silence",
        "/v1/lamp-test",
        "/v1/alarms/acknowledge",
        "/v1/alarms/reset",
        "/v1/alarms/shelve",
        "/v1/alarms/unshelve",
        "/v1/alarms/remove-from-service",
        "/v1/alarms/return-to-service",
        "/v1/handover",
        "/v1/log",
        "/v1/baselines",
        "/v1/baselines/propose",
        "/v1/baselines/approve",
        "/v1/baselines/retire",
        "/v1/machines/{machine}/points/{point}/levels/{level}/forecast",
        "/v1/machines/{machine}/points/{point}/levels/{level}/bins",
        "/v1/machines/{machine}/forecasts",
        "/v1/machines/{machine}/points/{point}/captures",
        "/v1/machines/{machine}/points/{point}/waveform",
        "/v1/machines/{machine}/points/{point}/spectrum",
        "/v1/machines/{machine}/points/{point}/envelope",
    }
    schema = document["components"]["schemas"]["MachineView"]
    assert {"id", "state", "worst", "points"} <= set(schema["properties"])
    json.dumps(document)


def test_kernel_gives_the_credentials() -> None:
    one, other = socket.socketpair(socket.AF_UNIX)
    with one, other:
        assert peer_of(one) == Peer(os.getpid(), os.geteuid(), os.getegid())


def test_groups_give_roles(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    nobody = pwd.getpwnam("nobody")
    monkeypatch.setattr("edgemon.api.roles._groups", lambda user, gids: {"control-room"} if user == "nobody" else set())
    peer = Peer(1, nobody.pw_uid, nobody.pw_gid)
    operator = person_of(peer, Access(tmp_path, operators=("control-room",)))
    engineer = person_of(peer, Access(tmp_path, operators=("control-room",), engineers=("control-room",)))
    viewer = person_of(peer, Access(tmp_path))
    assert [operator.role, engineer.role, viewer.role] == [Role.OPERATOR, Role.ENGINEER, Role.VIEWER]
    assert may(engineer, Role.OPERATOR)
    assert not may(viewer, Role.OPERATOR)
    assert person_of(Peer(1, 4_000_000_000, 4_000_000_000), Access(tmp_path)).name == "uid 4000000000"


@pytest.mark.parametrize("text", ["", "a/b", "a/b/c/d", "A/b/c", "a/b/c/sim/x", "../b/c", "a//c"])
def test_alarm_id_that_is_none(text: str) -> None:
    assert alarm_key(text) is None


@asynccontextmanager
async def stranger(body: bytes | None, status: bytes = b"200 OK") -> AsyncIterator[Daemon]:
    """Another program on the address; None: it hangs up once it has heard the question."""

    async def answer(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        await reader.readuntil(b"\r\n\r\n")
        if body is not None:
            head = b"HTTP/1.1 %s\r\nConnection: close\r\nContent-Length: %d\r\n\r\n" % (status, len(body))
            writer.write(head + body)
            await writer.drain()
        writer.close()

    server = await asyncio.start_server(answer, "127.0.0.1", 0)
    daemon = Daemon(f"http://127.0.0.1:{server.sockets[0].getsockname()[1]}", SystemClock())
    try:
        yield daemon
    finally:
        await daemon.close()
        await stop_listening(server)


@pytest.mark.parametrize("body", [b"", b"{}", b"[1]", b"<html>", b"\xff"])
async def test_an_answer_that_is_not_understood_is_an_error_of_the_link(body: bytes) -> None:
    """A daemon of another version, or another program on the address: a board must not end of it."""
    async with stranger(body) as daemon:
        for ask in (daemon.snapshot, daemon.whoami, daemon.handover, daemon.baselines):
            with pytest.raises(LinkRefused, match="not understood"):
                await ask()
        for order in (daemon.silence(), daemon.reset("a/b/c"), daemon.diagnose("a", "b")):
            with pytest.raises(LinkRefused, match="whether it was done is not known"):
                await order


async def test_an_order_whose_answer_is_lost_is_not_said_to_have_failed() -> None:
    async with stranger(None) as daemon:
        with pytest.raises(LinkDown, match="whether it was done is not known"):
            await daemon.reset("a/b/c")


@pytest.mark.parametrize("body", [b"", b"\xff", b"[]", b'{"detail": 3}'])
async def test_a_refusal_that_cannot_be_read_is_a_refusal(body: bytes) -> None:
    async with stranger(body, b"500 Oops") as daemon:
        assert not (await daemon.silence()).done
        with pytest.raises(LinkRefused):
            await daemon.snapshot()
