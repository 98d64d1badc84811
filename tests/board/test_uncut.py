"""Nothing an operator needs is cut off, covered or left unsaid: what a walk over every screen found, held fast."""

from dataclasses import replace

import pytest

from edgemon.board.memory import MemorySource
from edgemon.board.theme import Look
from edgemon.board.view import alarms, machine, sensors
from edgemon.board.view.cells import row_text
from edgemon.board.view.detail import detail
from edgemon.model.shift import BlockView, HandoverView
from edgemon.model.snapshot import MachineView
from tests.board.driving import plant
from tests.board.furnished import source
from tests.support import sites

BOOSTER = next(one for one in sites.snapshot().machines if one.id == "booster-3")
LOOK = Look()


def renamed(name: str) -> MachineView:
    """The machine in alarm, its points with a longer name."""
    points = (
        replace(point, name=name, alarms=tuple(replace(one, point_name=name) for one in point.alarms))
        for point in BOOSTER.points
    )
    return replace(BOOSTER, points=tuple(points))


async def test_a_page_tells_how_many_rows_are_below_without_covering_one() -> None:
    page = replace(
        HandoverView(0.0, 0.0, "", (), ""), blocks=(BlockView("Now", tuple(f"line {k} ends here" for k in range(60))),)
    )
    daemon = MemorySource()
    daemon.page = page
    async with plant((80, 24), daemon) as one:
        await one.press("t")
        await one.wait(0.5)
        await one.wait(0.5)
        seen: list[str] = []
        for _ in range(6):
            rows = one.lines("body")
            assert all(row.rstrip().endswith("ends here") for row in rows if "line " in row)
            seen += [row.strip() for row in rows if "line " in row]
            await one.press("pagedown")
        assert len(set(seen)) == 60, "paging leaves none out"
        assert "more" not in one.lines("body")[-1]


def test_the_longest_name_of_a_level_is_whole_at_eighty_columns() -> None:
    level = replace(BOOSTER.points[0].levels[0], title="displacement peak-to-peak")
    one = replace(BOOSTER, points=(replace(BOOSTER.points[0], levels=(level,)),))
    text = "\n".join(row_text(row) for _, row in machine.body(one, None, LOOK, 80))
    assert "displacement peak-to-peak" in text
    assert "…" not in text


@pytest.mark.parametrize("width", [80, 120])
def test_the_sensor_of_a_point_is_told_of_in_whole_words(width: int) -> None:
    told = replace(
        next(iter(sites.snapshot().sensors)), captures=12_345, repeats=4, late=3, unfit=2, rssi_dbm=-103.4, battery_pct=100.0
    )
    text = "".join(span.text for span in machine.health(told, sites.NOW, width))
    assert len(text) <= width
    assert "signal -103 dBm" in text
    assert "3 late, 2 unfit" in text, "what is wrong goes before what is counted"


@pytest.mark.parametrize("name", ["Motor DE horizontal", "pump-de-h"])
def test_what_calls_is_named_whole_under_the_plant(name: str) -> None:
    text = row_text(detail(renamed(name), "", sites.NOW, LOOK, 80)[3])
    assert f"to acknowledge (a): {name} velocity r.m.s. alarm" in text
    assert "…" not in text


def test_that_advice_was_cut_is_told() -> None:
    alarm = next(one for point in BOOSTER.points for one in point.alarms)
    whole = alarms.below(alarm, sites.NOW, LOOK, 80, 30)
    cut = alarms.below(alarm, sites.NOW, LOOK, 80, len(whole) - 2)
    assert "…" not in "".join(map(row_text, whole))
    assert row_text(cut[-1]).rstrip().endswith("…")
    assert {len(row_text(row)) for row in cut} == {80}


def test_points_stand_under_their_head_whether_an_alarm_came_first_or_not() -> None:
    alarm = next(one for point in BOOSTER.points for one in point.alarms)
    listed = [alarm, replace(alarm, first_out="first")]
    cols = alarms.Columns.of(listed, 160)
    rows = [row_text(alarms.row(one, cols, sites.NOW, LOOK, 160, False)) for one in listed]
    at = row_text(alarms.heading(160, cols, LOOK)).index("point and level")
    assert [row.index(alarm.point_name) for row in rows] == [at, at]
    whole = max(len(row.rstrip()) for row in rows) - len(" first")
    narrow = [row_text(alarms.row(one, alarms.Columns.of(listed, whole), sites.NOW, LOOK, whole, False)) for one in listed[:1]]
    assert alarm.title in narrow[0], "a name is not cut for the sake of a column"


async def test_a_question_that_needs_words_says_so_and_no_more() -> None:
    async with plant((80, 24), source()) as one:
        await one.press("t", "w")
        assert any(line.strip() == "write something first     esc no" for line in one.lines("question"))
        await one.press("x")
        assert any(line.strip() == "enter yes     esc no" for line in one.lines("question"))


@pytest.mark.parametrize(
    ("keys", "shown"),
    [
        ((), ("a ack", "enter open", "l list", "t shift", "? help")),
        (("enter",), ("esc back", "enter open", "a ack", "t shift", "? help")),
        (("enter", "enter"), ("esc back", "1 trend", "4 envelope", "a ack", "? help")),
    ],
)
async def test_the_keys_that_lead_on_are_shown_at_eighty_columns(keys: tuple[str, ...], shown: tuple[str, ...]) -> None:
    async with plant((80, 24), source()) as one:
        await one.press(*keys)
        await one.wait(0.5)
        foot = one.lines("foot")[0]
        assert [words for words in shown if words not in foot] == []


async def test_a_wide_screen_shows_the_key_of_the_figures_and_of_the_lamp_test() -> None:
    async with plant((200, 60), source()) as one:
        assert "p figures" in one.lines("foot")[0]
        assert "k lamp test" in one.lines("foot")[0]


async def test_a_trend_is_in_the_unit_people_write() -> None:
    async with plant((80, 24), source()) as one:
        await one.press("enter", "home")
        await one.press("down", "down", "enter")
        await one.wait(0.5)
        await one.wait(0.5)
        text = one.text()
        assert "temperature, °C" in text
        assert "Cel" not in text


def test_sensors_in_every_status_are_all_counted_at_eighty_columns() -> None:
    whole = sites.snapshot()
    statuses = ("failure", "function-check", "out-of-specification", "maintenance-required", "good")
    told = {one.id: replace(one, status=status) for one, status in zip(whole.sensors, statuses, strict=False)}
    text = " ".join(row_text(row).strip() for row in sensors.page(told, whole.machines, sites.NOW, LOOK, 80)[:2])
    assert "1 failure, 1 function check, 1 out of spec., 1 maintenance, 1 good" in text
