"""What `edgemon commission` prints."""

from dataclasses import replace

from edgemon.cli.commission import lines
from edgemon.model.commission import CheckView, Stand
from tests.support.fake_site import COMMISSIONING


def test_what_is_open_is_printed_and_with_all_everything() -> None:
    assert lines(COMMISSIONING, False) == [
        "1 of 2 points complete",
        "- hp-pump-1/pump-de-h: 2 of 3",
        "    - alarm proven: open, never tried",
        "+ hp-pump-1/pump-de-a: 1 of 1",
    ]
    assert lines(COMMISSIONING, True)[2:5] == [
        "    - alarm proven: open, never tried",
        "    + sensor heard: done, s-0009 since 2023-11-14T22:13:19.000Z",
        "    . upstream: not needed, none is set up",
    ]


def test_what_others_wrote_cannot_reach_the_terminal() -> None:
    evil = replace(COMMISSIONING.rows[0], checks=(CheckView("limits set", Stand.DONE, "\x1b[2J"),))
    assert "\x1b" not in "".join(lines(replace(COMMISSIONING, rows=(evil,)), True))
