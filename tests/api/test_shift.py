"""Shift log and handover over a real Unix socket."""

from pathlib import Path

import pytest

from edgemon.api.roles import Peer
from edgemon.model.shift import LogKind
from edgemon.model.snapshot import Outcome
from tests.api.test_service import served
from tests.support.fake_site import PAGE, FakeSite


async def test_the_page_comes_through_unchanged(tmp_path: Path) -> None:
    async with served(tmp_path, FakeSite()) as daemon:
        assert await daemon.handover() == PAGE


async def test_what_is_written_and_who_takes_over_reaches_the_site(tmp_path: Path) -> None:
    site = FakeSite()
    async with served(tmp_path, site) as daemon:
        assert await daemon.write_log("seal drips", LogKind.REQUEST, "hp-pump-1") == Outcome(True)
        assert await daemon.take_over("abc", "all quiet") == Outcome(True)
        unknown = await daemon.write_log("seal drips", machine="nobody")
        empty = await daemon.write_log("")
    assert [(what, *rest) for what, _, *rest in site.ordered] == [
        ("log", "seal drips", LogKind.REQUEST, "hp-pump-1", None),
        ("take", "abc", "all quiet"),
    ]
    assert "no such machine" in unknown.why
    assert empty.why.startswith("text: ")


async def test_a_viewer_reads_and_writes_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    site = FakeSite()
    monkeypatch.setattr("edgemon.api.service.peer_of", lambda connection: Peer(1, 65534, 65534))
    async with served(tmp_path, site) as daemon:
        assert await daemon.handover() == PAGE
        for outcome in (await daemon.write_log("x"), await daemon.take_over("abc")):
            assert "takes an operator" in outcome.why
    assert site.ordered == []
