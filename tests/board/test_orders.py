"""Shelve, reset and out of service on the board: named, reasoned, confirmed; the mechanics are OPC 10000-9, 5.8.17."""

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import replace

import pytest

from edgemon.board.memory import OPERATOR, MemorySource
from edgemon.board.port import Outcome
from edgemon.model.command import Person, Role
from edgemon.model.response import Response
from edgemon.model.snapshot import AlarmView, HidingView, Snapshot
from tests.board.driving import Board, plant
from tests.support import sites

ENGINEER = Person("engineer", Role.ENGINEER, "desk")
RESPONSE = Response("A fault that has grown.", "An outage without warning.", "Start the spare; call maintenance.", "", 1800.0)


def one_alarm(**more: object) -> Snapshot:
    """The plant with booster pump 3 alone, its alarm as given."""
    machine = next(one for one in sites.snapshot().machines if one.id == "booster-3")
    (point, *others) = sorted(machine.points, key=lambda one: not one.alarms)
    alarm: AlarmView = replace(point.alarms[0], **{"max_shelve_s": 3600.0, "response": RESPONSE, **more})  # type: ignore[arg-type]
    quiet = [replace(other, alarms=()) for other in others]
    return sites.snapshot([replace(machine, points=(replace(point, alarms=(alarm,)), *quiet))])


@asynccontextmanager
async def listing(person: Person | None = None, size: tuple[int, int] = (100, 30), **more: object) -> AsyncIterator[Board]:
    source = MemorySource(person or OPERATOR)
    async with plant(size, source) as one:
        await one.hear(one_alarm(**more), after=1.0)
        await one.press("l")
        yield one


async def test_a_shelf_takes_a_duration_a_reason_and_enter() -> None:
    async with listing() as one:
        await one.press("h")
        assert "Shelve this alarm?" in one.text()
        assert "Booster pump 3" in one.text()
        assert "as operator (operator) at control-room" in one.text()
        await one.press("enter")
        assert one.source.ordered == []
        assert "write a reason first" in one.text()
        await one.press("right", "x", "y", "backspace", "space", "z")
        assert "for 1 h, until" in one.text()
        await one.press("enter")
        (order,) = one.source.ordered
        assert order[0] == "shelve"
        assert order[1].startswith("booster-3/")
        assert order[2:] == ("3600", "x z")
        assert "Shelved: Booster pump 3" in one.lines("foot")[0]


async def test_no_shelf_is_offered_longer_than_the_alarm_allows() -> None:
    async with listing(max_shelve_s=1200.0) as one:
        await one.press("h", "right", "right", "right", "right", "w", "enter")
        assert one.source.ordered[0][2] == "1200"


@pytest.mark.parametrize(
    ("keys", "state", "said"),
    [
        (("h", "w", "escape"), "UNACK", "Nothing was changed."),
        (("h",), "DSUPR", "No alarm is selected."),
        (("h",), "OOSRV", "out of service already"),
        (("r",), "LATUN", "Acknowledge it first"),
        (("r",), "UNACK", "Only a latched alarm"),
        (("o",), "UNACK", "takes the engineer role"),
    ],
)
async def test_what_is_not_to_be_done_is_said_and_nothing_is_ordered(keys: tuple[str, ...], state: str, said: str) -> None:
    async with listing(alarm_state=state) as one:
        await one.press(*keys)
        assert said in one.lines("foot")[0]
        assert one.source.ordered == []


async def test_an_alarm_that_may_not_be_shelved_says_so() -> None:
    async with listing(max_shelve_s=0.0) as one:
        await one.press("h")
        assert "may not be shelved" in one.lines("foot")[0]


@pytest.mark.parametrize(
    ("key", "state", "words"),
    [("h", "SHLVD", ("unshelve",)), ("r", "LATAK", ("reset",)), ("o", "OOSRV", ("return",))],
)
async def test_what_needs_no_reason_needs_a_confirmation(key: str, state: str, words: tuple[str, ...]) -> None:
    async with listing(ENGINEER, alarm_state=state) as one:
        await one.press(key)
        assert one.source.ordered == []
        await one.press("enter")
        assert one.source.ordered[0][:1] == words


async def test_an_engineer_takes_out_of_service_with_a_reason() -> None:
    async with listing(ENGINEER) as one:
        await one.press("o", *"swap", "enter")
        assert one.source.ordered[0][0] == "remove"
        assert one.source.ordered[0][2] == "swap"


@pytest.mark.parametrize(("key", "hidden", "back"), [("h", "SHLVD", "unshelve"), ("o", "OOSRV", "return")])
async def test_what_was_hidden_is_undone_after_a_question(key: str, hidden: str, back: str) -> None:
    async with listing(ENGINEER) as one:
        await one.press("u")
        assert "Nothing to undo" in one.lines("foot")[0]
        await one.press(key, *"swap", "enter")
        assert "(u undoes it)" in one.lines("foot")[0]
        await one.hear(one_alarm(alarm_state=hidden))
        await one.press("u")
        assert len(one.source.ordered) == 1
        await one.press("enter")
        assert one.source.ordered[1] == (back, one.source.ordered[0][1])
        await one.press("u")
        assert "Nothing to undo" in one.lines("foot")[0]


async def test_what_came_back_by_itself_needs_no_undoing() -> None:
    async with listing() as one:
        await one.press("h", "w", "enter")
        await one.hear(one_alarm(alarm_state="UNACK"))
        await one.press("u")
        assert "not hidden any more" in one.lines("foot")[0]
        assert len(one.source.ordered) == 1


async def test_a_refusal_says_why() -> None:
    async with listing() as one:
        one.source.outcome = Outcome(False, "longer than the 60 s allowed")
        await one.press("h", "w", "enter")
        assert "Nothing was changed: longer than the 60 s allowed" in one.lines("foot")[0]


async def test_hostile_text_in_a_reason_is_no_command_to_the_terminal() -> None:
    async with listing() as one:
        await one.press("h")
        screen = one.app.screen
        from textual.events import Paste

        screen.post_message(Paste("bad\x1b[2J\u202eway\n"))
        await one.wait(0.5)
        await one.press("enter")
        assert "\x1b" not in one.source.ordered[0][3]
        assert "\n" not in one.source.ordered[0][3]


async def test_what_to_do_and_who_hid_it_stand_under_the_alarm() -> None:
    hidden = HidingView("shelved", "operator", "bracket is loose", sites.NOW, sites.NOW + 600.0)
    async with listing(hidden=hidden, alarm_state="SHLVD") as one:
        text = "\n".join(one.lines("body"))
        assert "by operator, until 2026-03-02 06:40" in text
        assert "bracket is loose" in text
        assert "Start the spare; call maintenance. Within 30 min." in text
        assert "An outage without warning." in text


@pytest.mark.parametrize(
    ("key", "asks", "order"), [("c", "Silence the horn?", "silence"), ("k", "Test horn, beacon and boards?", "lamp test")]
)
async def test_horn_and_beacon_are_asked_about_from_every_screen(key: str, asks: str, order: str) -> None:
    source = MemorySource()
    async with plant((100, 30), source) as one:
        for screen in ("l", "j", "t"):
            await one.press(screen, key)
            assert asks in one.text()
            await one.press("escape")
        assert source.ordered == []
        await one.press(key, "enter")
        assert source.ordered == [(order,)]


async def test_a_horn_that_begins_to_sound_rings_the_terminals_bell_once(monkeypatch: pytest.MonkeyPatch) -> None:
    rung: list[int] = []
    async with plant((100, 30)) as one:
        monkeypatch.setattr(one.app, "bell", lambda: rung.append(1))
        shown = sites.snapshot()
        await one.hear(replace(shown, gateway=replace(shown.gateway, sounding=True)), after=2.0)
        assert "horn on" in one.text()
        await one.wait(2.0)
        assert rung == [1]
        await one.hear(shown, after=1.0)
        assert "horn on" not in one.text()
        await one.hear(replace(shown, gateway=replace(shown.gateway, sounding=True)), after=1.0)
        assert rung == [1, 1]


async def test_who_calls_is_never_cut_for_the_horn_and_what_is_first_is_told_under_the_list() -> None:
    shown = sites.snapshot()
    sounding = replace(shown, gateway=replace(shown.gateway, sounding=True))
    async with plant((80, 24)) as one:
        await one.hear(sounding, after=1.0)
        assert "Booster pump 3, velocity r.m.s., 1m" in one.lines("banner")[1]
        assert "…" not in one.lines("banner")[1]
    async with listing(size=(80, 24), first_out="first (uncertain)") as one:
        text = one.lines("body")
        assert "…" not in "".join(text)
        assert "first (uncertain) of this machine's alarms" in " ".join(line.strip() for line in text)
