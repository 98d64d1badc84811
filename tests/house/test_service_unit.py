"""The unit file for the service manager, as its own tool sees it."""

import shutil
import subprocess
from pathlib import Path

import pytest

UNIT = Path(__file__).parents[2] / "config" / "service" / "edgemon.service"


def test_the_unit_is_well_formed_and_hardened() -> None:
    """systemd-analyze(1) `security`: below 2 is its `OK`; the figure is in DEVELOPERS.md."""
    tool = shutil.which("systemd-analyze")
    if tool is None:
        pytest.skip("no systemd-analyze here; it comes with systemd")
    asked = [tool, "security", "--offline=true", "--no-pager", "--threshold=20", str(UNIT)]
    done = subprocess.run(asked, capture_output=True, text=True, timeout=60, check=False)
    assert done.returncode == 0, done.stdout[-2000:] + done.stderr


def test_people_are_still_told_apart() -> None:
    """With users of its own the service would see everyone at the other end of its socket as nobody (user_namespaces(7))."""
    lines = UNIT.read_text().splitlines()
    assert "PrivateUsers=no" in lines
    assert "Type=notify" in lines
    assert any(line.startswith("WatchdogSec=") for line in lines)
