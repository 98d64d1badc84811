"""What `edgemon commission` prints."""

from dataclasses import replace

import pytest

from edgemon.cli.commission import row_of
from edgemon.cli.commission_words import handover, lines, sign_lines
from edgemon.errors import EdgemonError, ParameterError
from edgemon.model.commission import HEARD, CheckView, SignView, Stand
from edgemon.model.signoff import check
from tests.support.fake_site import COMMISSIONING, GATEWAY


def test_what_is_open_is_printed_and_with_all_everything() -> None:
    assert lines(COMMISSIONING, False) == [
        "1 of 2 points complete, 1 signed off",
        "- hp-pump-1/pump-de-h: 2 of 3",
        "    - alarm proven: open, never tried",
        # 1700000050 s is 2023-11-14T22:14:10Z by `date -u -d @1700000050`
        "+ hp-pump-1/pump-de-a: 1 of 1, signed off by engineer at 2023-11-14T22:14:10.000Z, left open: baseline: "
        "tapped: the right sensor",
    ]
    assert lines(COMMISSIONING, True)[2:5] == [
        "    - alarm proven: open, never tried",
        "    + sensor heard: done, s-0009 since 2023-11-14T22:13:19.000Z",
        "    . upstream: not needed, none is set up",
    ]


def test_what_others_wrote_cannot_reach_the_terminal() -> None:
    evil = replace(COMMISSIONING.rows[0], checks=(CheckView("limits set", Stand.DONE, "\x1b[2J"),))
    assert "\x1b" not in "".join(lines(replace(COMMISSIONING, rows=(evil,)), True))


WITHDRAWN = replace(
    COMMISSIONING.rows[1],
    sign=SignView(
        *(1_700_000_050.0, "engineer"),
        withdrawn_at=1_700_000_080.0,
        withdrawn_because="the plant file has changed: sensor s-0007, signed for s-0009",
    ),
)


def test_the_hand_over_list_has_every_point_its_sign_off_and_what_is_open() -> None:
    said = handover(COMMISSIONING, replace(GATEWAY, gateway="gw-1"))
    assert said[:3] == [
        "HAND-OVER LIST of the measurement points of",
        "  Saltmarsh Desalination Works (saltmarsh), gateway gw-1",
        "as of 2023-11-14T22:15:00.000Z, edgemon 0: 1 of 2 points complete, 1 signed off",
    ]
    assert said[4:-3] == [
        "High-pressure pump 1 (hp-pump-1), area ro-hall",
        "  [ ] pump-de-h, Pump drive end: sensor s-0009 axis x",
        "      not signed off",
        "      open now: alarm proven: open, never tried",
        "  [x] pump-de-a, Pump axial: sensor s-0009 axis z",
        "      signed off by engineer at 2023-11-14T22:14:10.000Z, left open: baseline: tapped: the right",
        "          sensor",
        "      for sensor: s-0009; axis: z",
    ]
    assert sum(line.count("____") > 0 for line in said[-2:]) == 2
    scalar = replace(COMMISSIONING.rows[0], axis="")
    assert "  [ ] pump-de-h, Pump drive end: sensor s-0009" in handover(replace(COMMISSIONING, rows=(scalar,)), GATEWAY)
    again = "\n".join(handover(replace(COMMISSIONING, rows=(WITHDRAWN,)), GATEWAY))
    assert "[ ] pump-de-a" in again
    assert "sign-off of engineer at 2023-11-14T22:14:10.000Z withdrawn at 2023-11-14T22:14:40.000Z:" in " ".join(again.split())
    assert "sensor s-0007, signed for s-0009" in " ".join(again.split())


def test_the_hand_over_list_fits_on_paper_and_carries_nothing_that_a_terminal_obeys() -> None:
    sign = SignView(1.7e9, "eve\x1b[2J", "", "\x1b]0;x\x07" + "long " * 90, ("a\x1b",), ("axis: \x1b[2J",))
    evil = replace(COMMISSIONING.rows[0], sign=sign, point_name="\u202e" + "n" * 150, sensor="s\x1b")
    said = handover(replace(COMMISSIONING, rows=(evil,)), replace(GATEWAY, site_name="\x1b" + "s" * 190))
    assert max(len(line) for line in said) <= 96
    assert not {"\x1b", "\u202e", "\x07"} & set("".join((*said, *lines(replace(COMMISSIONING, rows=(evil,)), True))))


def test_what_may_not_be_signed_is_said_before_anybody_is_asked() -> None:
    first, second = COMMISSIONING.rows
    assert check(first, "it is proven next week") == ("alarm proven",)
    with pytest.raises(ParameterError, match=r"open at hp-pump-1/pump-de-h: alarm proven .*say in a remark why"):
        check(first, "  ")
    with pytest.raises(ParameterError, match="signed off already, by engineer"):
        check(second, "again")
    assert check(WITHDRAWN, "") == ()
    never = replace(first, checks=(CheckView(HEARD, Stand.OPEN, "never"),))
    with pytest.raises(ParameterError, match="nothing real of hp-pump-1/pump-de-h was ever heard"):
        check(never, "it will be")
    assert sign_lines(first) == [
        "hp-pump-1/pump-de-h, sensor s-0009 axis x: 2 of 3",
        "    - alarm proven: open, never tried",
    ]
    with pytest.raises(EdgemonError, match="no such point"):
        row_of(COMMISSIONING, "hp-pump-1")
