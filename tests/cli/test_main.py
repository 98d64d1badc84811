"""The command as a whole: help, exit codes, and help texts that are the same wherever they stand."""

import argparse

import pytest

from edgemon.cli.main import CAUTION, COMMANDS, main, parser


def test_help_lists_every_command_and_the_caution(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["--help"]) == 0
    out = " ".join(capsys.readouterr().out.split())
    assert all(f"{name} {says}" in out for name, says in COMMANDS.items())
    assert CAUTION in out


def test_a_command_says_of_itself_what_the_list_says_of_it() -> None:
    (action,) = (one for one in parser()._actions if isinstance(one, argparse._SubParsersAction))
    said = {choice.dest: choice.help for choice in action._choices_actions}
    assert said == COMMANDS


@pytest.mark.parametrize("arguments", [[], ["nonsense"], ["run", "--nonsense"], ["demo", "--for", "soon"]])
def test_bad_usage_ends_with_two(arguments: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert main(arguments) == 2
    assert "usage: edgemon" in capsys.readouterr().err


@pytest.mark.parametrize("command", ["run", "board", "status", "check"])
def test_a_folder_that_is_not_there_is_bad_configuration(command: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main([command, "--config", "/nowhere/at/all"]) == 2
    assert "/nowhere/at/all" in capsys.readouterr().err


def test_a_daemon_that_does_not_answer_is_a_failure_at_run_time(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["status", "--attach", "unix:/nowhere.sock"]) == 1
    assert "edgemon run" in capsys.readouterr().err


@pytest.mark.parametrize("arguments", [["board", "--attach", "unix:/nowhere.sock"], ["demo"]])
def test_a_board_without_a_terminal_says_what_needs_none(arguments: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert main(arguments) == 1
    said = capsys.readouterr()
    assert said.out == ""
    assert "needs a terminal" in said.err
    assert "edgemon status" in said.err or "--headless" in said.err
