"""The ballast takes its space in earnest, and is given up at once. Source: posix_fallocate(3), getrlimit(2)."""

import errno
import os
from pathlib import Path

import pytest

from edgemon.store.ballast import LEAST_BYTES, Ballast


def blocks(path: Path) -> int:
    return path.stat().st_blocks * 512


def test_the_space_is_taken_and_given_up(tmp_path: Path) -> None:
    ballast = Ballast(tmp_path / "edgemon.sqlite", 3 << 20)
    ballast.make()
    (made,) = tmp_path.iterdir()
    assert blocks(made) >= 3 << 20, "a file with holes would hold nothing in reserve"
    inode = made.stat().st_ino
    ballast.make()
    assert made.stat().st_ino == inode
    assert ballast.give_up()
    assert list(tmp_path.iterdir()) == []
    assert not ballast.give_up()


def test_one_that_is_too_small_is_made_anew(tmp_path: Path) -> None:
    Ballast(tmp_path / "edgemon.sqlite", 1 << 20).make()
    Ballast(tmp_path / "edgemon.sqlite", 2 << 20).make()
    (made,) = tmp_path.iterdir()
    assert blocks(made) >= 2 << 20


def test_without_one_it_is_looked_whether_there_is_room(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[int] = []
    monkeypatch.setattr(os, "posix_fallocate", lambda file, begin, size: asked.append(size))
    Ballast(tmp_path / "edgemon.sqlite", 0).make()
    assert asked == [LEAST_BYTES]
    assert list(tmp_path.iterdir()) == []


def test_no_room_leaves_nothing_behind(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(file: int, begin: int, size: int) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(os, "posix_fallocate", full)
    with pytest.raises(OSError, match="No space left"):
        Ballast(tmp_path / "edgemon.sqlite", 1 << 20).make()
    assert list(tmp_path.iterdir()) == []
