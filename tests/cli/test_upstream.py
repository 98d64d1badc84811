"""What people are told of an upstream that is behind or refuses, wherever they look; and trying once more."""

import json
import os
import pwd
from dataclasses import replace
from pathlib import Path

import pytest
from prometheus_client.openmetrics.parser import text_string_to_metric_families

from edgemon.api.metrics import metrics_text
from edgemon.board.picture import Picture
from edgemon.board.theme import Look
from edgemon.board.view.banner import summary, troubles
from edgemon.cli import ailments
from edgemon.cli.main import main
from edgemon.cli.status import lines
from edgemon.model.upstream import Source, UpstreamView
from edgemon.model.vitals import Vitals
from edgemon.store.outbox import Outbox, parked_in
from edgemon.store.port import Commit
from edgemon.store.sqlite import SqliteStore
from tests.settings.support import write
from tests.store import builders as make
from tests.support.fake_site import SNAPSHOT

NOW = SNAPSHOT.gateway.now
WELL = UpstreamView("historian", "postgresql", True, "connected", 3, NOW - 5.0, 0, 900, NOW - 1.0)
BEHIND = replace(WELL, up=False, detail="nothing listens there", waiting=5000, oldest_unsent=NOW - 7200.0, parked=2)


def shown(one: UpstreamView) -> str:
    snapshot = replace(SNAPSHOT, gateway=replace(SNAPSHOT.gateway, upstreams=(one,)))
    return "\n".join([*lines(snapshot), *(f"{found.what}: {found.found}" for found in ailments.daemon(snapshot, ""))])


def test_a_moment_of_waiting_is_no_trouble() -> None:
    text = shown(WELL)
    assert "upstream historian: postgresql up (connected); 3 wait, the oldest of 2023-11-14T22:14:55.000Z; 900 sent" in text
    assert "behind" not in text.lower()


def test_an_upstream_that_is_behind_says_how_far_and_what_it_refused() -> None:
    text = shown(BEHIND)
    assert "upstream historian: postgresql DOWN (nothing listens there); BEHIND: 5000 wait" in text
    assert "2 refused and parked" in text
    assert "upstream: historian is 2.0 h behind, 5000 wait" in text
    assert "upstream: historian refused 2" in text


def test_the_board_says_it_in_its_status_line() -> None:
    picture = Picture()
    picture.gateway = replace(SNAPSHOT.gateway, upstreams=(BEHIND, WELL))
    said = [text for text, _ in troubles(picture, summary(SNAPSHOT.machines), Look())]
    assert [text for text in said if "historian" in text] == ["historian 2h behind", "2 refused by historian"]


def test_the_figures_have_it() -> None:
    snapshot = replace(SNAPSHOT, gateway=replace(SNAPSHOT.gateway, upstreams=(BEHIND,)))
    text = metrics_text(snapshot, Vitals(0.0, 0, 0, 0.0, 0.0, 0.0)).decode()
    found = {
        sample.name: sample.value
        for family in text_string_to_metric_families(text)  # type: ignore[no-untyped-call]
        for sample in family.samples
        if sample.labels == {"upstream": "historian"}
    }
    assert found == {
        "edgemon_upstream_waiting": 5000.0,
        "edgemon_upstream_oldest_seconds": 7200.0,
        "edgemon_upstream_parked": 2.0,
        "edgemon_upstream_sent_total": 900.0,
    }


async def park(path: Path) -> None:
    store = await SqliteStore.open(path)
    outbox = await Outbox.open(path, store, "saltmarsh/gateway-1")
    await outbox.begin([("historian", Source.JOURNAL)])
    await store.commit(Commit(make.T0, events=(make.started(1),)))
    (item,) = await outbox.ahead("historian", Source.JOURNAL, 9)
    await outbox.done("historian", Source.JOURNAL, item.position, [(item, "too \x1b[2J large")], make.T0)
    await outbox.close()
    await store.close()


async def test_what_was_refused_is_listed_and_tried_once_more(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "edgemon.sqlite"
    await park(path)
    assert main(["upstream", "parked", "--file", str(path)]) == 0
    told = capsys.readouterr().out
    assert "historian  saltmarsh/gateway-1/journal/1/" in told
    assert "\x1b" not in told
    assert main(["upstream", "retry", "--file", str(path), "other"]) == 0
    assert capsys.readouterr().out == "0 to be tried once more\n"
    assert main(["upstream", "retry", "--file", str(path)]) == 0
    assert parked_in(path)[0].again
    capsys.readouterr()
    assert main(["journal", "--file", str(path), "--kind", "retry-ordered", "--json"]) == 0
    (entry,) = (json.loads(line) for line in capsys.readouterr().out.splitlines())
    assert (entry["count"], entry["upstream"], entry["by"]) == (1, "", pwd.getpwuid(os.getuid()).pw_name)
    assert entry["station"] == f"local, process {os.getpid()}"
    assert main(["journal", "verify", "--file", str(path)]) == 0, "the chain is whole"
    capsys.readouterr()
    assert main(["upstream", "parked", "--json", "--file", str(path), "historian"]) == 0
    document = json.loads(capsys.readouterr().out)
    assert (document["again"], document["item"]["key"]) == (True, document["key"])


def test_a_store_that_is_not_there_is_named(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["upstream", "parked", "--file", str(tmp_path / "gone.sqlite")]) == 1
    assert "gone.sqlite" in capsys.readouterr().err


def test_the_sql_for_an_administrator_names_schema_and_role(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    gateway = """
[gateway]
id = "gateway-1"
[[upstream]]
name = "historian"
url = "postgresql://127.0.0.1/plant"
into = "vibration"
username = "gw"
[[upstream]]
name = "company"
url = "mqtt://127.0.0.1"
"""
    write(tmp_path, gateway=gateway)
    assert main(["upstream", "sql", "--config", str(tmp_path), "historian"]) == 0
    told = capsys.readouterr().out
    assert 'CREATE SCHEMA IF NOT EXISTS "vibration";' in told
    assert 'GRANT USAGE ON SCHEMA "vibration" TO "gw";' in told
    made = [f'INSERT INTO "vibration".edgemon_schema (version) VALUES ({version})' for version in (1, 2)]
    assert 0 < told.index(made[0]) < told.rindex("CREATE OR REPLACE FUNCTION") < told.index(made[1])
    assert main(["upstream", "sql", "--config", str(tmp_path), "company"]) == 2
    assert "known: historian" in capsys.readouterr().err
