"""The snapshot as text and as JSON."""

import json
from dataclasses import replace
from pathlib import Path

import pytest

from edgemon.cli.main import main
from edgemon.cli.status import document, lines
from tests.support.captures import capture
from tests.support.rig import START, Rig, running


async def test_times_are_rfc_3339_wherever_they_stand() -> None:
    async with running(Rig()) as rig:
        await rig.send(capture(START, 5.0))
        snapshot = rig.hub.snapshot()
        snapshot = replace(snapshot, gateway=replace(snapshot.gateway, unsent=1, oldest_unsent=START))
    plain = document(snapshot)
    assert plain["gateway"]["oldest_unsent"] == plain["gateway"]["started_at"] == "2025-10-09T08:53:20.000Z"
    point = plain["machines"][0]["points"][0]
    assert point["t"] == point["levels"][0]["at"] == point["alarms"][0]["since"] == "2025-10-09T08:53:20.000Z"
    assert plain["sensors"][0]["heard_at"] == "2025-10-09T08:53:20.000Z"
    assert point["levels"][0]["value"] > 0


async def test_the_store_is_told_of_with_its_size_and_its_trouble() -> None:
    async with running(Rig()) as rig:
        snapshot = rig.hub.snapshot()
    well = replace(snapshot, gateway=replace(snapshot.gateway, store_bytes=12_340_000))
    assert "store: 12.3 MB" in lines(well)
    ill = replace(
        snapshot,
        gateway=replace(snapshot.gateway, store_ok=False, store_detail="disk full", store_keeps="nothing", store_since=0.0),
    )
    assert "store: 0.0 MB, FAILS, keeps nothing since 1970-01-01T00:00:00.000Z: disk full" in lines(ill)
    deaf = replace(snapshot, gateway=replace(snapshot.gateway, deaf_since=0.0))
    assert "NO SENSOR HEARD since 1970-01-01T00:00:00.000Z, though the link to the broker is up" in lines(deaf)


def test_of_several_gateways_each_has_its_name_and_who_does_not_answer_is_said(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    ways = [f"--attach=unix:{tmp_path}/{name}.sock" for name in "ab"]
    assert main(["status", *ways]) == 1
    told = capsys.readouterr().out
    assert f"== {tmp_path}/a.sock" in told
    assert f"NO ANSWER: {tmp_path}/b.sock: no daemon answers" in told
    assert main(["status", "--json", *ways]) == 1
    found = json.loads(capsys.readouterr().out)["gateways"]
    assert [list(one) for one in found.values()] == [["error"], ["error"]]


def test_one_gateway_named_twice_is_a_mistake(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["status", *[f"--attach=unix:{tmp_path}/a.sock"] * 2]) == 2
    assert "named twice" in capsys.readouterr().err
