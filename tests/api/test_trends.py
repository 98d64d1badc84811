"""Baselines and forecasts over a real Unix socket: everyone may see, an engineer may command, and reasons are due."""

from pathlib import Path

import pytest

from edgemon.api.roles import Peer
from edgemon.errors import LinkRefused
from edgemon.model.command import Role
from edgemon.model.ids import MachineId, PointId, PointKey
from edgemon.model.snapshot import Outcome
from tests.api.test_service import served
from tests.support.fake_site import BASELINE, OUTLOOK, SILENT_OUTLOOK, FakeSite

POINT = PointKey(MachineId("hp-pump-1"), PointId("pump-de-h"))
ORDER = ("hp-pump-1", "pump-de-h", "velocity_rms", "quiet week")


async def test_baselines_and_forecasts_come_through_unchanged(tmp_path: Path) -> None:
    async with served(tmp_path, FakeSite()) as daemon:
        assert await daemon.baselines() == (BASELINE,)
        assert await daemon.forecast("hp-pump-1", "pump-de-h", "velocity_rms") == OUTLOOK
        assert await daemon.forecasts("hp-pump-1") == (OUTLOOK, SILENT_OUTLOOK)


async def test_who_asks_for_what_is_not_there_is_told(tmp_path: Path) -> None:
    async with served(tmp_path, FakeSite()) as daemon:
        with pytest.raises(LinkRefused, match="no such point"):
            await daemon.forecast("nobody", "x", "velocity_rms")
        with pytest.raises(LinkRefused, match="no such machine"):
            await daemon.forecasts("nobody")
        with pytest.raises(LinkRefused, match="the disk is gone"):
            await daemon.forecast("hp-pump-1", "pump-de-h", "kurtosis")


@pytest.mark.parametrize("what", ["propose", "approve", "retire"])
async def test_an_engineers_order_reaches_the_site_with_name_and_reason(tmp_path: Path, what: str) -> None:
    site = FakeSite()
    site.outcome = Outcome(True, "said so")
    async with served(tmp_path, site) as daemon:
        assert await daemon.order_baseline(what, *ORDER, proposed_at=5.5) == Outcome(True, "said so")
        site.outcome = Outcome(False, "no baseline is proposed")
        assert await daemon.order_baseline(what, *ORDER) == Outcome(False, "no baseline is proposed")
        unknown = await daemon.order_baseline(what, "nobody", *ORDER[1:])
        silent = await daemon.order_baseline(what, *ORDER[:3], "")
    assert "no such point" in unknown.why
    assert not silent.done
    named, point, level, person, reason, *proposed_at = site.ordered[0]
    assert (named, point, level, reason) == (what, POINT, "velocity_rms", "quiet week")
    assert proposed_at == ([5.5] if what == "approve" else [])
    assert getattr(person, "role", None) is Role.ENGINEER
    assert len(site.ordered) == 2


async def test_who_is_no_engineer_may_see_but_not_command(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    site = FakeSite()
    monkeypatch.setattr("edgemon.api.service.peer_of", lambda connection: Peer(1, 65534, 65534))
    async with served(tmp_path, site) as daemon:
        assert await daemon.baselines() == (BASELINE,)
        for what in ("propose", "approve", "retire"):
            outcome = await daemon.order_baseline(what, *ORDER)
            assert not outcome.done
            assert "baselines take an engineer" in outcome.why
    assert site.ordered == []
