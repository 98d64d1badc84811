"""README and DEVELOPERS stay short and true: every command, every top-level name and every key of a setting is told."""

import argparse
import subprocess
from pathlib import Path

from edgemon.cli.main import parser

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text()
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text()
TOP_LEVEL = {"README.md", "DEVELOPERS.md", "pyproject.toml", "edgemon", "tests", "config", "simulators"}


def commands() -> list[str]:
    (action,) = (action for action in parser()._actions if isinstance(action, argparse._SubParsersAction))
    return sorted(action.choices)


def test_pages_are_short() -> None:
    assert len(README.splitlines()) <= 250
    assert len(DEVELOPERS.splitlines()) <= 250


def test_readme_tells_every_command() -> None:
    assert [name for name in commands() if f"edgemon {name}" not in README] == []


def test_readme_names_the_caution() -> None:
    assert "It must not be the only means of stopping a machine or warning a person" in " ".join(README.split())


def test_developers_page_names_every_folder() -> None:
    folders = [path.name for path in (ROOT / "edgemon").iterdir() if path.is_dir() and path.name[0] not in "_."]
    assert [name for name in folders if f"{name}/" not in DEVELOPERS] == []


def test_top_level_holds_what_the_design_card_allows() -> None:
    listed = subprocess.run(["git", "ls-tree", "--name-only", "HEAD"], capture_output=True, text=True, check=False, cwd=ROOT)
    names = {name for name in listed.stdout.split() if not name.startswith(".")}
    assert names <= TOP_LEVEL


def test_links_to_files_lead_somewhere() -> None:
    for text in (README, DEVELOPERS):
        for target in (part.split(")")[0] for part in text.split("](")[1:]):
            if "://" not in target and not target.startswith("#"):
                assert (ROOT / target).exists(), target
