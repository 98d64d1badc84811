"""`edgemon demo --headless` as a person starts it: it ends when asked, says what it saw, and leaves nothing behind."""

import os
import re
import signal
import sqlite3
import subprocess
import sys
import time
from contextlib import closing
from pathlib import Path

import pytest

from tests.support.daemon import wait_until

pytestmark = [pytest.mark.live, pytest.mark.slow]


def demo(temporary: Path, *arguments: str) -> "subprocess.Popen[str]":
    temporary.mkdir(exist_ok=True)
    return subprocess.Popen(
        [sys.executable, "-m", "edgemon", "demo", "--headless", *arguments],
        env={**os.environ, "TMPDIR": str(temporary)},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


def children_of(pid: int) -> list[int]:
    """Processes whose parent it is. Source: proc_pid_task(5), `children`."""
    try:
        return [int(one) for one in Path(f"/proc/{pid}/task/{pid}/children").read_text().split()]
    except OSError:
        return []


def is_alive(pid: int) -> bool:
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] != "Z"
    except OSError:
        return False


def test_it_leaves_nothing_behind(tmp_path: Path) -> None:
    running = demo(tmp_path / "tmp", "--for", "8s")
    out, err = running.communicate(timeout=60)
    assert running.returncode == 0, err
    assert "Traceback" not in err
    lines = out.splitlines()
    assert lines[0] == "Saltmarsh Desalination Works (simulated)"
    assert [line.split()[0] for line in lines[1:]] == ["messages", "captures", "states", "events", "worst"]
    messages, rejected, _ = (int(number) for number in re.findall(r"\d+", lines[1]))
    captures, readings = (int(number) for number in re.findall(r"\d+", lines[2]))
    # every sensor but one sends every 6 s at most
    assert messages > 40
    assert captures > 30
    assert readings > 0
    assert rejected == 0
    states = {word: int(count) for count, word in re.findall(r"(\d+) ([a-z-]+)", lines[3])}
    assert sum(states.values()) == 26
    assert states["not-running"] >= 1
    assert list((tmp_path / "tmp").iterdir()) == []


def test_ctrl_c_ends_it_in_order_and_keep_keeps_the_store(tmp_path: Path) -> None:
    kept = tmp_path / "kept"
    running = demo(tmp_path / "tmp", "--keep", str(kept), "--for", "10m")
    try:
        (child,) = wait_until(lambda: children_of(running.pid), 30.0)
        store = kept / "edgemon.sqlite"

        def stored() -> int:
            if not store.exists():
                return 0
            with closing(sqlite3.connect(f"file:{store}?mode=ro", uri=True)) as base:
                try:
                    return int(base.execute("SELECT count(*) FROM captures").fetchone()[0])
                except sqlite3.OperationalError:
                    return 0

        seen = wait_until(stored, 30.0)
        began = time.monotonic()
        running.send_signal(signal.SIGINT)
        out, err = running.communicate(timeout=60)
        assert running.returncode == 0, err
        assert time.monotonic() - began < 30.0
        assert "Traceback" not in err + (kept / "daemon.log").read_text()
        assert out.startswith("Saltmarsh Desalination Works (simulated)")
        assert not is_alive(child)
        assert stored() >= seen
        with closing(sqlite3.connect(store)) as base:
            assert base.execute("SELECT count(*) FROM captures WHERE sim = 0").fetchone() == (0,)
            (last,) = base.execute("SELECT kind FROM journal ORDER BY seq DESC LIMIT 1").fetchone()
        assert last == "gateway-stopped"
        assert not (kept / "edgemon.sock").exists()
    finally:
        running.kill()
        running.wait()
