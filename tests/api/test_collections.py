"""Fast collection over a real Unix socket: orders reach the site, and who may give them."""

from pathlib import Path

import pytest

from edgemon.api.roles import Peer
from edgemon.model.snapshot import Outcome
from tests.api.test_service import served
from tests.support.fake_site import FakeSite


async def test_orders_reach_the_site_and_what_cannot_be_read_does_not(tmp_path: Path) -> None:
    site = FakeSite()
    async with served(tmp_path, site) as daemon:
        assert await daemon.start_collection("hp-pump-1/pump-de-h", 60.0, 7200.0, "rising") == Outcome(True)
        assert await daemon.stop_collection("s-0001", "enough") == Outcome(True)
        assert "interval_s" in (await daemon.start_collection("s-0001", 0.0, 7200.0, "why")).why
        assert "duration_s" in (await daemon.start_collection("s-0001", 60.0, 604_801.0, "why")).why
        assert "reason" in (await daemon.start_collection("s-0001", 60.0, 7200.0, "")).why
        assert "reason" in (await daemon.stop_collection("s-0001", "")).why
    assert [(what, *rest) for what, _, *rest in site.ordered] == [
        ("collect", "hp-pump-1/pump-de-h", 60.0, 7200.0, "rising"),
        ("end of collect", "s-0001", "enough"),
    ]


async def test_others_begin_and_end_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    site = FakeSite()
    monkeypatch.setattr("edgemon.api.service.peer_of", lambda connection: Peer(1, 65534, 65534))
    async with served(tmp_path, site) as daemon:
        for outcome in (
            await daemon.start_collection("s-0001", 60.0, 7200.0, "why"),
            await daemon.stop_collection("s-0001", "why"),
        ):
            assert "takes an engineer" in outcome.why
    assert site.ordered == []
