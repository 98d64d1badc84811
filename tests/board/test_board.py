import asyncio
from collections.abc import AsyncIterator
from dataclasses import replace

import pytest
from textual import events

from edgemon.board.memory import MemorySource
from edgemon.board.port import Lost, Outcome, Update
from edgemon.board.screens.acknowledge import AcknowledgeScreen
from edgemon.board.view.banner import CAUTION
from edgemon.board.widgets.lines import Lines
from edgemon.errors import LinkDown
from edgemon.model.command import Person, Role
from edgemon.model.snapshot import Change, JournalView, LinkView, TrendPoint
from tests.board.driving import board, plant
from tests.support import sites


async def test_the_caution_is_said_at_the_start_and_in_the_help() -> None:
    async with board() as one:
        await one.hear(sites.snapshot())
        assert CAUTION in one.lines("foot")[0]
        await one.wait(10.5)
        assert CAUTION not in one.text()
        await one.press("question_mark")
        assert CAUTION in one.text()


async def test_acknowledging_names_the_alarm_and_the_person_and_asks_first() -> None:
    async with plant() as one:
        await one.press("a")
        assert isinstance(one.app.screen, AcknowledgeScreen)
        for words in (
            "Booster pump 3",
            "pump-de-h: velocity r.m.s.",
            "6.89 mm/s",
            "5.10",
            "operator (operator) at control-room",
        ):
            assert words in one.text()
        assert one.source.acknowledged == []
        await one.press("y")
        assert one.source.acknowledged == [("booster-3/pump-de-h/velocity_rms", 1)]
        assert "Acknowledged: Booster pump 3" in one.lines("foot")[0]


@pytest.mark.parametrize("key", ["escape", "n"])
async def test_no_changes_nothing(key: str) -> None:
    async with plant() as one:
        await one.press("a", key)
        assert one.source.acknowledged == []
        assert "Not acknowledged" in one.lines("foot")[0]


async def test_a_refused_acknowledgement_says_why() -> None:
    source = MemorySource()
    source.outcome = Outcome(False, "this occurrence is over")
    async with plant(source=source) as one:
        await one.press("a", "y")
        assert "Not acknowledged: this occurrence is over (Booster pump 3" in one.lines("foot")[0]


async def test_an_acknowledgement_that_reaches_nobody_says_so() -> None:
    class Gone(MemorySource):
        async def acknowledge(self, alarm: str, occurrence: int) -> Outcome:
            raise LinkDown("no answer")

    async with plant((120, 40), Gone()) as one:
        await one.press("a", "y")
        assert "Not acknowledged: Booster pump 3" in one.lines("foot")[0]
        assert "no answer" in one.lines("foot")[0]


async def test_a_viewer_is_told_why_not() -> None:
    async with plant(source=MemorySource(Person("guest", Role.VIEWER, "wall"))) as one:
        await one.press("a")
        assert "You are guest (viewer)" in one.lines("foot")[0]
        assert not isinstance(one.app.screen, AcknowledgeScreen)


async def test_a_machine_without_an_alarm_has_nothing_to_acknowledge() -> None:
    async with plant() as one:
        await one.press("home", "a")
        assert "Nothing selected waits" in one.lines("foot")[0]


async def test_only_what_calls_flashes_once_a_second_and_never_to_a_blank() -> None:
    async with plant() as one:
        forms = []
        for _ in range(4):
            forms.append((one.line("Booster pump 3").split()[0][1:], one.line("High-pressure pump 3").split()[0]))
            await one.wait(0.5)
        assert {alert for _, alert in forms} == {"▲1"}
        assert [form for form, _ in forms] == [forms[0][0], forms[1][0]] * 2
        assert {form for form, _ in forms} == {"■2", "□2"}


async def test_still_boards_mark_what_calls_without_motion() -> None:
    async with plant(still=True) as one:
        first = one.line("Booster pump 3")
        assert "■2!" in first
        await one.wait(0.5)
        assert one.line("Booster pump 3") == first


async def test_an_acknowledged_alarm_is_steady() -> None:
    async with plant() as one:
        machine = sites.machine(12, True)
        points = tuple(
            replace(point, alarms=tuple(replace(alarm, alarm_state="ACKED") for alarm in point.alarms))
            for point in machine.points
        )
        await one.hear(Change(sites.gateway(), (replace(machine, points=points, unacknowledged=False),)))
        seen = set()
        for _ in range(3):
            await one.wait(0.5)
            seen.add(one.line("Booster pump 3"))
        assert len(seen) == 1
        assert "to acknowledge" not in one.text()


async def test_a_silent_daemon_turns_the_whole_board_to_no_data_within_five_seconds_and_back() -> None:
    async with plant() as one:
        await one.wait(4.0)
        assert " normal " not in "\n".join(one.lines("body"))
        assert "NO CONNECTION" in one.lines("banner")[1]
        assert one.line("Booster pump 3").count("?") >= 1
        assert one.line("Intake pump 1").split()[-2:] == ["data", "──┼┼─"]
        await one.press("a")
        assert "Nothing can be ordered" in one.lines("foot")[0]
        await one.hear(sites.snapshot())
        assert "NO CONNECTION" not in one.text()
        assert one.line("Intake pump 1").split()[3] == "normal"


async def test_a_lost_daemon_is_shown_at_the_next_beat_with_its_reason() -> None:
    async with plant((120, 40)) as one:
        await one.hear(Lost("connection refused"))
        assert "NO CONNECTION: connection refused" in one.lines("banner")[1]


async def test_a_source_that_fails_is_asked_again() -> None:
    class Failing(MemorySource):
        tries = 0

        async def updates(self) -> AsyncIterator[Update]:
            self.tries += 1
            if self.tries <= 2:
                raise LinkDown("refused")
            async for update in super().updates():
                yield update

    source = Failing()
    async with board((120, 40), source) as one:
        await one.wait(0.5)
        assert "NO CONNECTION: refused" in one.lines("banner")[1]
        await one.wait(2.5)
        await one.hear(sites.snapshot())
        assert "NO CONNECTION" not in one.text()


async def test_the_clock_is_driven_by_the_data() -> None:
    async with plant() as one:
        assert "06:30:00 UTC" in one.lines("banner")[0]
        await one.wait(2.0)
        assert "06:30:00 UTC" in one.lines("banner")[0]
        await one.hear(Change(sites.gateway(sites.NOW + 7.0)))
        assert "06:30:07 UTC" in one.lines("banner")[0]


async def test_what_is_wrong_with_the_gateway_is_always_in_the_banner() -> None:
    down = (LinkView("broker", False, "refused"),)
    async with plant((160, 40)) as one:
        await one.hear(sites.snapshot(links=down, store_ok=False, store_detail="disk full", store_keeps="nothing", rejected=7))
        await one.press("escape")
        assert "store keeps nothing: disk full" in one.lines("banner")[1]
        remark = "damaged store set aside as edgemon.sqlite.damaged-20251125T221500Z"
        await one.hear(sites.snapshot(store_remark=remark))
        assert "the store was damaged: see the journal" in one.lines("banner")[1]
        await one.hear(sites.snapshot(deaf_since=sites.NOW))
        assert "NO SENSOR HEARD since 06:30:00" in one.lines("banner")[1]
        await one.hear(sites.snapshot(links=down, store_ok=False, store_detail="disk full", store_keeps="nothing", rejected=7))
        for screen in ("l", "n", "j", "question_mark"):
            await one.press(screen)
            for words in ("SIMULATED DATA", "broker link down", "store keeps nothing: disk full", "7 rejected"):
                assert words in one.lines("banner")[1]


async def test_filter_search_and_sort() -> None:
    async with plant() as one:
        await one.press("f")
        assert "4 of 26 shown, abnormal or near a limit" in one.text()
        assert "Intake pump 2" in one.text()
        assert "Intake pump 1" not in one.text()
        await one.press("escape", "slash", *"fan q")
        assert "Cooling-tower fan 1" not in one.text()
        assert "search: fan q_" in one.lines("foot")[0]
        await one.press("backspace", "backspace", "enter")
        assert "2 of 26 shown  search: fan" in one.text()
        await one.press("escape", "s")
        assert "By severity" in one.text()
        assert "Booster pump 3" in one.lines("body")[1]


async def test_a_filter_that_leaves_nothing_says_so() -> None:
    async with board() as one:
        await one.hear(sites.snapshot([sites.machine(0)]))
        await one.press("f")
        assert "Nothing abnormal or near a limit: all 1 machines" in one.text()


async def test_rubbish_pasted_is_taken_as_text_or_not_at_all() -> None:
    async with plant() as one:
        one.app.screen.post_message(events.Paste("[/]\x1b[2J" * 500))
        await one.press("slash")
        one.app.screen.post_message(events.Paste("[/]\x1b[2J\u202e" * 500))
        await one.pilot.pause()
        assert "search: [/]\N{REPLACEMENT CHARACTER}[2J" in one.lines("foot")[0]
        assert "No machine of 26 is called so." in one.text()


@pytest.mark.parametrize("size", [(20, 5), (1, 1), (40, 10), (300, 100)])
async def test_no_size_breaks_any_screen(size: tuple[int, int]) -> None:
    async with plant() as one:
        for key in ("home", "enter", "l", "n", "j", "question_mark"):
            await one.press(key)
            await one.pilot.resize_terminal(*size)
            await one.wait(0.5)
            await one.press("down", "pagedown", "end", "home")
            assert all(len(line) == size[0] for line in one.lines("foot"))
            await one.pilot.resize_terminal(80, 24)
        await one.press("l", "a")
        await one.pilot.resize_terminal(*size)
        await one.press("y")
        assert len(one.source.acknowledged) == 1


async def test_arrows_tab_and_mouse_select_and_enter_opens() -> None:
    async with plant() as one:
        await one.press("home", "right")
        assert one.app.desk.selected == "product-pump-1"
        await one.press("down", "down", "left", "up")
        assert one.app.desk.selected == "intake-pump-2"
        await one.press("tab")
        assert one.app.desk.selected == "hp-pump-3"
        await one.press("tab", "tab")
        assert one.app.desk.selected == "brine-pump"
        await one.press("shift+tab")
        assert one.app.desk.selected == "booster-3"
        await one.pilot.click("#body", offset=(45, 12))
        assert one.app.desk.selected == "vent-1"
        await one.press("enter")
        assert "Hall ventilator 1" in one.lines("body")[0]
        await one.press("escape")
        assert "Intake pump 1" in one.text()


async def test_the_machine_screen_says_where_limits_come_from_and_how_the_sensor_is() -> None:
    source = MemorySource()
    source.past = tuple(TrendPoint(sites.NOW - 60.0 * k, 3.0, True) for k in range(10))
    async with plant((120, 40), source) as one:
        await one.press("home", "down", "enter")
        text = one.text()
        assert "ISO 20816-3 group 2, rigid: zone boundaries B/C and C/D" in text
        for words in (
            "velocity r.m.s.",
            "3.82 mm/s",
            "4.20",
            "6.00",
            "10-1000 Hz",
            "plant file",
            "sensor s-0003",
            "battery 93 %",
        ):
            assert words in text
        assert "█" in text
        await one.press("end")
        assert "motor-nde-v: temperature; limits: plant file" in one.text()


async def test_the_alarm_list_tells_all_of_the_selected_one_and_opens_its_machine() -> None:
    async with plant((120, 40)) as one:
        await one.press("l")
        body = one.lines("body")
        assert body[1].startswith(" For the operator ")
        assert body[2].split()[1:4] == ["Booster", "pump", "3"]
        assert body[4].startswith(" For the analyst: calls no operator ")
        assert body[5].split()[1:4] == ["High-pressure", "pump", "3"]
        assert "Acknowledge it (a)" in one.text()
        await one.press("down")
        assert "For the analyst: look at its trend and its spectrum." in one.text()
        await one.press("enter")
        assert "High-pressure pump 3" in one.lines("body")[0]
        await one.press("l", "n", "l", "j", "l")
        assert len(one.app.screen_stack) <= 6


async def test_notes_and_journal_tell_what_happened() -> None:
    source = MemorySource(journal=(JournalView(31, sites.NOW - 75.0, "alarm-changed", "Booster pump 3: alarm raised"),))
    async with plant((120, 40), source) as one:
        await one.press("n")
        assert one.text().index("A bearing begins to wear") < one.text().index("A morning at Saltmarsh")
        await one.press("j")
        assert "2026-03-02 06:28:45  alarm-changed  Booster pump 3: alarm raised" in one.text()


async def test_quitting_says_that_the_daemon_goes_on(capsys: pytest.CaptureFixture[str]) -> None:
    async with plant() as one:
        await one.press("q")
        assert one.source.closed
    assert "the daemon goes on" in capsys.readouterr().err


async def test_only_rows_whose_text_changed_are_sent_again() -> None:
    async with plant((120, 40), still=True) as one:
        body = one.app.screen.query_one("#body", Lines)
        before = body.lines_refreshed
        await one.hear(Change(sites.gateway(), (sites.machine(0, True),)), after=2.0)
        assert body.lines_refreshed == before
        machine = sites.machine(0, True)
        assert machine.worst is not None
        await one.hear(Change(sites.gateway(), (replace(machine, worst=replace(machine.worst, value=2.5)),)), after=2.0)
        assert body.lines_refreshed == before + 1


async def test_ascii_boards_draw_ascii_only() -> None:
    async with plant((120, 40), ascii=True) as one:
        for key in ("home", "enter", "l", "n", "question_mark"):
            await one.press(key)
            assert one.text().isascii()


async def test_without_colour_what_calls_still_stands_out(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("NO_COLOR", "1")
    async with plant() as one:
        await one.wait(0.5)
        strip = next(
            one.app.screen.query_one("#body", Lines).render_line(y)
            for y, line in enumerate(one.lines("body"))
            if "Booster pump 3" in line
        )
        mark = next(segment for segment in strip if "■2" in segment.text)
        word = next(segment for segment in strip if "alarm" in segment.text)
        assert mark.style is not None
        assert word.style is not None
        assert mark.style.bgcolor != word.style.bgcolor


async def test_where_only_some_machines_are_simulated_each_of_them_says_so() -> None:
    async with board() as one:
        await one.hear(sites.snapshot([sites.machine(0), sites.machine(1, True)]), after=1.0)
        assert "Intake pump 2~" in one.text()
        assert "Intake pump 1~" not in one.text()
        assert "SIMULATED DATA on 1" in one.lines("banner")[1]


async def test_ctrl_q_closes_the_board_out_of_a_question_and_ctrl_c_says_how() -> None:
    async with plant() as one:
        await one.press("ctrl+c")
        assert "The board is closed with q" in one.lines("foot")[0]
        await one.press("a")
        await one.press("ctrl+q")
        assert one.source.closed


@pytest.mark.parametrize("hangs", [False, True])
async def test_a_connection_that_cannot_be_closed_keeps_nobody_inside(hangs: bool, monkeypatch: pytest.MonkeyPatch) -> None:
    class Jammed(MemorySource):
        async def close(self) -> None:
            if hangs:
                await asyncio.Event().wait()
            raise LinkDown("gone already")

    monkeypatch.setattr("edgemon.board.app.CLOSES_WITHIN_S", 0.01)
    async with plant(source=Jammed()) as one:
        await one.press("q")
        await one.pilot.pause(0.05)
        assert one.app._exit
