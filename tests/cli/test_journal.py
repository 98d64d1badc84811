"""`edgemon journal`: search and verification, by the file alone."""

import json
import sqlite3
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest

from edgemon.cli.main import main
from edgemon.store.port import Commit
from edgemon.store.sqlite import SqliteStore
from edgemon.store.wire import journal_document
from tests.store import builders as make

DAY = 86_400.0
ACK = replace(make.raised(make.T0 + DAY), change="ACK", by="operator on shift", reason="seen\x1b[2J")


@pytest.fixture
async def file(tmp_path: Path) -> Path:
    """A journal of four entries, a day apart."""
    path = tmp_path / "edgemon.sqlite"
    store = await SqliteStore.open(path)
    for k, event in enumerate((make.started(), ACK, make.raised(make.T0 + 2 * DAY), make.started(1))):
        await store.commit(Commit(make.T0 + k * DAY, events=(event,)))
    await store.close()
    return path


async def printed(capsys: pytest.CaptureFixture[str], *arguments: str) -> list[dict[str, object]]:
    assert main(["journal", *arguments, "--json"]) == 0
    return [json.loads(line) for line in capsys.readouterr().out.splitlines()]


@pytest.mark.parametrize(
    ("options", "found"),
    [
        ((), [1, 2, 3, 4]),
        (("--kind", "alarm-changed"), [2, 3]),
        (("--kind", "alarm-changed", "--kind", "gateway-started"), [1, 2, 3, 4]),
        (("--machine", "hp-pump-1"), [2, 3]),
        (("--machine", "hp-pump-9"), []),
        (("--person", "operator on shift"), [2]),
        (("--since", "2027-01-16T08:00:00.25Z"), [2, 3, 4]),
        (("--until", "2027-01-16T08:00:00.25Z"), [1]),
        (("--since", "2027-01-16T08:00:00.25Z", "--until", "2027-01-17T08:00:00.25Z"), [2]),
        (("--limit", "2"), [3, 4]),
        (("--limit", "1", "--machine", "hp-pump-1"), [3]),
    ],
)
async def test_entries_are_searched(
    file: Path, capsys: pytest.CaptureFixture[str], options: tuple[str, ...], found: list[int]
) -> None:
    assert [one["seq"] for one in await printed(capsys, "--file", str(file), *options)] == found


async def test_for_programs_an_entry_is_what_is_published(file: Path, capsys: pytest.CaptureFixture[str]) -> None:
    store = await SqliteStore.open(file)
    (entry,) = await store.commit(Commit(make.T0 + 4 * DAY, events=(make.raised(),)))
    await store.close()
    assert (await printed(capsys, "--file", str(file), "--limit", "1"))[0] == journal_document(entry)
    assert entry.hash


async def test_for_people_no_text_steers_the_terminal(file: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["journal", "--file", str(file)]) == 0
    out = capsys.readouterr().out
    assert len(out.splitlines()) == 4
    assert "operator on shift" in out
    assert "\x1b" not in out


async def test_verification_answers_with_its_exit_code(file: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["journal", "verify", "--file", str(file)]) == 0
    out = capsys.readouterr().out
    assert "whole" in out
    checkpoint = out.split("keep elsewhere: ")[1].strip()
    assert main(["journal", "verify", "--file", str(file), "--checkpoint", checkpoint, "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert f"{told['newest']['seq']}:{told['newest']['hash']}" == checkpoint
    with closing(sqlite3.connect(file)) as plain, plain:
        plain.execute("DROP TRIGGER journal_stands")
        plain.execute("UPDATE journal SET body = replace(body, 'on shift', 'at home') WHERE seq = 2")
    assert main(["journal", "verify", "--file", str(file), "--json"]) == 1
    told = json.loads(capsys.readouterr().out)
    assert (told["whole"], told["first_broken"], told["break_count"]) == (False, 2, 1)
    assert main(["journal", "verify", "--file", str(file)]) == 1
    assert "BROKEN, first at entry 2" in capsys.readouterr().out


async def test_what_is_no_checkpoint_or_no_time_is_said(file: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["journal", "verify", "--file", str(file), "--checkpoint", "12"]) == 2
    assert "--checkpoint" in capsys.readouterr().err
    assert main(["journal", "--file", str(file), "--since", "yesterday"]) == 2
    assert "--since" in capsys.readouterr().err
    assert main(["journal", "--file", str(file.with_name("none"))]) == 1
    assert "no store here" in capsys.readouterr().err
