"""What `edgemon proof` says, and what it refuses before it asks anybody."""

import argparse
from dataclasses import replace

import pytest

from edgemon.cli.main import main
from edgemon.cli.proof import lines, point_of
from tests.support.fake_site import PROOF


def test_what_is_on_and_what_is_proven_is_said_line_by_line() -> None:
    # times by `date -u -d @1700001890` and `date -u -d @1700000030`
    assert lines(PROOF) == [
        "PROOF of hp-pump-1 until 2023-11-14T22:44:50.000Z, begun by engineer: commissioning",
        "  proven  hp-pump-1/pump-de-h: 2023-11-14T22:13:50.000Z by engineer, acknowledged by operator",
        "  open    hp-pump-1/pump-de-a: never tried",
        "1 of 2 points proven",
    ]
    assert lines(replace(PROOF, on=None))[0] == "no proof is on"
    assert PROOF.on is not None
    announced = lines(replace(PROOF, on=replace(PROOF.on, is_open=False)))
    assert announced[1] == "announced; simulated alarms call from 2023-11-14T22:14:55.000Z on"


def test_what_others_wrote_cannot_reach_the_terminal() -> None:
    assert PROOF.on is not None
    evil = replace(PROOF, on=replace(PROOF.on, by="eve\x1b[2J", reason="\x1b]0;x\x07"))
    assert "\x1b" not in "".join(lines(evil))


@pytest.mark.parametrize("text", ["hp-pump-1", "hp-pump-1/", "/pump-de-h", ""])
def test_a_point_is_named_with_its_machine(text: str) -> None:
    with pytest.raises(argparse.ArgumentTypeError, match="MACHINE/POINT"):
        point_of(text)


@pytest.mark.parametrize(
    "arguments",
    [
        [],
        ["start", "--plant", "--reason", "why"],
        ["start", "--for", "1h", "--reason", "why"],
        ["start", "--plant", "--for", "1h"],
        ["start", "--plant", "--machine", "hp-pump-1", "--for", "1h", "--reason", "why"],
        ["stop"],
    ],
)
def test_what_is_missing_is_said_with_exit_code_2(arguments: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["proof", *arguments]) == 2
    assert "required" in capsys.readouterr().err or "not allowed" in capsys.readouterr().err or arguments


def test_without_a_person_to_ask_nothing_is_begun(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["proof", "start", "--plant", "--for", "1h", "--reason", "why"]) == 2
    said = capsys.readouterr()
    assert "Announce it to the control room first" in said.out
    assert "--yes" in said.err
