"""Linter, formatter, type checker and import contracts, as everyone runs them."""

import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
TOOLS = Path(sys.executable).parent


@pytest.mark.slow
@pytest.mark.parametrize(
    "command",
    [("ruff", "check", "."), ("ruff", "format", "--check", "."), ("lint-imports",), ("mypy",)],
    ids=lambda command: " ".join(command),
)
def test_tool_is_content(command: tuple[str, ...]) -> None:
    tool = shutil.which(command[0], path=str(TOOLS))
    if tool is None:
        pytest.skip(f"{command[0]} is not installed; pip install -e '.[dev]'")
    done = subprocess.run([tool, *command[1:]], capture_output=True, text=True, check=False, cwd=ROOT)
    assert done.returncode == 0, done.stdout + done.stderr
