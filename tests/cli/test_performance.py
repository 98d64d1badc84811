"""`edgemon performance`: from a store of its own, as a table and for programs."""

import json
from pathlib import Path

import pytest

from edgemon.alarms.performance import performance
from edgemon.cli.main import main
from edgemon.daemon.performing import performance_of
from edgemon.store.memory import MemoryStore
from edgemon.store.port import Commit
from edgemon.store.reader import SqliteReader
from edgemon.store.sqlite import SqliteStore
from tests.alarms.test_performance import DAY, T0, changed, cleared, journal, key, raised
from tests.alarms.test_performance import S as STATE

EVENTS = sorted(
    [
        changed(T0 - 2 * DAY, "RAISED", STATE.UNACK, key(7)),
        *(raised(T0 + 300.0 + 7.0 * k, 1 + k % 5) for k in range(14)),
        cleared(T0 + 900.0, 1),
        changed(T0 + 950.0, "RAISED", STATE.UNACK, key(1, sim=True)),
        *(raised(T0 + 3600.0 * k, 6) for k in range(1, 20)),
    ],
    key=lambda event: event.at,
)
PERIOD = ("--since", "2026-01-01", "--until", "2026-01-02")


@pytest.fixture
async def file(tmp_path: Path) -> Path:
    store = await SqliteStore.open(tmp_path / "edgemon.sqlite")
    for event in EVENTS:
        await store.commit(Commit(event.at, events=(event,)))
    await store.close()
    return tmp_path / "edgemon.sqlite"


async def test_from_the_store_it_is_what_it_is_from_the_events(file: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("edgemon.daemon.performing._PAGE", 4)
    expected = performance(journal(EVENTS), T0, T0 + DAY)
    memory = MemoryStore()
    for event in EVENTS:
        await memory.commit(Commit(event.at, events=(event,)))
    reader = await SqliteReader.open(file)
    for one in (reader, memory):
        assert await performance_of(one, T0, T0 + DAY, sim=False) == expected
    await reader.close()
    assert (expected.annunciations, len(expected.floods), len(expected.stale), expected.other) == (33, 1, 1, 1)


def test_the_table_names_figure_target_verdict_and_source(file: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["performance", "--file", str(file), *PERIOD]) == 0
    out = capsys.readouterr().out
    assert "33 annunciations; not counted: 1 simulated" in out
    (row,) = [line for line in out.splitlines() if line.startswith("10-min periods with more than 10")]
    assert row.split("  ")[-1].strip() == "ISA-18.2-2016 16.4.3"
    assert "0.694 %" in row  # 1 of 144
    assert " met " in row
    assert "hp-pump-7/motor-de-h/velocity_rms since 2025-12-30 00:00:00, still there" in out
    assert "2026-01-01 00:00:00 to 2026-01-01 00:10:00 UTC: 14" in out


def test_for_programs_times_are_rfc_3339(file: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["performance", "--file", str(file), *PERIOD, "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert (told["since"], told["until"], told["annunciations"]) == ("2026-01-01T00:00:00.000Z", "2026-01-02T00:00:00.000Z", 33)
    assert told["floods"][0]["begin"] == "2026-01-01T00:00:00.000Z"
    assert told["stale"][0]["until"] is None
    assert main(["performance", "--file", str(file), *PERIOD, "--sim", "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert (told["sim"], told["annunciations"], told["other"]) == (True, 1, 33)


def test_a_period_that_ends_before_it_begins_is_said(file: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["performance", "--file", str(file), "--since", "2026-01-02", "--until", "2026-01-01"]) == 2
    assert "--since" in capsys.readouterr().err
