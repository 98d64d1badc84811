"""What the doctor makes of facts; the limits are house choices and say so, the file systems SQLite's own warning."""

import json
from dataclasses import replace
from pathlib import Path

import pytest

from edgemon.cli import ailments
from edgemon.cli.ailments import Disk, Weight
from edgemon.cli.main import main
from edgemon.model.gateway import Access, Broker, Gateway
from edgemon.model.snapshot import LinkView
from tests.support.daemon import plant_toml
from tests.support.fake_site import SNAPSHOT

GATEWAY = Gateway("edgemon/v1", Broker("broker.plant", 1883), Path("s"), Access(Path("k"), operators=("ops",)))
GOOD = Disk("ext4", 50_000_000_000, 100_000_000_000, 0.001)


@pytest.mark.parametrize(
    ("facts", "weights"),
    [
        (GOOD, ("ok", "ok", "ok")),
        (replace(GOOD, file_system="nfs4"), ("wrong", "ok", "ok")),
        (replace(GOOD, free_bytes=500_000_000), ("ok", "attention", "ok")),
        (replace(GOOD, free_bytes=4_000_000_000), ("ok", "attention", "ok")),
        (replace(GOOD, sync_s=2.0), ("ok", "ok", "attention")),
        (replace(GOOD, sync_s=None), ("ok", "ok", "attention")),
    ],
)
def test_disks(facts: Disk, weights: tuple[str, ...]) -> None:
    assert tuple(one.weight.value for one in ailments.disk(facts)) == weights


@pytest.mark.parametrize(("days", "weight"), [(400.0, "ok"), (12.0, "attention"), (-1.0, "wrong"), (None, "attention")])
def test_certificates(days: float | None, weight: str) -> None:
    assert ailments.certificate(days).weight.value == weight


def test_whatever_is_doubtful_says_what_to_do() -> None:
    ill = replace(
        SNAPSHOT,
        gateway=replace(
            SNAPSHOT.gateway,
            store_ok=False,
            store_detail="disk full",
            store_keeps="nothing",
            links=(LinkView("broker", False, "refused"),),
            rejected=3,
            unsent=9,
            oldest_unsent=SNAPSHOT.gateway.now - 3600.0,
        ),
    )
    found = {one.what: one for one in ailments.daemon(ill, "")}
    assert found["store"].weight is Weight.WRONG
    assert found["store"].found == "keeps nothing: disk full"
    assert found["link"].weight is Weight.WRONG
    assert found["unsent"].found == "9 documents wait, the oldest for 60 min"
    assert "message-rejected" in found["messages"].do
    (gone,) = ailments.daemon(None, "no daemon answers")
    assert gone.weight is Weight.WRONG


def test_a_damaged_store_that_was_mended_is_named_until_somebody_has_looked() -> None:
    assert list(ailments.damaged([])) == []
    (kept,) = ailments.damaged(["edgemon.sqlite.damaged-20251125T221500Z"])
    assert kept.weight is Weight.ATTENTION
    assert "damaged-20251125T221500Z" in kept.found
    mended = replace(SNAPSHOT, gateway=replace(SNAPSHOT.gateway, store_remark="damaged store set aside"))
    assert [one.found for one in ailments.daemon(mended, "") if one.what == "store"] == ["damaged store set aside"]


def test_a_gateway_that_hears_no_sensor_is_wrong() -> None:
    deaf = replace(SNAPSHOT, gateway=replace(SNAPSHOT.gateway, deaf_since=0.0))
    (found,) = [one for one in ailments.daemon(deaf, "") if one.weight is Weight.WRONG]
    assert found.found == "none is heard since 1970-01-01T00:00:00.000Z"
    assert "radio base" in found.do


def test_nobody_who_may_acknowledge_is_wrong() -> None:
    nobody = replace(GATEWAY, access=Access(Path("k")))
    assert ailments.people(nobody, {}).weight is Weight.WRONG
    assert ailments.people(GATEWAY, {}).weight is Weight.ATTENTION
    assert ailments.people(GATEWAY, {"ops": 0}).weight is Weight.ATTENTION
    assert ailments.people(GATEWAY, {"ops": 2}).weight is Weight.OK


def test_brokers() -> None:
    assert ailments.broker(GATEWAY, "").weight is Weight.OK
    assert ailments.broker(GATEWAY, "refused").weight is Weight.WRONG
    assert ailments.broker(replace(GATEWAY, broker=Broker("", 0)), "").weight is Weight.ATTENTION


def test_the_command_on_an_installation_that_does_not_run(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "plant.toml").write_text(plant_toml(1))
    (tmp_path / "gateway.toml").write_text("")
    assert main(["doctor", "--config", str(tmp_path), "--json"]) == 1
    found = {one["what"]: one for one in json.loads(capsys.readouterr().out)["findings"]}
    assert found["daemon"]["weight"] == "wrong"
    assert found["store"]["found"].endswith("there is none yet")
    assert found["disk"]["weight"] in {"ok", "wrong"}
    assert not (tmp_path / "state").exists()  # it changes nothing
    assert main(["doctor", "--config", str(tmp_path)]) == 1
    assert "no daemon answers" in capsys.readouterr().out


def test_settings_that_cannot_be_read(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "plant.toml").write_text("[site]\nid = 3\n")
    (tmp_path / "gateway.toml").write_text("")
    assert main(["doctor", "--config", str(tmp_path)]) == 1
    assert "edgemon check" in capsys.readouterr().out
    assert main(["doctor", "--config", str(tmp_path / "nowhere")]) == 2
