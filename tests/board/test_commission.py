"""The commissioning state on the board: each point with what it lacks, whole names, and the point selected in full."""

from dataclasses import replace

import pytest

from edgemon.board.keys import COMMISSION, PROOF, SIGN
from edgemon.board.memory import MemorySource
from edgemon.board.screens.commission import ASK_AGAIN_S
from edgemon.board.theme import ASCII, Look
from edgemon.board.view.cells import row_text, row_width
from edgemon.board.view.commission import below, head, row, title
from edgemon.model.command import Person, Role
from edgemon.model.commission import HEARD, CheckView, CommissionRow, CommissionView, Stand
from tests.board import commissioned
from tests.board.driving import plant
from tests.support import sites

SIZES = [(80, 24), (120, 40), (200, 60)]
ENGINEER = Person("engineer", Role.ENGINEER, "control-room")
VIEW = commissioned.view()
NEVER = next(one for one in VIEW.rows if len(one.missing) == len(commissioned.LACKS[3]))


def source() -> MemorySource:
    found = MemorySource(ENGINEER)
    found.commissioned = VIEW
    return found


@pytest.mark.parametrize("size", SIZES)
async def test_every_point_is_reached_and_every_check_of_the_one_selected_is_shown(size: tuple[int, int]) -> None:
    async with plant(size, source()) as one:
        await one.press(COMMISSION.key)
        await one.wait(0.5)
        assert VIEW.summary in one.lines("body")[0]
        for expected in VIEW.rows[:6]:
            text = "\n".join(one.lines("body"))
            assert all(f"{check.name:14}{check.stand}" in text for check in expected.checks)
            await one.press("down")
        await one.press("end")
        assert title(VIEW.rows[-1]) in "\n".join(one.lines("body"))


@pytest.mark.parametrize("width", [80, 120, 200])
@pytest.mark.parametrize("look", [Look(), Look(ASCII)], ids=["unicode", "ascii"])
def test_rows_are_as_wide_as_asked_and_name_nothing_by_half(width: int, look: Look) -> None:
    names = {check.name for check in NEVER.checks}
    for one in VIEW.rows[:6]:
        drawn = row(one, 40, look, width, selected=False)
        assert row_width(drawn) == width
        said = row_text(drawn).partition(" of 12 ")[2].strip().removeprefix("signed").removeprefix("withdrawn").strip()
        if said != "complete":
            named, _, rest = said.partition(" and ")
            assert set(named.split(", ")) <= names or said == f"{len(one.missing)} checks open"
            count = int(rest.split()[0]) if rest else 0
            assert len(named.split(", ")) + count == len(one.missing) or "open" in said
        assert all(row_width(line) == width for line in below(one, look, width))
        if look.glyphs.plain:
            assert row_text(drawn).isascii()


def test_what_is_open_comes_first_with_a_sign_and_a_word() -> None:
    lines = [row_text(one) for one in below(NEVER, Look(ASCII), 80)[2:]]
    assert [line[1] for line in lines if line[1] != " "] == ["-"] * 10 + ["+"] * 2
    assert lines[0].startswith(" - sensor heard  open  s-0001: never")
    whole = " ".join("".join(lines).split())
    assert all(" ".join(check.words.split()) in whole for check in NEVER.checks), "nothing is cut off"


def test_the_head_counts_what_lacks() -> None:
    rows = tuple(
        replace(one, checks=commissioned.checks(lacks)) for one, lacks in zip(VIEW.rows, commissioned.LACKS, strict=False)
    )
    said = row_text(head(CommissionView(0.0, rows), Look(), 200))
    assert said.startswith(
        " Commissioning: 1 of 5 points complete, 2 signed off   open: alarm proven 4, signal 2, baseline 2, bearing 2, "
    )
    done = CommissionView(0.0, rows[:1])
    assert "nothing is open" in row_text(head(done, Look(), 120))


def test_text_from_outside_is_made_safe() -> None:
    evil = CommissionRow("m", "pump\x1b[2J", "a", "p", "de\u202e", (CheckView("limits set", Stand.OPEN, "x\x1b]0;y\x07"),))
    drawn = [row(evil, 20, Look(), 80, False), *below(evil, Look(), 80)]
    assert not {"\x1b", "\u202e", "\x07"} & set("".join(map(row_text, drawn)))


async def test_only_what_is_open_is_shown_on_demand_and_a_proof_is_of_the_point_selected() -> None:
    async with plant((120, 40), source()) as one:
        one.app.desk.person = ENGINEER
        await one.press(COMMISSION.key)
        await one.wait(0.5)
        assert any("complete" in line and " of 12" in line for line in one.lines("body")[1:])
        await one.press("f")
        assert not any("12 of 12" in line for line in one.lines("body"))
        await one.press("down", PROOF.key)
        chosen = [row for row in VIEW.rows if row.missing][1]
        assert f"of {title(chosen)}" in one.text()
        await one.press("escape")


async def test_it_is_asked_for_again_now_and_then_and_what_fails_is_said() -> None:
    asked = MemorySource(ENGINEER)
    async with plant((80, 24), asked) as one:
        await one.press(COMMISSION.key)
        await one.wait(0.5)
        assert "could not be asked: the journal cannot be read" in one.lines("body")[0]
        asked.commissioned = VIEW
        await one.wait(ASK_AGAIN_S)
        await one.hear(sites.snapshot(), after=1.0)
        assert VIEW.summary in one.lines("body")[0]
        asked.commissioned = None
        await one.wait(ASK_AGAIN_S)
        await one.hear(sites.snapshot(), after=1.0)
        assert "As of a while ago" in one.lines("body")[1]


def test_who_answers_for_a_point_is_said_in_full_and_a_sign_off_that_fell_says_why() -> None:
    said = [" ".join(" ".join(row_text(line) for line in below(one, Look(), 80)).split()) for one in VIEW.rows[:5]]
    assert "signed off by a.lund, 2026-03-02 05:30:00: tapped: the right sensor" in said[0]
    assert "not signed off" in said[1]
    assert "left open: signal, alarm proven: the antenna is to be moved in week 12" in said[2]
    assert "withdrawn 2026-03-02 06:20:00: the plant file has changed: sensor s-0117, signed for s-0017; axis z" in said[4]


@pytest.mark.parametrize("size", SIZES)
async def test_an_engineer_signs_the_point_selected_off_with_a_remark_where_something_is_open(size: tuple[int, int]) -> None:
    asked = source()
    async with plant(size, asked) as one:
        one.app.desk.person = ENGINEER
        await one.press(COMMISSION.key)
        await one.wait(0.5)
        await one.press("down", SIGN.key)
        chosen = VIEW.rows[1]
        assert f"Sign {title(chosen)} off?" in one.text()
        assert "left open: alarm proven" in one.text()
        assert "as engineer (engineer) at control-room" in one.text()
        await one.press("enter")
        assert asked.ordered == [], "without a remark nothing is signed"
        await one.press(*"soon", "enter")
        await one.wait(0.5)
        assert asked.ordered == [("sign off", f"{chosen.machine}/{chosen.point}", "soon", "alarm proven")]


@pytest.mark.parametrize("look", [Look(), Look(ASCII)], ids=["unicode", "ascii"])
async def test_who_signs_is_shown_every_check_that_is_left_open_and_the_whole_point(look: Look) -> None:
    asked, names = source(), [check.name for check in NEVER.checks if check.name != HEARD]
    checks = tuple(replace(check, stand=Stand.OPEN if check.name in names else Stand.DONE) for check in NEVER.checks)
    name = "Reverse osmosis train 2, energy recovery booster"
    first = replace(VIEW.rows[0], machine_name=name, point_name="Pump drive end, horizontal", checks=checks, sign=None)
    asked.commissioned = replace(VIEW, rows=(first, *VIEW.rows[1:]))
    async with plant((80, 24), asked) as one:
        one.app.desk.person, one.app.desk.look = ENGINEER, look
        await one.press(COMMISSION.key)
        await one.wait(0.5)
        await one.press(SIGN.key)
        text = one.text()
        asks = " ".join("".join(line.strip(" │|") + " " for line in text.splitlines()).split())
        assert f"Sign {title(first)} off?" in asks
        assert f"left open: {', '.join(names)}" in asks
        assert "write something first" in text
        assert "as engineer (engineer)" in text


async def test_a_sign_off_that_holds_is_withdrawn_with_a_reason() -> None:
    asked = source()
    async with plant((120, 40), asked) as one:
        one.app.desk.person = ENGINEER
        await one.press(COMMISSION.key)
        await one.wait(0.5)
        await one.press(SIGN.key)
        assert f"Withdraw the sign-off of {title(VIEW.rows[0])}?" in one.text()
        assert "it was given by a.lund" in one.text()
        await one.press(*"moved", "enter")
        await one.wait(0.5)
        assert asked.ordered == [("withdraw", f"{VIEW.rows[0].machine}/{VIEW.rows[0].point}", "moved")]


async def test_what_was_never_heard_is_not_signed_and_others_sign_nothing() -> None:
    asked = source()
    async with plant((120, 40), asked) as one:
        one.app.desk.person = ENGINEER
        await one.press(COMMISSION.key)
        await one.wait(0.5)
        await one.press("down", "down", "down", SIGN.key)
        assert "there is nothing to sign for" in one.text()
        one.app.desk.person = Person("m.ortega", Role.OPERATOR, "control-room")
        await one.press("up", SIGN.key)
        assert "points are signed off by engineers" in one.text()
        assert asked.ordered == []
