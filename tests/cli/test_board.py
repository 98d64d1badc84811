"""Which daemons a board is attached to."""

from pathlib import Path

import pytest

from edgemon.api.client import Daemon
from edgemon.board.several import Several
from edgemon.cli.board import _command, source_of
from edgemon.cli.main import main, parser

SALTMARSH = Path(__file__).parents[2] / "config" / "saltmarsh"
WAYS = ["--attach", "unix:/run/a.sock", "--attach", "unix:/run/b.sock"]


def test_one_gateway_is_shown_as_it_is_and_several_as_one() -> None:
    one = source_of(parser(["board"]).parse_args(["board", *WAYS[:2]]))
    both = source_of(parser(["board"]).parse_args(["board", *WAYS]))
    assert isinstance(one, Daemon)
    assert one.where == "/run/a.sock"
    assert isinstance(both, Several)


def test_a_page_in_a_browser_is_told_of_every_gateway() -> None:
    options = parser(["board"]).parse_args(["board", *WAYS])
    assert _command(options)[4:8] == WAYS
    folders = ["--config", "/etc/one", "--config", "/etc/two"]
    assert _command(parser(["board"]).parse_args(["board", *folders]))[4:8] == folders


def test_one_folder_that_cannot_be_read_is_named(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["board", "--config", str(SALTMARSH), "--config", f"{tmp_path}/nowhere"]) == 2
    assert "nowhere" in capsys.readouterr().err
