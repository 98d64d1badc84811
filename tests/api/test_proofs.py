"""Proofs over a real Unix socket: what is on and proven, and who may begin and end one."""

from pathlib import Path

import pytest

from edgemon.api.roles import Peer
from edgemon.model.ids import AreaId, MachineId, PointId
from edgemon.model.proof import Scope
from edgemon.model.snapshot import Outcome
from tests.api.test_service import served
from tests.support.fake_site import COMMISSIONING, PROOF, FakeSite


async def test_what_is_proven_comes_through_unchanged(tmp_path: Path) -> None:
    async with served(tmp_path, FakeSite()) as daemon:
        assert await daemon.proof() == PROOF


async def test_the_commissioning_state_comes_through_unchanged(tmp_path: Path) -> None:
    async with served(tmp_path, FakeSite()) as daemon:
        found = await daemon.commissioning()
    assert found == COMMISSIONING
    assert found.summary == "1 of 2 points complete, 1 signed off"


async def test_orders_reach_the_site_and_what_cannot_be_read_does_not(tmp_path: Path) -> None:
    site = FakeSite()
    scopes = (
        Scope(),
        Scope(area=AreaId("ro-hall")),
        Scope(machine=MachineId("hp-pump-1")),
        Scope(machine=MachineId("hp-pump-1"), point=PointId("pump-de-h")),
    )
    async with served(tmp_path, site) as daemon:
        for scope in scopes:
            assert await daemon.start_proof(scope, 600.0, "first proof") == Outcome(True)
        assert await daemon.stop_proof("done") == Outcome(True)
        assert "reason" in (await daemon.start_proof(Scope(), 600.0, "")).why
        assert "duration_s" in (await daemon.start_proof(Scope(), 1e6, "too long")).why
        assert "reason" in (await daemon.stop_proof("")).why
    assert [(what, *rest) for what, _, *rest in site.ordered] == [
        *(("proof", scope, 600.0, "first proof") for scope in scopes),
        ("end of proof", "done"),
    ]


async def test_others_see_and_begin_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    site = FakeSite()
    monkeypatch.setattr("edgemon.api.service.peer_of", lambda connection: Peer(1, 65534, 65534))
    async with served(tmp_path, site) as daemon:
        assert await daemon.proof() == PROOF
        for outcome in (await daemon.start_proof(Scope(), 600.0, "why"), await daemon.stop_proof("why")):
            assert "takes an engineer" in outcome.why
    assert site.ordered == []
