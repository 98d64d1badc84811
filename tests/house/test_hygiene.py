"""What static checks cannot see: which libraries are loaded by whom, and what text reaches a terminal as markup."""

import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]


@pytest.mark.parametrize(
    ("module", "absent"),
    [
        ("edgemon.engine.judge", ("textual", "paho", "aiosqlite", "fastapi", "scipy.signal", "scipy.stats")),
        ("edgemon.daemon.service", ("textual", "scipy.signal", "scipy.stats", "simulators")),
        ("edgemon.cli.main", ("textual", "fastapi", "scipy", "paho", "edgemon.daemon")),
        ("edgemon.cli.board", ("fastapi", "uvicorn", "numpy", "scipy", "paho", "aiosqlite", "edgemon.daemon")),
        ("edgemon.board.app", ("numpy", "httpx", "pydantic", "edgemon.api", "edgemon.settings", "edgemon.engine")),
        ("edgemon.board.port", ("paho", "aiosqlite", "scipy", "edgemon.engine", "edgemon.store")),
    ],
)
def test_a_fresh_process_loads_no_more_than_it_needs(module: str, absent: tuple[str, ...]) -> None:
    code = f"import sys, {module}; print(*[name for name in {absent!r} if name in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=ROOT)
    assert done.stdout.split() == []
