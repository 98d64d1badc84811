"""Sign-offs over a real Unix socket: an engineer gives and withdraws them, others see them."""

from pathlib import Path

import pytest

from edgemon.api.roles import Peer
from edgemon.model.machine import point_key
from edgemon.model.snapshot import Outcome
from tests.api.test_service import served
from tests.support.fake_site import COMMISSIONING, FakeSite

POINT = point_key("hp-pump-1", "pump-de-h")


async def test_orders_reach_the_site_and_what_cannot_be_read_does_not(tmp_path: Path) -> None:
    site = FakeSite()
    async with served(tmp_path, site) as daemon:
        assert await daemon.sign_off(*POINT, "tapped", ("bearing", "baseline")) == Outcome(True)
        assert await daemon.sign_off(*POINT, "", ()) == Outcome(True)
        assert await daemon.withdraw_sign_off(*POINT, "wrong one") == Outcome(True)
        assert "remark" in (await daemon.sign_off(*POINT, "x" * 501, ())).why
        assert "reason" in (await daemon.withdraw_sign_off(*POINT, "")).why
    assert [(what, *rest) for what, _, *rest in site.ordered] == [
        ("sign off", POINT, "tapped", ("bearing", "baseline")),
        ("sign off", POINT, "", ()),
        ("withdraw", POINT, "wrong one"),
    ]


async def test_others_see_and_sign_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    site = FakeSite()
    monkeypatch.setattr("edgemon.api.service.peer_of", lambda connection: Peer(1, 65534, 65534))
    async with served(tmp_path, site) as daemon:
        assert await daemon.commissioning() == COMMISSIONING
        for outcome in (await daemon.sign_off(*POINT, "x", ()), await daemon.withdraw_sign_off(*POINT, "why")):
            assert "a sign-off takes an engineer" in outcome.why
    assert site.ordered == []
