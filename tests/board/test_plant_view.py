from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from edgemon.board.theme import ASCII, UNICODE, Look, Show
from edgemon.board.view import plant, status
from edgemon.board.view.cells import Row, row_text, row_width, safe
from edgemon.board.view.detail import detail
from edgemon.board.view.grid import FULL, GUTTER, Grid, Heading, Place
from edgemon.model.snapshot import MachineView, WorstView
from tests.board.driving import plant as board
from tests.support import sites

AT_80 = [
    " Intake ────────────────────────────12─   Product water ─────────────────────12─",
    "    Intake pump 1        normal   ━─┼┼─      Product pump 1       normal   ━╾┼┼─",
    " ▸  Intake pump 2        near     ━━┼┼─      Product pump 2       normal   ━─┼┼─",
    " ·  Intake pump 3        stopped  ──┼┼─      Product pump 3       normal   ━╾┼┼─",
    "    Band screen 1        normal   ━─┼┼─      Lime mixer           normal   ━─┼┼─",
    "    Band screen 2        normal   ╾─┼┼─      Aeration blower      normal   ━╾┼┼─",
    "    Air blower 1         normal   ━╾┼┼─   ?  Brine pump           no data  ──┼┼─",
    "                                                                                ",
    " RO hall ───────────────────────────12─   Utilities ─────────────────────────12─",
    "    High-pressure pump 1 normal   ━─┼┼─      Cooling-tower fan 1  normal   ━─┼┼─",
    "    High-pressure pump 2 normal   ━─┼┼─      Cooling-tower fan 2  normal   ━─┼┼─",
    " ▲1 High-pressure pump 3 alert    ━━┿┼─      Air compressor       normal   ━╾┼┼─",
    "    High-pressure pump 4 normal   ━─┼┼─      Hall ventilator 1    normal   ━─┼┼─",
    "    Booster pump 1       normal   ━─┼┼─      Hall ventilator 2    normal   ━─┼┼─",
    "    Booster pump 2       normal   ━─┼┼─      Chiller pump         normal   ━─┼┼─",
    "›■2 Booster pump 3       alarm    ━━┿┿─                                         ",
    " ·  Cleaning pump        stopped  ──┼┼─                                         ",
]

NAMES = [machine.name for machine in sites.snapshot().machines]


async def test_the_whole_plant_fits_80_by_24_without_scrolling() -> None:
    async with board((80, 24), still=False) as one:
        await one.wait(0.5)
        assert one.lines("body")[:17] == AT_80


@pytest.mark.parametrize("size", [(80, 24), (120, 40), (200, 60)])
async def test_every_machine_is_there_whole_with_its_word_at_every_size(size: tuple[int, int]) -> None:
    async with board(size) as one:
        grid = "\n".join(one.lines("body")[:-4])
        assert all(name in grid for name in NAMES)
        assert grid.count(" normal ") == 20
        assert grid.count(" near limit " if size[0] > 80 else " near ") == 1
        assert all(len(line) == size[0] for line in one.text().splitlines())
        assert "…" not in one.text()


@pytest.mark.parametrize("size", [(120, 40), (200, 60)])
async def test_larger_screens_add_value_trend_and_age(size: tuple[int, int]) -> None:
    async with board(size) as one:
        line = one.line("High-pressure pump 3")
        assert "3.39 mm/s" in line
        assert "<10s" in line
        under = one.lines("body")[one.lines("body").index(line) + (1 if size[0] == 200 else 0)]
        assert "pump-de-a velocity r.m.s." in under
        assert "▅▅▅" in under


def drawn(machines: tuple[MachineView, ...], width: int, height: int, look: Look) -> tuple[Grid, list[Row]]:
    grid = plant.layout(machines, sites.AREAS, plant.Wish(), width, height)
    cols = plant.columns(grid.form, grid.column_width, plant.name_width(machines))
    by_id = {machine.id: machine for machine in machines}
    rows: list[Row] = []
    for page in grid.pages:
        for column in page:
            for slot in column:
                if isinstance(slot, Heading):
                    rows.append(plant.heading(slot, cols, grid.column_width, look))
                elif isinstance(slot, Place):
                    rows.append(
                        plant.tile(by_id[slot.machine], grid.form, cols, grid.column_width, sites.NOW, look, False)[slot.line]
                    )
    return grid, rows


names = st.text(min_size=1, max_size=22) | st.sampled_from(
    ["[/]", "\x1b[2J", "\u202eabc", "中央ポンプ", "e\u0301\u0301\u0301", " "]
)
floats = st.floats(allow_nan=True, allow_infinity=True)
worsts = st.none() | st.builds(
    WorstView,
    point=names,
    level=st.just("v"),
    title=names,
    value=floats,
    unit=st.sampled_from(["mm/s", "m/s2", "Cel", "furlong/fortnight"]),
    alert=st.none() | floats,
    alarm=st.none() | floats,
    ratio=floats,
)
machines = st.builds(
    MachineView,
    id=st.uuids().map(str),
    name=names,
    area=st.sampled_from(["intake", "ro-hall", "elsewhere"]),
    kind=names,
    criticality=st.just("normal"),
    rpm=st.none() | st.floats(0, 1e5),
    state=st.sampled_from(["normal", "alert", "alarm", "not-running", "unknown"]),
    quality=st.sampled_from(["good", "stale", "bad"]),
    reasons=st.lists(names, max_size=3).map(tuple),
    t=st.none() | floats,
    worst=worsts,
    unacknowledged=st.booleans(),
    trend=st.lists(floats, max_size=70).map(tuple),
    sim=st.booleans(),
    points=st.just(()),
)
looks = st.builds(Look, glyphs=st.sampled_from([UNICODE, ASCII]), still=st.booleans(), phase=st.booleans())


@settings(max_examples=25, deadline=None)
@given(st.lists(machines, max_size=12).map(tuple), st.integers(40, 250), st.integers(1, 70), looks)
def test_any_plant_at_any_size_gives_rows_exactly_as_wide_as_asked(
    many: tuple[MachineView, ...], width: int, height: int, look: Look
) -> None:
    grid, rows = drawn(many, width, height, look)
    assert all(row_width(row) == grid.column_width for row in rows)
    assert grid.columns * grid.column_width + GUTTER * (grid.columns - 1) <= width
    assert all(len(column) <= height for page in grid.pages for column in page)
    assert sorted(grid.order()) == sorted(machine.id for machine in many)
    for machine in many[:3]:
        assert all(row_width(row) == width for row in detail(machine, "page 1 of 2", sites.NOW, look, width))


@settings(max_examples=15, deadline=None)
@given(st.lists(machines, min_size=1, max_size=12).map(tuple), st.integers(80, 250), st.integers(10, 70))
def test_no_name_of_22_cells_is_cut_at_80_columns(many: tuple[MachineView, ...], width: int, height: int) -> None:
    short = tuple(replace(machine, name=f"{safe(machine.name)[:11]:x<11}") for machine in many)
    _, rows = drawn(short, width, height, Look())
    text = "\n".join(row_text(row) for row in rows)
    assert all(safe(machine.name) in text for machine in short)


def test_values_are_whole_where_they_are_shown() -> None:
    machine = sites.machine(6)
    assert machine.worst is not None
    huge = replace(machine, worst=replace(machine.worst, value=-1.5e300))
    assert plant.value(huge, Look()).strip() == "-2e+300 mm/s"


def test_a_stale_machine_shows_no_number_and_its_bar_is_empty() -> None:
    machine = replace(sites.machine(12), quality="stale", reasons=("silent",))
    cols = plant.columns(FULL, 120, 22)
    text = row_text(plant.tile(machine, FULL, cols, 120, sites.NOW, Look(), False)[0])
    assert "alarm, stale" in text
    assert "■?" in text
    assert "6.89" not in text
    assert "━" not in text


@pytest.mark.parametrize(
    ("changes", "show"),
    [
        ({}, Show.NORMAL),
        ({"state": "alert"}, Show.ALERT),
        ({"state": "alarm", "quality": "stale"}, Show.ALARM),
        ({"state": "unknown", "quality": "stale"}, Show.NO_DATA),
        ({"quality": "bad"}, Show.DOUBTFUL),
        ({"quality": "stale"}, Show.DOUBTFUL),
        ({"unacknowledged": True}, Show.RETURNED),
        ({"state": "not-running"}, Show.STOPPED),
        ({"state": "a word of a later version"}, Show.NO_DATA),
    ],
)
def test_what_a_machine_shows_as(changes: dict[str, object], show: Show) -> None:
    assert status.of_machine(replace(sites.machine(0), **changes)) is show  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("state", "show"),
    [("LATAK", Show.LATCHED), ("SHLVD", Show.SHELVED), ("OOSRV", Show.OUT_OF_SERVICE), ("DSUPR", Show.SUPPRESSED)],
)
def test_a_hidden_or_latched_alarm_is_seen_on_a_machine_that_is_normal(state: str, show: Show) -> None:
    machine = sites.machine(12)
    point = machine.points[-1]
    points = (replace(point, alarms=(replace(point.alarms[0], alarm_state=state),)),)
    assert status.of_machine(replace(machine, state="normal", unacknowledged=False, points=points)) is show


def test_two_hundred_machines_turn_pages_and_none_is_left_out() -> None:
    many = sites.many(200)
    grid = plant.layout(many, sites.AREAS, plant.Wish(), 80, 17)
    assert grid.columns == 2
    assert len(grid.pages) > 1
    assert sorted(grid.order()) == sorted(machine.id for machine in many)
    wide = plant.layout(many, sites.AREAS, plant.Wish(), 200, 53)
    assert len(wide.pages) == 1


def test_by_severity_what_calls_comes_first() -> None:
    snapshot = sites.snapshot()
    grid = plant.layout(snapshot.machines, sites.AREAS, plant.Wish(sort=plant.Sort.SEVERITY), 80, 40)
    assert grid.order()[:3] == ["booster-3", "hp-pump-3", "brine-pump"]


def test_the_filter_shows_what_is_abnormal_or_near_a_limit() -> None:
    shown = plant.chosen(sites.snapshot().machines, plant.Wish(abnormal_only=True))
    assert [machine.id for machine in shown] == ["intake-pump-2", "hp-pump-3", "booster-3", "brine-pump"]
