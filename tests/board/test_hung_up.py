"""A terminal that goes away without a signal ends the board: nobody sees it, and it would read what is not there for ever."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests.board.terminal import terminal

CONFIG = Path(__file__).parents[2] / "config" / "saltmarsh"


@pytest.mark.slow
def test_a_board_whose_terminal_is_gone_ends() -> None:
    command = [sys.executable, "-m", "edgemon", "board", "--config", str(CONFIG)]
    with terminal(command, (80, 24), {"TERM": "xterm-256color"}) as one:
        assert one.wait_for("NO CONNECTION", within=60.0)
        os.close(one.fd)
        one.fd = os.open(os.devnull, os.O_RDONLY)  # the context closes what there is
        try:
            assert one.child.wait(60.0) == 1
        except subprocess.TimeoutExpired:
            pytest.fail("the board goes on without a terminal")
