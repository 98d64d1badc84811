"""Samples in files: what is written is read back bit for bit, and damage is named, never returned."""

import os
import sqlite3
import zlib
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from edgemon.errors import StoreCorrupt, StoreError
from edgemon.model.reading import Counts
from edgemon.store.samples import BODY_AT, HEADER, Record, pack, unpack
from edgemon.store.segments import Place, Segments, file_of, folder_of, read
from tests.store import builders as make

AXES = st.dictionaries(st.text(max_size=5).filter(lambda t: t.isprintable()), arrays(np.int16, st.integers(0, 40)), max_size=4)


@pytest.fixture
def known() -> Iterator[sqlite3.Connection]:
    """A database that knows only where the samples end."""
    connection = sqlite3.connect(":memory:", isolation_level=None)
    connection.execute("CREATE TABLE segments (number INTEGER PRIMARY KEY, end_bytes INTEGER NOT NULL)")
    yield connection
    connection.close()


def packed(axes: dict[str, Counts]) -> tuple[bytes, int]:
    record = pack(axes)
    assert record.length == len(record.joined())
    return record.joined(), record.checksum


def raw(data: bytes) -> Record:
    return Record((data,), len(data), 0)


@given(AXES)
def test_samples_survive(axes: dict[str, Counts]) -> None:
    record, checksum = packed(axes)
    found = unpack(record, "here", checksum)
    assert list(found) == list(axes)
    assert all(np.array_equal(found[a], axes[a]) and found[a].dtype == np.int16 for a in axes)
    assert checksum == zlib.crc32(record[: HEADER.size] + record[BODY_AT:])


@pytest.mark.parametrize(
    "counts", [np.arange(-5, 5, dtype=">i2"), np.arange(20, dtype=np.int16)[::2]], ids=["big-endian", "strided"]
)
def test_samples_lie_little_endian_behind_one_another_however_they_come(counts: Counts) -> None:
    record, _ = packed({"x": counts})
    assert record.endswith(counts.astype("<i2").tobytes())
    assert np.array_equal(unpack(record, "here")["x"], counts)


@given(st.data())
def test_any_changed_byte_is_noticed(data: st.DataObject) -> None:
    record, checksum = packed({"x": make.counts(1, 30), "y": make.counts(2, 30)})
    at = data.draw(st.integers(0, len(record) - 1))
    flipped = bytearray(record)
    flipped[at] ^= data.draw(st.integers(1, 255))
    with pytest.raises(StoreCorrupt):
        unpack(bytes(flipped), "here", checksum)


@given(st.binary(max_size=80))
def test_any_bytes_are_samples_or_damaged(garbage: bytes) -> None:
    with pytest.raises(StoreCorrupt):
        unpack(garbage, "here")


@pytest.mark.parametrize("kept", range(0, 100, 7))
def test_a_record_cut_short_is_noticed(kept: int) -> None:
    record, checksum = packed({"x": make.counts(1, 60)})
    with pytest.raises(StoreCorrupt, match="here"):
        unpack(record[:kept], "here", checksum)


def test_records_lie_behind_one_another_and_are_kept(tmp_path: Path, known: sqlite3.Connection) -> None:
    segments = Segments(tmp_path, roll_bytes=1000)
    records = [pack({"x": make.counts(k, 50)}) for k in range(30)]
    places = []
    for k in range(0, 30, 3):
        placed = segments.append(records[k : k + 3])
        segments.keep(placed)
        places += placed
    segments.close()
    assert len(list(tmp_path.glob("*.seg"))) > 1
    assert all(file.stat().st_size < 1000 + 3 * 200 for file in tmp_path.glob("*.seg"))
    for k, (place, record) in enumerate(zip(places, records, strict=True)):
        assert np.array_equal(read(tmp_path, place, record.checksum)["x"], make.counts(k, 50))


def test_more_pieces_than_one_call_takes_are_written_all(tmp_path: Path) -> None:
    segments = Segments(tmp_path)
    records = [pack({"x": make.counts(k, 3)}) for k in range(1500)]  # 4500 pieces; writev(2) takes 1024
    places = segments.append(records)
    segments.close()
    for k in (0, 340, 341, 342, 1499):
        assert np.array_equal(read(tmp_path, places[k], records[k].checksum)["x"], make.counts(k, 3))


def test_a_disk_that_takes_less_than_it_is_given_is_asked_again(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A short count is allowed by pwritev(2) and pwrite(2), and a full disk gives one before it gives ENOSPC."""
    whole, single = os.pwritev, os.pwrite
    monkeypatch.setattr(os, "pwritev", lambda file, pieces, at: single(file, b"".join(pieces)[:150], at))
    monkeypatch.setattr(os, "pwrite", lambda file, data, at: whole(file, [bytes(data[:70])], at))
    segments = Segments(tmp_path)
    record = pack({"x": make.counts(1, 100), "y": make.counts(2, 100)})
    place = segments.append([record])[0]
    segments.close()
    assert file_of(tmp_path, 1).read_bytes() == record.joined()
    assert np.array_equal(read(tmp_path, place, record.checksum)["y"], make.counts(2, 100))


def test_what_is_not_kept_is_cut_off_and_its_place_used_again(tmp_path: Path) -> None:
    segments = Segments(tmp_path)
    segments.keep(segments.append([raw(b"a" * 100)]))
    segments.append([raw(b"b" * 300)])
    segments.forget()
    assert file_of(tmp_path, 1).stat().st_size == 100
    assert segments.append([raw(b"c")]) == [Place(1, 100, 1)]
    segments.close()


def test_a_start_cuts_off_what_a_crash_left_behind(tmp_path: Path, known: sqlite3.Connection) -> None:
    file_of(tmp_path, 1).write_bytes(b"a" * 100 + b"never committed")
    known.execute("INSERT INTO segments VALUES (1, 100)")
    segments = Segments(tmp_path)
    segments.resume(known)
    assert file_of(tmp_path, 1).read_bytes() == b"a" * 100
    assert segments.append([raw(b"next")]) == [Place(1, 100, 4)]
    assert segments.remark == ""
    segments.close()


@pytest.mark.parametrize("left", [None, 40])
def test_a_segment_gone_or_cut_is_never_written_to(tmp_path: Path, known: sqlite3.Connection, left: int | None) -> None:
    if left is not None:
        file_of(tmp_path, 1).write_bytes(b"a" * left)
    known.execute("INSERT INTO segments VALUES (1, 100)")
    segments = Segments(tmp_path)
    segments.resume(known)
    assert "000001.seg" in segments.remark
    assert segments.append([raw(b"next")])[0] == Place(2, 0, 4)
    segments.close()


def test_segments_of_a_database_that_is_gone_are_left_alone(tmp_path: Path, known: sqlite3.Connection) -> None:
    file_of(tmp_path, 1).write_bytes(b"of another database")
    segments = Segments(tmp_path)
    segments.resume(known)
    assert segments.append([raw(b"mine")]) == [Place(2, 0, 4)]
    assert file_of(tmp_path, 1).read_bytes() == b"of another database"
    segments.close()


def test_a_missing_segment_is_named(tmp_path: Path) -> None:
    with pytest.raises(StoreCorrupt, match=r"000007\.seg"):
        read(tmp_path, Place(7, 0, 10), 0)


def test_damage_is_named_with_file_and_offset(tmp_path: Path) -> None:
    segments = Segments(tmp_path)
    record, checksum = packed({"x": make.counts(1)})
    place = segments.append([raw(b"before"), raw(record)])[1]
    segments.close()
    with file_of(tmp_path, 1).open("r+b") as file:
        os.pwrite(file.fileno(), b"\xff", place.offset + 40)
    with pytest.raises(StoreCorrupt, match=r"000001\.seg at byte 6: the checksum"):
        read(tmp_path, place, checksum)


def test_only_one_gateway_writes(tmp_path: Path) -> None:
    first = Segments(tmp_path)
    with pytest.raises(StoreError, match="another gateway"):
        Segments(tmp_path)
    first.close()
    Segments(tmp_path).close()


def test_segments_lie_beside_their_database() -> None:
    assert folder_of(Path("state/edgemon.sqlite")) == Path("state/edgemon.sqlite.segments")
