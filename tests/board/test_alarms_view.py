"""The alarm states are those of IEC 62682:2022 (figure of the alarm state transitions), in the board's words."""

from collections.abc import Mapping
from dataclasses import replace

import pytest

from edgemon.board.theme import MARKS, Look, Role, Show
from edgemon.board.view import alarms, status
from edgemon.board.view.banner import summary
from edgemon.board.view.cells import row_text, row_width
from edgemon.board.view.detail import detail
from edgemon.board.view.machine import beside
from edgemon.model.snapshot import AlarmView, MachineView
from tests.board.driving import plant
from tests.support import sites


def standing(*changes: Mapping[str, object], row: int = 12) -> MachineView:
    """A machine, back to normal, with one record for each set of changes."""
    machine = sites.machine(row)
    point = machine.points[-1]
    first = sites.alarm(machine, point, sites.level("velocity_rms", 6.9, 3.5, 5.1))
    records = tuple(replace(first, id=f"{machine.id}/{n}", **change) for n, change in enumerate(changes))  # type: ignore[arg-type]
    points = (replace(point, state="normal", alarms=records),)
    return replace(machine, state="normal", unacknowledged=any(map(status.calls, records)), points=points)


def body(*machines: MachineView, width: int = 120) -> list[str]:
    lines = alarms.lines(machines, Look(), width)
    cols = alarms.Columns.of([one for one in lines if isinstance(one, AlarmView)])
    rows = [
        alarms.row(one, cols, sites.NOW, Look(), width, selected=False) if isinstance(one, AlarmView) else one for one in lines
    ]
    assert all(row_width(row) == width for row in rows)
    return [row_text(row) for row in rows]


def test_records_stand_apart_by_whose_business_they_are() -> None:
    machine = standing(
        {"alarm_state": "SHLVD"},
        {"alarm_state": "UNACK", "severity": "alert", "annunciates": False},
        {"alarm_state": "ACKED"},
        {"alarm_state": "RTNUN"},
        {"alarm_state": "UNACK"},
        {"alarm_state": "OOSRV"},
    )
    found = [(part.title, [one.alarm_state for one in part.alarms]) for part in alarms.sections([machine])]
    assert found == [
        ("For the operator", ["UNACK", "RTNUN", "ACKED"]),
        ("For the analyst: calls no operator", ["UNACK"]),
        ("Hidden by a person", ["SHLVD", "OOSRV"]),
    ]


def test_what_is_suppressed_by_design_takes_one_quiet_row_whatever_its_number() -> None:
    many = [{"alarm_state": "DSUPR"}] * 7
    rows = body(standing(*many), standing(*many[:3], row=8))
    assert [row.strip() for row in rows] == ["Suppressed by design: Booster pump 3 (7), High-pressure pump 3 (3)"]
    assert alarms.listed([standing(*many)]) == []
    machine = standing(*many)
    assert "7 records suppressed by design" in row_text(beside(machine, None, None, sites.NOW, Look(), 100)[0])
    assert "suppressed by design" in row_text(detail(machine, "", sites.NOW, Look(), 100)[-1])


@pytest.mark.parametrize(
    ("state", "words"),
    [
        ("UNACK", "Acknowledge it (a)"),
        ("RTNUN", "Back within its limit before anyone noticed: look at its trend, acknowledge it (a)."),
        ("LATUN", "have it reset"),
        ("LATAK", "until it is reset"),
        ("ACKED", "Noticed"),
        ("SHLVD", "comes back by itself"),
        ("OOSRV", "engineer"),
    ],
)
def test_every_state_says_what_is_to_do(state: str, words: str) -> None:
    machine = standing({"alarm_state": state})
    alarm = alarms.listed([machine])[0]
    assert words in alarms.advice(alarm)
    assert words in row_text(alarms.below(alarm, sites.NOW, Look(), 120)[-1])
    assert words in row_text(beside(machine, None, None, sites.NOW, Look(), 180)[0])
    narrow = "".join(map(row_text, beside(machine, None, None, sites.NOW, Look(), 100)))
    assert words in narrow or not status.waits(alarm)


def test_loss_of_monitoring_sends_to_the_sensor() -> None:
    lost = {"alarm_state": "UNACK", "level": "monitoring", "title": "loss of monitoring", "value": None}
    assert "look at the sensor" in alarms.advice(alarms.listed([standing(lost)])[0])


def record(**changes: object) -> AlarmView:
    return alarms.listed([standing(changes)])[0]


@pytest.mark.parametrize(
    ("state", "annunciates", "flashes", "waits"),
    [
        ("UNACK", True, True, True),
        ("LATUN", True, True, True),
        ("RTNUN", True, False, True),
        ("ACKED", True, False, False),
        ("UNACK", False, False, False),
    ],
)
def test_only_what_still_calls_flashes(state: str, annunciates: bool, flashes: bool, waits: bool) -> None:
    alarm = record(alarm_state=state, annunciates=annunciates)
    assert (status.calls(alarm), status.waits(alarm)) == (flashes, waits)
    cols = alarms.Columns.of([alarm])
    on, off = (alarms.row(alarm, cols, sites.NOW, Look(phase=phase), 120, False) for phase in (True, False))
    assert (on != off) is flashes


def test_a_machine_whose_alarm_came_and_went_says_returned_though_it_calls_nobody() -> None:
    machine = standing({"alarm_state": "RTNUN"})
    assert not machine.unacknowledged
    assert status.of_machine(machine) is Show.RETURNED
    assert status.is_abnormal(machine)
    assert status.word(Show.RETURNED, False, False).role is MARKS[Show.RETURNED].role is Role.BRIGHT


async def test_returned_alarms_are_in_the_banner_until_acknowledged() -> None:
    async with plant((120, 40)) as one:
        await one.hear(sites.snapshot([standing({"alarm_state": "RTNUN"})]), after=1.0)
        first = one.lines("banner")
        assert "to acknowledge: ◆R  Booster pump 3" in first[1]
        await one.wait(0.5)
        assert one.lines("banner") == first
        await one.press("a")
        assert "Acknowledge this alarm?" in one.text()


async def test_an_empty_list_and_one_of_suppressed_records_only_are_drawn() -> None:
    async with plant((80, 24)) as one:
        await one.press("l")
        await one.hear(sites.snapshot([sites.machine(0)]), after=1.0)
        assert "nothing is in alert or alarm" in one.text()
        await one.press("down", "enter", "a", "end")
        await one.hear(sites.snapshot([standing(*[{"alarm_state": "DSUPR"}] * 2)]), after=1.0)
        assert "Booster pump 3 (2)" in one.text()
        await one.press("down", "enter", "a", "end")


def test_the_gateways_own_alarm_is_listed_waits_in_the_banner_and_says_what_to_do() -> None:
    shown = {"machine": "gateway", "machine_name": "Gateway", "level": "monitoring", "title": "loss of monitoring"}
    own = record(alarm_state="UNACK", value=None, limit=None, **shown)
    assert [part.title for part in alarms.sections([], [own])] == ["For the operator"]
    assert summary([], [own]).calling == (own,)
    assert "look at radio base, broker" in alarms.advice(own)
    storage = record(alarm_state="UNACK", value=None, limit=None, **{**shown, "level": "storage", "title": "loss of storage"})
    assert "gateway's disk" in alarms.advice(storage)
    assert "Machines are watched" in alarms.advice(storage)
    _, listed = alarms.lines([], Look(), 80, [own])
    assert listed is own
    drawn = row_text(alarms.row(own, alarms.Columns.of([own]), sites.NOW, Look(), 80, selected=True))
    assert "Gateway" in drawn
    assert "unacknowledged" in drawn
