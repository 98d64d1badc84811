"""Damaged stores: bytes flipped, pages zeroed and filled with noise, files cut, at many places. What is saved is counted.

Source of the layout: SQLite, Database File Format. What was written is the measure of what is found.
"""

import asyncio
import os
import random
import shutil
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from edgemon.errors import StoreCorrupt, StoreError, StoreTooNew
from edgemon.store import migrate
from edgemon.store.mend import MENDING, MOST, Mended, may_mend, mend, resume_mending, set_aside
from edgemon.store.port import Commit
from edgemon.store.reader import SqliteReader
from edgemon.store.segments import file_of, folder_of
from edgemon.store.sqlite import SqliteStore
from tests.store import builders as make

WRITTEN = 120
PAGE = 4096
NOW = make.T0 + 1e6


async def write(path: Path, count: int = WRITTEN) -> None:
    store = await SqliteStore.open(path)
    for number in range(1, count + 1):
        await store.commit(
            Commit(
                make.T0 + number,
                captures=(make.capture(number),),
                parts=(make.part(1, of=10_000 + number),),
                measurements=(make.measurement(0.001 * number, taken_at=make.T0 + number),),
                readings=(make.reading(50.0, taken_at=make.T0 + number),),
                quarantined=(make.quarantined(number),),
                events=(make.started(number),),
                points=(make.point_state(0.001 * number), make.point_state(0.001 * number, sim=True)),
                counters={"captures": number},
            )
        )
    await store.close()


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("whole") / "edgemon.sqlite"
    asyncio.run(write(path))
    return path


@pytest.fixture
def path(whole: Path, tmp_path: Path) -> Path:
    shutil.copytree(whole.parent, tmp_path, dirs_exist_ok=True)
    return tmp_path / "edgemon.sqlite"


class Found:
    """What a store holds."""

    def __init__(self, captures: int, journal: list[int], trend: list[float], points: int, next_seq: int) -> None:
        self.captures, self.journal, self.trend, self.points, self.next_seq = captures, journal, trend, points, next_seq


async def look(path: Path) -> Found:
    """Open it as a daemon does, use it, and count."""
    store = await SqliteStore.open(path)
    saved = await store.load()
    entries = await store.commit(
        Commit(NOW, captures=(make.capture(99_999),), events=(make.started(0),), points=(make.point_state(),))
    )
    reader = await SqliteReader.open(path)
    keys = await reader.captures(None, 0.0, 4e9, most=10_000)
    for key in keys:
        await reader.capture(key)
    journal = [one.seq for one in await reader.journal(10_000, after=0)]
    trend = [one.value for one in await reader.trend(make.POINT, "velocity_rms", 0.0, 4e9, most=10_000)]
    await reader.close()
    await store.close()
    return Found(len(keys) - 1, journal[:-1], trend, len(saved.points), entries[0].seq)


def content(path: Path) -> bytes:
    return path.read_bytes()


def pages(path: Path) -> int:
    return path.stat().st_size // PAGE


def damage(path: Path, page: int, kind: str, chance: random.Random) -> None:
    with path.open("r+b") as file:
        file.seek(page * PAGE)
        match kind:
            case "zeros":
                file.write(bytes(PAGE))
            case "noise":
                file.write(chance.randbytes(PAGE))
            case "head":
                file.write(chance.randbytes(12))
            case "cut":
                file.truncate(page * PAGE + chance.randrange(PAGE))


async def opens(path: Path) -> bool:
    try:
        store = await SqliteStore.open(path)
    except StoreCorrupt:
        return False
    try:
        await store.load()
    except StoreCorrupt:
        return False
    finally:
        await store.close()
    return True


@pytest.mark.parametrize("kind", ["zeros", "noise", "head"])
async def test_any_one_page_damaged_costs_little_and_never_the_start(path: Path, tmp_path: Path, kind: str) -> None:
    chance = random.Random(f"pages {kind}")
    trials, mended, kept = 0, 0, {"captures": 0, "journal": 0, "trend": 0}
    for page in chance.sample(range(pages(path)), 12):
        trial = tmp_path / f"{kind}-{page}" / path.name
        shutil.copytree(path.parent, trial.parent, ignore=shutil.ignore_patterns(f"{kind}-*"))
        damage(trial, page, kind, chance)
        trials += 1
        if not await opens(trial):
            assert may_mend(trial, NOW)
            told = mend(trial, NOW)
            assert told.kept_as.exists()
            assert told.note == ""
            mended += 1
        found = await look(trial)
        assert found.next_seq > WRITTEN, "no number of the journal is given a second time"
        kept["captures"] += found.captures
        kept["journal"] += len(found.journal)
        kept["trend"] += len(found.trend)
        shutil.rmtree(trial.parent)
    assert mended >= 6
    for what, count in kept.items():
        assert count >= 0.85 * trials * WRITTEN, (what, count, trials * WRITTEN)
        assert count <= trials * WRITTEN


@pytest.mark.parametrize("share", [0.2, 0.5, 0.8, 0.95])
async def test_a_file_cut_short(path: Path, share: float) -> None:
    damage(path, int(share * pages(path)), "cut", random.Random(share))
    assert not await opens(path)
    told = mend(path, NOW)
    found = await look(path)
    assert found.next_seq > WRITTEN
    if share > 0.7:
        assert found.captures + len(found.journal) + len(found.trend) > WRITTEN
    if len(found.journal) < WRITTEN:
        assert "missing" in told.journal


async def test_the_journals_chain_is_followed_as_far_as_it_goes(path: Path) -> None:
    with closing(sqlite3.connect(path)) as plain:
        page = plain.execute("SELECT rootpage FROM sqlite_schema WHERE name = 'journal'").fetchone()[0]
    leaves = [number for number in range(pages(path)) if number + 1 != page and _holds(path, number, b"plant 60")]
    damage(path, leaves[0], "noise", random.Random(3))
    assert not await opens(path)
    told = mend(path, NOW)
    found = await look(path)
    missing = sorted(set(range(1, WRITTEN + 1)) - set(found.journal))
    assert 60 in missing
    assert len(missing) < 40, "one page of it"
    assert missing == list(range(missing[0], missing[-1] + 1))
    assert told.journal.startswith(f"entry {missing[0]} and all up to {missing[-1]} are missing")
    assert (found.captures, len(found.trend)) == (WRITTEN, WRITTEN), "other tables lose nothing"


def _holds(path: Path, number: int, text: bytes) -> bool:
    with path.open("rb") as file:
        file.seek(number * PAGE)
        return text in file.read(PAGE)


async def test_a_torn_first_page(path: Path) -> None:
    damage(path, 0, "zeros", random.Random(0))
    assert not await opens(path)
    told = mend(path, NOW)
    found = await look(path)
    assert (found.captures, len(found.journal), len(found.trend), found.points) == (WRITTEN, WRITTEN, WRITTEN, 2)
    assert told.journal == f"whole up to entry {WRITTEN}"


async def test_states_that_make_no_sense_are_left_out_alone(path: Path) -> None:
    with closing(sqlite3.connect(path)) as plain, plain:
        plain.execute("UPDATE point_states SET body = 'garbage' WHERE sim = 0")
    assert not await opens(path)
    told = mend(path, NOW)
    found = await look(path)
    assert (found.points, found.captures, len(found.journal)) == (1, WRITTEN, WRITTEN)
    assert any("point_states: 1 rows, 1 rows make no sense" in str(one) for one in told.saved)


async def test_captures_whose_samples_are_gone_are_left_out_and_no_file_is_cut(path: Path) -> None:
    segment = file_of(folder_of(path), 1)
    size = segment.stat().st_size // 2
    with segment.open("r+b") as file:
        file.truncate(size)
    damage(path, pages(path) - 3, "noise", random.Random(1))
    if await opens(path):
        pytest.fail("the damage was to be noticed")
    mend(path, NOW)
    found = await look(path)
    assert 0.3 * WRITTEN < found.captures < 0.6 * WRITTEN
    assert segment.stat().st_size > size, "the next capture went behind what is there"


async def test_the_damaged_files_are_kept_byte_for_byte(path: Path) -> None:
    damage(path, 3, "noise", random.Random(2))
    before = content(path)
    told = mend(path, NOW)
    assert content(told.kept_as) == before
    assert told.kept_as.name == "edgemon.sqlite.damaged-20270126T214640Z"  # by `date -u -d @1801000000`
    assert set_aside(path) == (told.kept_as,)


async def test_a_newer_version_and_another_program_are_left_alone(path: Path, tmp_path: Path) -> None:
    with closing(sqlite3.connect(path, isolation_level=None)) as plain:
        plain.execute(f"PRAGMA user_version = {migrate.newest() + 1}")
    damage(path, 3, "noise", random.Random(2))
    before = content(path)
    with pytest.raises(StoreTooNew):
        mend(path, NOW)
    other = tmp_path / "other.sqlite"
    with closing(sqlite3.connect(other)) as plain:
        plain.execute("PRAGMA application_id = 7")
        plain.execute("CREATE TABLE theirs (a)")
    with pytest.raises(StoreError, match="another program"):
        mend(other, NOW)
    assert content(path) == before
    assert set_aside(path) == set_aside(other) == ()


def test_a_text_file_is_never_taken_for_a_store_of_ours(tmp_path: Path) -> None:
    path = tmp_path / "plant.toml"
    path.write_text("[site]\n")
    assert not may_mend(path, NOW)


async def test_a_disk_that_damages_one_store_after_the_other_is_not_written_to_for_ever(path: Path) -> None:
    for number in range(MOST):
        assert may_mend(path, NOW)
        aside = path.with_name(f"{path.name}.damaged-{number}")
        aside.touch()
        os.utime(aside, (NOW, NOW))
    assert not may_mend(path, NOW + 3600.0)
    assert may_mend(path, NOW + 2 * 86_400.0)


def test_a_crash_between_the_two_names_is_finished_at_the_next_start(path: Path) -> None:
    path.rename(path.with_name(path.name + MENDING))
    resume_mending(path)
    half_made = path.with_name(path.name + MENDING)
    half_made.write_bytes(b"half")
    resume_mending(path)
    assert not half_made.exists(), "it must never be taken for a store"
    assert asyncio.run(look(path)).captures == WRITTEN


async def test_one_that_a_daemon_has_open_is_not_touched(path: Path) -> None:
    store = await SqliteStore.open(path)
    with pytest.raises(StoreError, match="open"):
        mend(path, NOW)
    await store.close()
    assert isinstance(mend(path, NOW), Mended), "a whole one is copied whole"
    assert (await look(path)).captures == WRITTEN
